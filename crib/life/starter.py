"""Starting constants of Taylor's curve where a shop gives none, a source beside every row.

They are a starting point with a spread of about 40 % and more, never truth: the life model
takes them as a prior only, and a shop's own counts soon outweigh them.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from crib.errors import OutsideModel
from crib.life.taylor import TaylorConstants, speed_for_life_m_min
from crib.life.taylor_range import CurveRange
from crib.sentence import figure, sentence, together

MATERIAL_GROUPS: Final = ("P", "M", "K", "N", "S", "H")
"""Workpiece groups of ISO 513 (from memory)."""

TOOL_MATERIALS: Final = ("hss", "carbide", "coated_carbide", "cermet", "ceramic", "cbn", "pcd")


class StarterRow(NamedTuple):
    """Constants, where they come from, and the cuts that they are meant for."""

    constants: TaylorConstants
    source: str
    holds: CurveRange


_GUESS = sentence(
    "a rough figure after usual speeds for this tool material: common practice, no source"
)

# n and C [m/min] for steel, at about 0.25 mm/rev and 2.5 mm depth (from memory).
_STEEL: Final = {
    "hss": (0.125, 70.0, sentence("high-speed steel 0.125, 70 m/min")),
    "carbide": (0.25, 500.0, sentence("cemented carbide 0.25, 500 m/min")),
    "coated_carbide": (0.25, 700.0, sentence("coated carbide 0.25, 700 m/min")),
    "cermet": (0.25, 600.0, sentence("cermet 0.25, 600 m/min")),
    "ceramic": (0.6, 3000.0, sentence("ceramic 0.6, 3000 m/min")),
}
_NON_STEEL: Final = {
    "hss": (0.125, 120.0, sentence("high-speed steel, non-steel 0.125, 120 m/min")),
    "carbide": (0.25, 900.0, sentence("cemented carbide, non-steel 0.25, 900 m/min")),
}
_SHARE: Final = {"P": 1.0, "M": 0.6, "K": 0.8, "N": 1.75, "S": 0.25, "H": 0.3}
_OWN: Final = {"cbn": (0.4, 1200.0), "pcd": (0.4, 3000.0)}
_OWN_SHARE: Final = {
    "cbn": {"P": 0.8, "M": 0.5, "K": 1.5, "N": 1.0, "S": 0.4, "H": 0.6},
    "pcd": {"P": 0.1, "M": 0.1, "K": 0.1, "N": 1.0, "S": 0.1, "H": 0.1},
}
# Feed and depth weigh less than speed; the depth least (common practice, no source). They
# scale C from the table's feed and depth to the far smaller ones of sliding-head work.
_BITE: Final = {
    "feed_exponent": 0.3,
    "depth_exponent": 0.1,
    "reference_feed_mm_rev": 0.25,
    "reference_depth_mm": 2.5,
}
_BITE_SOURCE = sentence(
    "; feed exponent 0.3 and depth exponent 0.1 from 0.25 mm/rev and 2.5 mm: common "
    "practice, no source"
)

# A Taylor line is drawn through lives of about 5 min (ISO 3685 advises no shorter tests, from
# memory) to about 100 min, so the table holds at the speeds that give these at its own feed and
# depth; feeds and depths are those of finishing to light roughing (common practice, no source).
_LIVES_MIN: Final = (100.0, 5.0)
_FEEDS_MM_REV: Final = (0.05, 0.5)
_DEPTHS_MM: Final = (0.3, 5.0)


def starter_constants(tool_material: str, material_group: str) -> StarterRow:
    """Constants for a tool material on an ISO 513 group.

    Returns:
        The row; its range says for which speeds, feeds and depths it is meant (common
        practice, no source).

    Raises:
        OutsideModel: A tool material or group that the table has no row for.

    Examples:
        >>> starter_constants("hss", "P").constants.c_m_min
        70.0
    """
    if tool_material not in TOOL_MATERIALS or material_group not in MATERIAL_GROUPS:
        raise OutsideModel(
            sentence(
                "There are no starting constants for '{tool_material}' on "
                "'{material_group}'; take one of {tool_materials} and one of "
                "{material_groups}, or give n and C in tool_life.csv.",
                tool_material=tool_material,
                material_group=material_group,
                tool_materials=together(", ", TOOL_MATERIALS),
                material_groups=together(", ", MATERIAL_GROUPS),
            ),
            facts={"tool_material": tool_material, "material_group": material_group},
        )
    n, c, source = _row(tool_material, material_group)
    constants = TaylorConstants(n, c, **_BITE)
    slow, fast = speed_for_life_m_min(_LIVES_MIN, constants).tolist()
    holds = CurveRange((slow, fast), _FEEDS_MM_REV, _DEPTHS_MM)
    return StarterRow(constants, source + _BITE_SOURCE, holds)


def _groover(words: str) -> str:
    return sentence(
        "from memory: Groover, Fundamentals of Modern Manufacturing, table of n and C "
        "({words})",
        words=words,
    )


def _row(tool: str, group: str) -> tuple[float, float, str]:
    if tool in _OWN:
        n, c = _OWN[tool]
        return n, c * _OWN_SHARE[tool][group], _GUESS
    if group == "N" and tool in _NON_STEEL:
        n, c, words = _NON_STEEL[tool]
        return n, c, _groover(words)
    n, c, words = _STEEL[tool]
    source = _groover(words)
    if group != "P":
        source += "; " + sentence(
            "C for steel in that table times {share} for group {group}, a rough ratio of "
            "usual speeds: common practice, no source",
            share=figure(_SHARE[group], "g"),
            group=group,
        )
    return n, c * _SHARE[group], source
