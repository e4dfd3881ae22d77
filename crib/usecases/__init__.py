"""One module per act; each opens one unit of work."""
