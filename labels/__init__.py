"""Ink and paper: symbols, labels, plates and sheets."""
