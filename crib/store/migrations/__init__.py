"""Numbered steps from one shape of the database to the next; never edited once landed."""
