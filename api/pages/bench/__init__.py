"""The bench: what to build and measure next, the work on it, gauges, labels."""

from api.pages.bench import build, gauges, labels, queue, rack, take_apart, work

#: Its pages, each with its blueprint.
PAGES = (queue, build, work, labels, rack, gauges, take_apart)
