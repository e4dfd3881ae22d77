"""How requests are read and answered: JSON, units, pages, keys, versions."""
