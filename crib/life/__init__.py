"""When an edge gives out: speed-life curve, life model, remaining life, swap point."""
