"""The shift: run-out timeline, nights, what blocks, what is due."""

from api.pages.shift import page

#: Its pages, each with its blueprint.
PAGES = (page,)
