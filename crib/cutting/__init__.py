"""Geometry and motion of a cut: speed, minutes engaged, wear-relevant time."""
