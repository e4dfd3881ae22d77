"""The bench: what to build and measure next, the work on it, gauges, labels."""

from api.pages.bench import gauges, work

#: Its pages, each with its blueprint.
PAGES = (gauges, work)
