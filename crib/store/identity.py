"""Whose file it is: how a database of this service is told from any other."""

from __future__ import annotations

#: The letters "crib", which SQLite keeps in the head of the file.
APPLICATION_ID = 0x63726962
