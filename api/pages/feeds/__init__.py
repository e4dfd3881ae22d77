"""What machines say of themselves: feeds, questions, counts that were kept aside."""

from api.pages.feeds import aside, asked, heard

#: Its pages, each with its blueprint.
PAGES = (heard, aside, asked)
