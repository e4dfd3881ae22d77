"""What comes: lives, forecasts, the plan of swaps, and what was forecast before."""
