"""Machines, counters, mounting checks and shift calendars."""
