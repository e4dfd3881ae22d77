"""What a shop tells us once: the columns of every record, as data."""
