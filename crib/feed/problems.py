"""What may be wrong with a feed: said in its state, never answered to a request."""

from __future__ import annotations


class FeedProblem(Exception):  # noqa: N818 - said of a feed, not a fault of the service
    """Why a machine cannot be read just now.

    Args:
        sentence: What happened and what to do, for a person.
    """

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


class BadDocument(FeedProblem):
    """What came is no MTConnect document: cut off, not XML, or something that XML may hide."""


class NothingToFollow(FeedProblem):
    """A device that tells no part count, or an agent whose device is not named."""


class AgentRefuses(FeedProblem):
    """The agent refuses what every agent has to answer; says its words."""


class NoAnswer(FeedProblem):
    """No connection, no answer in time, an answer broken off, or a status without a word."""


class StatusAlone(NoAnswer):
    """An answer with a status that says no, and no document that says why."""


class NotBooked(FeedProblem):
    """What a machine said was refused, and by what."""


class WriterEnded(NotBooked):
    """The writer ended before the data was saved: it has to be sent again."""
