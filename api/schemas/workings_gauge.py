"""Shapes of the calculations of the measuring room by themselves."""

from __future__ import annotations

from typing import Any

from marshmallow import fields

from api.schemas.fields import (
    Choice,
    ExactLength,
    Length,
    Number,
    Shape,
    Text,
    Whole,
    YesNo,
    listed,
)
from api.schemas.metrology import OutlierShape
from crib.metrology.budget import DISTRIBUTIONS
from crib.metrology.datum_filter import VERDICTS
from crib.metrology.gauge_line import LONGEST_LINE

_LENGTH: dict[str, Any] = {"least": -100_000, "most": 100_000}


class GaugeStudyBody(Shape):
    """Repeats of a gauge on its setting master."""

    readings_mm = listed(Length(**_LENGTH), most=1_000, least=1, required=True)
    master_mm = Length(required=True, explains="Calibrated length of the master.", **_LENGTH)
    tolerance_width_mm = Length(
        above=0, most=1_000, required=True, explains="Full width T of the tolerance served."
    )


class GaugeStudyAnswer(Shape):
    """A type 1 study: Cg = 0.2 T / (6 s), Cgk = (0.1 T - |bias|) / (3 s)."""

    n = Whole(required=True)
    bias_mm = Length(required=True)
    standard_deviation_mm = Length(allow_none=True, required=True)
    cg = Number(allow_none=True, required=True)
    cgk = Number(allow_none=True, required=True)
    valid = YesNo(required=True)
    why_not = fields.List(Text(), required=True)
    outlier = fields.Nested(OutlierShape, allow_none=True, required=True)


class DriftCheckBody(Shape):
    """One check of a gauge."""

    day = Number(required=True, least=-1e6, most=1e6, explains="When [d].")
    bias_mm = Length(required=True, **_LENGTH)


class GaugeDriftBody(Shape):
    """Checks of a gauge over time."""

    checks = listed(DriftCheckBody, most=1_000, least=2, required=True)
    limit_mm = Length(above=0, most=1_000, required=True, explains="Most that it may be off.")


class GaugeDriftAnswer(Shape):
    """A straight line through the bias over time."""

    checks = Whole(required=True)
    slope_mm_per_day = Number(required=True)
    slope_se_mm_per_day = Number(allow_none=True, required=True)
    bias_mm = Length(required=True, explains="On the line at the last check.")
    residual_mm = Length(allow_none=True, required=True)
    drifts = YesNo(allow_none=True, required=True, explains="null: two checks cannot tell")
    used_up_in_days = Number(allow_none=True, required=True)
    used_up_earliest_in_days = Number(allow_none=True, required=True)


class RepeatabilityBody(Shape):
    """Readings of several people, each of the same pieces several times."""

    values = listed(
        listed(listed(Number(least=-1e6, most=1e6), most=10, least=2), most=10, least=2),
        most=10,
        least=2,
        required=True,
        explains="By people, then repeats, then pieces, in one unit.",
    )


class RepeatabilityAnswer(Shape):
    """Average and range method; deviations in the unit of the values."""

    mean_range = Number(required=True)
    repeatability = Number(required=True, explains="Deviation within one person and piece.")
    reproducibility = Number(required=True, explains="Deviation between people.")
    gauge = Number(required=True, explains="Both together.")
    pieces = Number(required=True, explains="Deviation between pieces.")
    total = Number(required=True)
    gauge_share_pct = Number(required=True, explains="Gauge over total.")
    distinct_categories = Whole(required=True)


class ContributionBody(Shape):
    """One quantity that the result depends on."""

    name = Text(required=True, longest=100)
    value = Number(required=True, least=0, explains="Figure of its distribution.")
    distribution = Choice(tuple(DISTRIBUTIONS), load_default="normal")
    sensitivity = Number(
        least=-1e12, load_default=1.0, explains="Change of the result per unit of it."
    )
    degrees_of_freedom = Number(above=0, load_default=None, allow_none=True)


class BudgetBody(Shape):
    """Contributions to an uncertainty."""

    contributions = listed(ContributionBody, most=100, least=1, required=True)
    level = Number(above=0, most=0.9999, load_default=0.95, explains="Coverage probability.")


class DatumBody(Shape):
    """First-offs of one axis of a station, in the order of the mounts."""

    recorded_mm = Length(required=True, explains="Datum on record.", **_LENGTH)
    looks_mm = listed(
        Length(allow_none=True, **_LENGTH),
        most=1_000,
        least=1,
        required=True,
        explains="Datum as each first-off showed it, X as radius; null without one.",
    )
    look_sd_mm = Length(
        least=0, most=1_000, load_default=0.0025, explains="Standard uncertainty of a look."
    )


class DatumLookShape(Shape):
    """What one first-off showed."""

    expected_mm = Length(required=True)
    innovation_mm = Length(allow_none=True, required=True)
    sigmas = Number(allow_none=True, required=True)
    estimate_mm = Length(required=True)
    estimate_sd_mm = Length(required=True, explains="Should the station be a usual one.")
    expanded_uncertainty_mm = Length(required=True, explains="Of the estimate, covers 95 %.")
    verdict = Choice(VERDICTS, required=True)


class DatumAnswer(Shape):
    """Where the datum is believed to be."""

    datum_mm = Length(required=True)
    expanded_uncertainty_mm = Length(
        required=True, explains="Covers 95 %, whatever mounting scatters by."
    )
    next_expanded_uncertainty_mm = Length(
        required=True, explains="How far the next tool there may lie from it, 95 %."
    )
    walk_mm = Length(required=True, explains="Moves from mount to mount by, as learned (sd).")
    scatter_mm = Length(required=True, explains="Mounting scatters by, as learned (sd).")
    held_mm = Length(allow_none=True, required=True, explains="A jump that waits.")
    looks = fields.List(fields.Nested(DatumLookShape), required=True)


class SentLine(Text):
    """A line as a gauge sent it: tabs are white space, its end may come with it."""

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> str:
        text = value.replace("\t", " ") if isinstance(value, str) else value
        return super()._deserialize(text, attr, data, **kwargs)


class GaugeLineBody(Shape):
    """A line that a gauge sent."""

    pattern = Text(
        allow_none=True,
        explains="How it is written: words, {lf} {wf} {hf} {re} for numbers, * for any word; "
        "a word in makes them inches. Left out: LF, WF, HF, RE in any order, each followed by "
        "its number in mm.",
    )
    line = SentLine(required=True, longest=LONGEST_LINE)


class GaugeLineAnswer(Shape):
    """What the line says, exact; null where it does not say."""

    lf_mm = ExactLength(attribute="lf_tenths_um", allow_none=True, required=True)
    wf_mm = ExactLength(attribute="wf_tenths_um", allow_none=True, required=True)
    hf_mm = ExactLength(attribute="hf_tenths_um", allow_none=True, required=True)
    re_mm = ExactLength(attribute="re_tenths_um", allow_none=True, required=True)
