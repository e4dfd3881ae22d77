"""Pages of machine feeds, questions and held counts."""

from api.pages.feeds import aside, asked, heard

#: Its pages, each with its blueprint.
PAGES = (heard, aside, asked)
