"""From forecasts to swaps, sisters and a bench queue."""
