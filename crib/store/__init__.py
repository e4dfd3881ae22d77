"""The only room with SQL."""
