"""The state of a broker in words, with what to do, and in whose feeds it is shown."""

from __future__ import annotations

import ssl
from collections.abc import Sequence
from dataclasses import dataclass

from crib.sentence import sentence, together
from crib.store.engine import Tx
from crib.store.feeds import list_feeds
from crib.store.heard_rows import heard_machines


@dataclass(frozen=True, slots=True)
class BrokerState:
    """How it stands with the broker.

    Attributes:
        state: ``following``, ``waiting`` (tried again soon) or ``stopped`` (a person has to do
            something; tried again all the same).
        problem: Why it is not followed, in a sentence.
    """

    state: str
    problem: str | None = None


FOLLOWING = BrokerState("following")


def no_connection(where: str, problem: BaseException | None) -> BrokerState:
    """Why no connection came about.

    Args:
        where: HOST:PORT.
        problem: What the attempt raised.
    """
    if isinstance(problem, ssl.SSLCertVerificationError):
        return BrokerState(
            "stopped",
            sentence(
                "The certificate of the broker {where} is not trusted: "
                "{verify_message}. Set SSL_CERT_FILE to a file with the certificate of "
                "the shop's own authority.",
                where=where,
                verify_message=problem.verify_message,
            ),
        )
    if isinstance(problem, ssl.SSLError):
        return BrokerState(
            "stopped",
            sentence(
                "The broker {where} does not speak TLS as wanted: {reason}. Write "
                "mqtt:// for a broker without TLS, and look at the port.",
                where=where,
                reason=problem.reason or problem,
            ),
        )
    why = (getattr(problem, "strerror", None) or str(problem or "")).rstrip(".")
    no_answer = sentence("no answer")
    return BrokerState(
        "waiting",
        sentence(
            "No connection to the broker {where}: {why}.",
            where=where,
            why=why or no_answer,
        ),
    )


def refused(where: str, why: str) -> BrokerState:
    """The broker lets us not in."""
    return BrokerState(
        "stopped",
        sentence(
            "The broker {where} refuses us: {why}. Look at user and password in CRIB_MQTT_URL.",
            where=where,
            why=why,
        ),
    )


def broken_off(where: str, why: str, *, before_a_word: bool) -> BrokerState:
    """The connection that there was is gone."""
    if before_a_word:
        return BrokerState(
            "waiting",
            sentence(
                "The broker {where} closes the connection at once: write mqtts:// in "
                "CRIB_MQTT_URL if it needs TLS, and check that it speaks MQTT 5.",
                where=where,
            ),
        )
    return BrokerState(
        "waiting",
        sentence("The connection to the broker {where} was lost: {why}.", where=where, why=why),
    )


def not_readable(where: str, topics: Sequence[str]) -> BrokerState:
    """It lets us in, but not read."""
    return BrokerState(
        "stopped",
        sentence(
            "The broker {where} does not let us read {topics}: give the user of "
            "CRIB_MQTT_URL the right to, or mend the topic in the feed map.",
            where=where,
            topics=together(", ", topics),
        ),
    )


def machines_concerned(tx: Tx, named: Sequence[str], state: BrokerState) -> list[str]:
    """Machines in whose feeds it is shown: those that the broker speaks for.

    If none is named and none was ever heard, it is all machines without another source.

    Args:
        tx: An open transaction.
        named: Names of machines in the map of topics.
        state: What to show.
    """
    feeds = {row.machine_id: row for row in list_feeds(tx)}
    if state == FOLLOWING:
        mine = [row for row in feeds.values() if row.source == "mqtt"]
        return [row.machine for row in mine if row.state != "following"]
    wanted = {name.lower() for name in named}
    silent = [one for one in heard_machines(tx) if not one.feed_url]
    found = [
        one.machine
        for one in silent
        if one.machine.lower() in wanted or (one.id in feeds and feeds[one.id].source == "mqtt")
    ]
    return found or [
        one.machine for one in silent if one.id not in feeds and one.counted_us is None
    ]
