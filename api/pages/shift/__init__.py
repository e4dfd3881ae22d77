"""The shift: run-out timeline, nights, what blocks, what is due, kits."""

from api.pages.shift import blocked, kits, nights, page

#: Its pages, each with its blueprint.
PAGES = (page, kits, blocked, nights)
