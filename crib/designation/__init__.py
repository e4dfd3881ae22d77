"""What the letters on the box mean."""
