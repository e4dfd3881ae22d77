"""Station moved, holder seat worn or gauge off: said of a first-off, with the odds."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from crib.acts.station_datum import axis_stay, stays_of_axis
from crib.acts.station_offsets import figures_of, geometry_of
from crib.metrology.causes import (
    CLEAR_ODDS,
    MOST_CHANGE_MM,
    Cause,
    Diagnosis,
    Residual,
    diagnose,
)
from crib.metrology.datum_noise import DatumPrior
from crib.metrology.figures import MM, Figures
from crib.metrology.first_off import look_at_axis
from crib.sentence import AND, figure, sentence, together
from crib.store.engine import Tx
from crib.store.first_offs import FirstOffRow, first_offs_of_shop, stays_with_first_offs
from crib.store.presets import good_checks
from crib.store.stations import StationRow, station_row
from crib.units import TENTHS_UM_PER_MM

#: First-offs of the shop that are looked at; a matrix of that size is turned over.
MOST_FIRST_OFFS = 250

_SCATTER_MM = DatumPrior().scatter


def name_cause(tx: Tx, station: StationRow, axis: str, up_to: datetime) -> str | None:
    """What may be behind the newest first-off of an axis, in a sentence.

    Returns:
        None where the axis has no measure, or no first-off that counts.
    """
    mapping = {name: mapped for name, mapped, _ in geometry_of(station).axes()}[axis]
    if mapping is None:
        return None
    rows = first_offs_of_shop(tx, up_to, MOST_FIRST_OFFS)
    residuals = residuals_of(tx, rows, mapping[1:], up_to)
    mine = [number for number, (row, _) in enumerate(residuals) if row.station_id == station.id]
    if not mine:
        return None
    # those mounted later elsewhere count too; the one that is asked about goes last
    newest = residuals.pop(mine[-1])
    ordered = [one for _, one in residuals] + [newest[1]]
    return cause_sentence(diagnose(ordered), ordered, mapping[1:], figures_of(station))


def residuals_of(
    tx: Tx, rows: Sequence[FirstOffRow], measure: str, up_to: datetime
) -> list[tuple[FirstOffRow, Residual]]:
    """Residuals of one measure all over the shop, in the order of the mounts."""
    checks: dict[int, tuple[datetime, ...]] = {}
    wanted = {row.mount_id for row in rows}
    found = []
    for station_id in dict.fromkeys(row.station_id for row in rows):
        station = station_row(tx, station_id)
        # from the first stay on: only that one tells which datum on record was gone by
        stays = stays_with_first_offs(tx, station_id, up_to)
        for axis, mapping, _ in geometry_of(station).axes():
            if mapping is not None and mapping[1:] == measure:
                found += [
                    (row, _residual(tx, row, off, sd, station, checks, up_to))
                    for row, off, sd in _off_record(station, axis, mapping, stays)
                    if row.mount_id in wanted
                ]
    return sorted(found, key=lambda pair: pair[0].mount_id)


def _off_record(
    station: StationRow, axis: str, mapping: str, stays: Sequence[FirstOffRow]
) -> list[tuple[FirstOffRow, float, float]]:
    """Stays with a first-off that counts: how far off the record, and its uncertainty [mm]."""
    speaking = stays_of_axis(stays, axis, mapping)
    datum = {name: value for name, _, value in geometry_of(station).axes()}[axis]
    seen = look_at_axis(
        [one for stay in speaking if (one := axis_stay(stay, axis, mapping)) is not None],
        datum,
        on_diameter=axis == "X" and station.x_on_diameter,
        increment_tenths_um=station.offset_increment_tenths_um,
    )
    off = (-1 if mapping[0] == "-" else 1) * (seen.looks_mm - datum / TENTHS_UM_PER_MM)
    return [
        (speaking[number], float(off[number]), float(seen.sd_mm[number]))
        for number in range(seen.first, len(speaking))
        if np.isfinite(off[number])
    ]


def _residual(
    tx: Tx,
    row: FirstOffRow,
    off_mm: float,
    sd_mm: float,
    station: StationRow,
    checks: dict[int, tuple[datetime, ...]],
    up_to: datetime,
) -> Residual:
    return Residual(
        residual_mm=off_mm,
        sd_mm=float(np.hypot(sd_mm, _SCATTER_MM)),
        station=station.mark,
        holder=row.holder,
        gauge=row.gauge,
        measured_at=row.measured_at,
        gauge_checked_at=_checked_before(tx, row, checks, up_to),
    )


def _checked_before(
    tx: Tx, row: FirstOffRow, checks: dict[int, tuple[datetime, ...]], up_to: datetime
) -> datetime | None:
    if row.gauge_id is None:
        return None
    if row.gauge_id not in checks:
        checks[row.gauge_id] = good_checks(tx, row.gauge_id, up_to)
    return max((at for at in checks[row.gauge_id] if at <= row.measured_at), default=None)


def cause_sentence(
    told: Diagnosis, residuals: Sequence[Residual], measure: str, figures: Figures = MM
) -> str:
    """A diagnosis in words, with what would tell more where it tells too little."""
    change = figures.of_mm(told.causes[0].change_mm, sign=True)
    best = told.causes[0]
    if abs(best.change_mm) > MOST_CHANGE_MM:
        return sentence(
            "A change of {change} in {measure} is more than a station, a seat or a "
            "gauge moves by: do not run on it. Look first at the figure, its sign "
            "and the axis, and at the tool that is mounted; take the step back if "
            "it was mistyped.",
            change=change,
            measure=measure,
        )
    if told.chance >= CLEAR_ODDS * best.probability:
        return sentence(
            "Probably just chance ({chance}). Next most likely: {words} ({probability}).",
            chance=figure(told.chance, ".0%"),
            words=_words(best),
            probability=figure(best.probability, ".0%"),
        )
    if told.clear is not None:
        others: list[tuple[str, float]] = [
            (sentence("that {words}", words=_words(one)), one.probability)
            for one in told.causes[1:]
        ]
        others.append((sentence("chance"), told.chance))
        against = together(
            "; ",
            [
                sentence("{times} as likely as {w}", times=_times(best.probability, p), w=w)
                for w, p in others
            ],
        )
        return sentence(
            "Most likely {words}, by {change} ± {up} in {measure} (k=2): {against}; "
            "{residuals} first-offs looked at.",
            words=_words(best),
            change=change,
            up=figures.up(2 * best.change_sd_mm),
            measure=measure,
            against=against,
            residuals=len(residuals),
        )
    chance = sentence("chance")
    shares = together(
        ", ",
        [
            together(" ", (words, figure(p, ".0%")))
            for words, p in sorted(
                [(_words(one), one.probability) for one in told.causes]
                + [(chance, told.chance)],
                key=lambda pair: -pair[1],
            )
        ],
    )
    return sentence(
        "The cause is not clear yet: {shares}. {advice}",
        shares=shares,
        advice=_advice(told, residuals),
    )


def _words(cause: Cause) -> str:
    if cause.cause == "station":
        return sentence("station {name} moved", name=cause.name)
    if cause.cause == "holder":
        return sentence("the seat of holder {name} is worn or dirty", name=cause.name)
    return sentence("gauge {name} is off", name=cause.name)


def _times(best: float, other: float) -> str:
    if other <= 0 or best / other > 1_000:
        return sentence("more than 1000 times")
    return sentence("{best} times", best=figure(best / other, ".0f"))


def _advice(told: Diagnosis, residuals: Sequence[Residual]) -> str:
    """What keeps causes together, and what would part them."""
    newest = residuals[-1]
    kinds = {one.cause for one in told.causes}
    at_holder = {one.station for one in residuals if one.holder == newest.holder}
    at_station = {one.holder for one in residuals if one.station == newest.station}
    said = []
    if at_holder == {newest.station}:
        said.append(sentence("Holder {holder} was in no other station", holder=newest.holder))
    if at_station == {newest.holder}:
        said.append(sentence("station {station} held no other holder", station=newest.station))
    why = together(AND, said) + ". " if said else ""
    gauge = (
        sentence("check gauge {gauge} on its master, ", gauge=newest.gauge)
        if "gauge" in kinds
        else ""
    )
    return sentence(
        "{why}To find out: {gauge}take the first-off of another holder in "
        "{station}, or of {holder} in another station.",
        why=why,
        gauge=gauge,
        station=newest.station,
        holder=newest.holder,
    )
