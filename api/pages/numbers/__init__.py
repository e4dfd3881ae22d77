"""One page per calculation: the formula, the formula with its figures, and where it stands."""
