"""What people measure and key in beside the records: between which values it is plausible."""

from __future__ import annotations

from collections.abc import Sequence

from crib.errors import Invalid
from crib.metrology.preset import Reading
from crib.records.columns import Column
from crib.records.values import implausible
from crib.sentence import figure, sentence

FLANK_WEAR = Column(
    "flank_wear_mm", "length", minimum=0, maximum=5, usual=(0.05, 0.8),
    source=sentence("ISO 3685: VB 0.3 mm, 0.6 mm at most; room for edges that ran on"),
)  # fmt: skip
CHANGE = Column("change_mm", "length", minimum=-10, maximum=10, usual=(0.0005, 0.2))
LF = Column("lf_mm", "length", minimum=-2_000, maximum=2_000, usual=(5, 300))
WF = Column("wf_mm", "length", minimum=-2_000, maximum=2_000, usual=(1, 200))
HF = Column("hf_mm", "length", minimum=-2_000, maximum=2_000, usual=(1, 200))
RE = Column("re_mm", "length", minimum=0, maximum=50, usual=(0.02, 3))

#: Table of facts -> what its columns may hold.
OF_FACTS: dict[str, tuple[Column, ...]] = {
    "removals": (FLANK_WEAR,),
    "corrections": (CHANGE,),
    "preset_readings": (LF, WF, HF, RE),
}


def refuse_implausible(column: Column, value: int | None, noun: str) -> None:
    """Refuse a length that nobody can mean.

    Args:
        column: What it may hold.
        value: The length [0.1 µm].
        noun: What it is, to begin the sentence with.

    Raises:
        Invalid: It is outside its bounds.
    """
    if value is None or implausible(column, value) is None:
        return
    length = value / column.scale
    bounds = column.bounds
    raise Invalid(
        sentence(
            "{noun} of {length} mm is not plausible; {bounds} mm is.{question}",
            noun=noun,
            length=figure(length, "g"),
            bounds=bounds,
            question=bounds.question(length),
        ),
        errors=[{"field": column.name, "detail": sentence("{bounds} mm", bounds=bounds)}],
    )


def refuse_readings(readings: Sequence[Reading]) -> None:
    """Refuse readings of a gauge that no tool of these machines can have.

    Raises:
        Invalid: One is outside its bounds; says which, by its number from 1.
    """
    for number, reading in enumerate(readings, start=1):
        for column, name in ((LF, "LF"), (WF, "WF"), (HF, "HF"), (RE, "RE")):
            refuse_implausible(
                column,
                reading.value(name),
                sentence("Reading {number}: {name}", number=number, name=name),
            )
