"""Everything that writes: one module per act, with its checks; each opens one unit of work."""
