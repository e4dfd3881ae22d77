"""When an edge fails: speed-life curve, life model, remaining life, swap point."""
