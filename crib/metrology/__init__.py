"""What the presetter said, how far to believe it, and what the control needs."""
