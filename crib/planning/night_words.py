"""What to do with an unattended stretch, in words: the answer first, then its reason."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from crib.clock import instant_from_us, print_instant
from crib.planning.night import MachineNight
from crib.planning.night_options import IDLE, LOOK, RUN, SWAP, UNTIL, Decision, Option
from crib.sentence import AND, Figure, Sentence, figure, sentence, together

#: Names of stations that a sentence holds; more are counted.
_NAMED = 3

#: From this length on a stretch is called a night, up to that length [s].
_NIGHT_S = (4 * 3600, 16 * 3600)

#: A factor nearer to 1 than this is not mentioned.
TOLD_SCALE = 0.1


def percent(chance: float) -> Sentence:
    """A chance as people say it: whole per cents, with a decimal below ten.

    Examples:
        >>> percent(0.138), percent(0.052), percent(0.05), percent(0.0001)
        ('14 %', '5.2 %', '5 %', 'under 0.1 %')
    """
    share = 100 * chance
    if 0 < share < 0.05:
        return sentence("under {percent} %", percent=figure(0.1, ".1f"))
    form = ".0f" if share >= 9.95 or f"{share:.1f}".endswith(".0") else ".1f"
    return sentence("{percent} %", percent=figure(share, form))


def answer_sentence(
    night: MachineNight, decision: Decision, names: Mapping[int, str]
) -> Sentence:
    """What to do.

    Args:
        night: The stretch.
        decision: What was decided.
        names: Name of each station.
    """
    if decision.kind == LOOK:
        return _look(night, names)
    chosen = decision.chosen
    if decision.kind == IDLE or chosen is None:
        if night.stands:
            return sentence("The machine stands: no edge cuts unless somebody starts it.")
        ends_us = night.job_ends_us
        if ends_us is not None:
            ends_at = print_instant(instant_from_us(ends_us))
            return sentence("Nothing to cut: the job ends {time}.", time=ends_at)
        return sentence("No job planned.")
    risk = percent(chosen.fail_probability)
    if decision.kind == RUN:
        if _is_night(night):
            return sentence("Run all night: risk {risk}.", risk=risk)
        return sentence("Run to the end: risk {risk}.", risk=risk)
    if decision.kind == SWAP:
        return _after_swaps(night, decision, chosen, names)
    if night.begun:
        return together(" ", [_begun(night, decision, chosen, names), _nobody(night)])
    if decision.kind == UNTIL:
        return _until(chosen, names)
    return sentence("Let it stand.")


def _begun(
    night: MachineNight, decision: Decision, chosen: Option, names: Mapping[int, str]
) -> Sentence:
    """What is so in a stretch in progress: nobody is there who could stop the machine."""
    if night.failed:
        stations = _stations(night.failed, names)
        if len(night.failed) == 1:
            return sentence("{station} failed.", station=stations)
        return sentence("{stations} failed.", stations=stations)
    if decision.kind == UNTIL:
        until = print_instant(instant_from_us(chosen.until_us or 0))
        return sentence("Your limit is reached {time}.", time=until)
    if decision.reached_us is None:
        return sentence("The risk is over your limit.")
    reached = print_instant(instant_from_us(decision.reached_us))
    return sentence("Your limit was reached {time}.", time=reached)


def _nobody(night: MachineNight) -> Sentence:
    end = print_instant(instant_from_us(night.end_us))
    return sentence("Nobody is there until {time}.", time=end)


def _look(night: MachineNight, names: Mapping[int, str]) -> Sentence:
    if night.jobless:
        return (
            sentence("The risk is not known: 1 part without a job. Say which run made it.")
            if night.jobless == 1
            else sentence(
                "The risk is not known: {parts} parts without a job. Say which run made them.",
                parts=night.jobless,
            )
        )
    stations = _stations(night.unknown, names)
    if night.begun:
        risk = sentence("The risk of {stations} is not known.", stations=stations)
        return together(" ", [risk, _nobody(night)])
    return sentence(
        "Look at {stations} before you leave: the risk there is not known.", stations=stations
    )


def _after_swaps(
    night: MachineNight, decision: Decision, chosen: Option, names: Mapping[int, str]
) -> Sentence:
    run = decision.option(RUN)
    before = percent(run.fail_probability if run else night.as_it_stands)
    after = percent(chosen.fail_probability)
    values: dict[str, object] = {
        "stations": _stations([swap.station_id for swap in chosen.swaps], names),
        "risk": (
            sentence("risk {before}, after the swap {after}", before=before, after=after)
            if len(chosen.swaps) == 1
            else sentence("risk {before}, after the swaps {after}", before=before, after=after)
        ),
    }
    minutes = chosen.minutes
    if minutes is None:
        if _is_night(night):
            return sentence("Run all night after swapping {stations}: {risk}.", **values)
        return sentence("Run to the end after swapping {stations}: {risk}.", **values)
    values["minutes"] = figure(minutes, ".0f")
    if _is_night(night):
        return sentence(
            "Run all night after swapping {stations}: {minutes} min, {risk}.", **values
        )
    return sentence(
        "Run to the end after swapping {stations}: {minutes} min, {risk}.", **values
    )


def _until(chosen: Option, names: Mapping[int, str]) -> Sentence:
    values: dict[str, object] = {
        "until": print_instant(instant_from_us(chosen.until_us or 0)),
        "parts": chosen.parts,
        "risk": percent(chosen.fail_probability),
    }
    if not chosen.swaps:
        return sentence("Run until {until}: {parts} parts, risk {risk}.", **values)
    values["stations"] = _stations([swap.station_id for swap in chosen.swaps], names)
    minutes = chosen.minutes
    if minutes is None:
        return sentence(
            "Run until {until} after swapping {stations}: {parts} parts, risk {risk}.", **values
        )
    return sentence(
        "Run until {until} after swapping {stations}: {minutes} min, {parts} parts, "
        "risk {risk}.",
        minutes=figure(minutes, ".0f"),
        **values,
    )


def reason_sentence(night: MachineNight, decision: Decision, names: Mapping[int, str]) -> str:
    """Why, in one line; empty where there is nothing to decide."""
    if decision.kind in (LOOK, IDLE):
        return ""
    limit, spent = _limit(night, decision), _spent(night)
    if decision.kind in (RUN, SWAP):
        return together(" ", [limit, *spent])
    best = decision.option(SWAP) or decision.option(RUN)
    lines = [limit, *spent]
    if best is not None:
        risk = percent(best.fail_probability)
        lines.insert(
            0,
            sentence("Running to the end would risk {risk}, even after swaps.", risk=risk)
            if best.swaps
            else sentence("Running to the end would risk {risk}.", risk=risk),
        )
    if decision.missing:
        lines.append(
            sentence(
                "No sister in time for {stations}.", stations=_stations(decision.missing, names)
            )
        )
    return together(" ", lines)


def _spent(night: MachineNight) -> list[Sentence]:
    """What of the risk lies behind a stretch in progress."""
    if night.over is None or night.spent <= 0:
        return []
    since = print_instant(instant_from_us(night.over.since_us))
    return [
        sentence(
            "Risk so far, since {since}: {spent}.", since=since, spent=percent(night.spent)
        )
    ]


def _limit(night: MachineNight, decision: Decision) -> str:
    chosen, accepted = decision.chosen, night.limit
    if accepted.loss_minor is not None:
        return sentence(
            "The expected loss is {loss}; your limit for {machine} is {limit}.",
            loss=money(chosen.loss_minor or 0.0 if chosen else 0.0),
            machine=night.machine,
            limit=money(accepted.loss_minor),
        )
    chance = sentence(
        "Your limit for {machine} is {limit}.",
        machine=night.machine,
        limit=sentence("{percent} %", percent=figure(100 * accepted.chance, ".4g")),
    )
    if not accepted.lacking:
        return chance
    first, *others = accepted.lacking
    why = sentence("Your limit of the loss needs a failure cost of {spec}.", spec=first)
    if others:
        why = sentence(
            "Your limit of the loss needs a failure cost of {spec} and {number} more.",
            spec=first,
            number=len(others),
        )
    return together(" ", (chance, why))


def money(minor: float) -> Figure:
    """An amount in the currency of the shop, from hundredths."""
    return figure(minor / 100, ".2f")


def scale_sentence(night: MachineNight) -> Sentence | None:
    """By how much the chances were scaled by how earlier stretches went, where it tells."""
    if night.as_it_stands <= 0 or abs(night.scale - 1) <= TOLD_SCALE:
        return None
    scale = figure(night.scale, ".2f")
    if night.scale < 1:
        return sentence(
            "Earlier nights went better than forecast: the risk is scaled by {scale}.",
            scale=scale,
        )
    return sentence(
        "Earlier nights went worse than forecast: the risk is scaled by {scale}.", scale=scale
    )


def _is_night(night: MachineNight) -> bool:
    seconds = (night.end_us - night.begin_us) / 1e6
    return _NIGHT_S[0] <= seconds <= _NIGHT_S[1]


def _stations(stations: Sequence[int], names: Mapping[int, str]) -> Sentence:
    named = sorted(names.get(one, str(one)) for one in stations)
    if len(named) > _NAMED:
        return sentence("{count} tools", count=len(named))
    if len(named) < 2:
        return together(", ", named)
    return together(AND, [together(", ", named[:-1]), named[-1]])
