"""Short cautions for the person at the machine, those that apply and no others.

All of them are common practice without a source; the machine's manual, site rules, local codes
and qualified people go first.
"""

from __future__ import annotations

from crib.sentence import figure, sentence, together

PROVE = sentence(
    "Prove the offset before the run: single block, reduced rapid, hand near feed "
    "hold; then measure the first part."
)
STAND_STILL = sentence(
    "Stop the spindle and wait until it stands still before reaching in; isolate "
    "the machine before work that needs it."
)
EDGES_CUT = sentence(
    "Edges cut, worn ones too: gloves for handling, never near a turning spindle. "
    "Eye protection. Coolant, chips and the work may be hot."
)
PROBABILITY = sentence(
    "A forecast is a probability, not a promise: an edge can fail at any time, so "
    "unattended running needs its own means to detect breakage."
)
MANUAL_FIRST = sentence(
    "The machine's manual, site rules, local codes and qualified people come first."
)


def axis_cautions(x_on_diameter: bool | None, offset_unit: str) -> tuple[str, ...]:
    """How the control takes figures, where that is easily mistaken.

    Args:
        x_on_diameter: How it takes X; None where the station sets no X.
        offset_unit: ``mm`` or ``in``.
    """
    cautions = []
    if x_on_diameter is not None:
        cautions.append(
            sentence(
                "X is keyed in on diameter: the figure is twice the distance from the axis."
            )
            if x_on_diameter
            else sentence("X is keyed in on radius, not on diameter.")
        )
    if offset_unit == "in":
        cautions.append(sentence("This control takes inches, not millimetres."))
    return tuple(cautions)


def mount_cautions(axes: tuple[str, ...] = (), max_rpm: float | None = None) -> tuple[str, ...]:
    """Cautions for putting an assembly into a station.

    Args:
        axes: Those of ``axis_cautions``, unless they are said beside these.
        max_rpm: Lowest speed limit of tool, holder, unit and station [rpm].
    """
    cautions = [
        PROVE,
        *axes,
        sentence("Check the sign of each figure on the screen of the control."),
    ]
    if max_rpm is not None:
        cautions.append(
            sentence(
                "Never above {max_rpm} rpm: the lowest limit of tool, holder and station.",
                max_rpm=figure(max_rpm, ".0f"),
            )
        )
    return (*cautions, STAND_STILL, EDGES_CUT, MANUAL_FIRST)


def short_mount_cautions(axes: tuple[str, ...] = ()) -> tuple[str, ...]:
    """The first three lines of ``mount_cautions``, for a page where the rest is one tap away.

    Args:
        axes: Those of ``axis_cautions``.
    """
    return (
        sentence("Stop the spindle before you reach in. Edges cut."),
        sentence("Prove the offset: single block, reduced rapid, hand near feed hold."),
        together(" ", (*axes, sentence("Check each sign on the control's screen."))),
    )


def build_cautions(torque_nm: float | None = None) -> tuple[str, ...]:
    """Cautions for fitting an insert at the bench.

    Args:
        torque_nm: Tightening torque of the clamping screw [N m].
    """
    tighten = (
        sentence(
            "Tighten to {torque_nm} N·m with a torque driver.", torque_nm=figure(torque_nm, "g")
        )
        if torque_nm is not None
        else sentence("Tighten to the torque that the maker of the holder states.")
    )
    return (
        sentence(
            "Clean the seat and look at it: a chip under the insert moves the nose and "
            "breaks the edge."
        ),
        tighten,
        EDGES_CUT,
        MANUAL_FIRST,
    )


def take_apart_cautions() -> tuple[str, ...]:
    """Cautions for taking a tool apart at the bench."""
    return (
        sentence("Edges cut, worn and broken ones too. Wear gloves and eye protection."),
        sentence(
            "Let a hot tool cool down first. Chips and coolant on it may be hot or sharp."
        ),
        sentence(
            "Fix the holder before you loosen it. Keep your hand clear of the edge if the key "
            "slips."
        ),
        sentence(
            "Springs and clamps can jump out: loosen them slowly, pointing away from you and "
            "others."
        ),
        sentence(
            "The holder maker's instructions, site rules and qualified people come first."
        ),
    )


def removal_cautions() -> tuple[str, ...]:
    """Cautions for taking an assembly out of a machine."""
    return (STAND_STILL, EDGES_CUT, MANUAL_FIRST)
