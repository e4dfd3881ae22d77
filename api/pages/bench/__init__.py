"""The bench: what to build and measure next, the work on it, gauges, labels."""

from api.pages.bench import work

#: Its pages, each with its blueprint.
PAGES = (work,)
