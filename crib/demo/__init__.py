"""One invented shop, built by a seeded generator with a truth of its own."""
