"""What Alembic runs its commands by."""
