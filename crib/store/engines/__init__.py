"""What is peculiar to one database engine; the rest of the store knows only ``chosen``.

``sqlite`` is the only engine so far. A second one is a second folder with the modules that
``interface`` describes, and a choice in ``chosen``. Migrations are each engine's own.
"""
