"""What a reader asks for: read only, made from what is on record and what comes."""
