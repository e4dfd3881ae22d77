"""What fits what, and which edges of a piece are left."""
