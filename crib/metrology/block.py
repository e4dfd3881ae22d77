"""Offsets as text for the control, from a template that the shop edits per machine.

A template is plain ASCII text with names written ``$name`` or ``${name}``; ``$$`` is a dollar
sign. A name that stands for words from the shop's records may stand only inside a comment in
parentheses, so that no record can ever become a command.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from crib.errors import Invalid
from crib.metrology.offset import AxisOffset, plain_text
from crib.sentence import sentence, together
from crib.units import TenthsUm

#: Stands first in every block, whatever the template says; common practice, no source.
CAUTION = (
    "(PROVE THE OFFSET FIRST: SINGLE BLOCK, REDUCED RAPID, HAND NEAR FEED HOLD)\n"
    "(THEN MEASURE THE FIRST PART. THE MANUAL OF THE MACHINE AND SITE RULES GO FIRST)\n"
)

#: RS-274 practice (G10 L1 sets a tool's table values). Controls differ in their words: edit
#: the template for the machine after its manual.
DEFAULT_TEMPLATE = (
    "(MACHINE $machine, STATION $station, TOOL $tool_number)\n"
    "(ASSEMBLY $code, SPEC $tool_spec)\n"
    "(FIGURES IN $unit, $x_figures)\n"
    "$unit_word\n"
    "G10 L1 P$register $x_word $y_word $z_word $r_word $q_word\n"
)

_WORDS = ("machine", "station", "code", "tool_spec")
_FIGURES = (
    "tool_number", "register", "unit", "x_figures", "unit_word", "x", "y", "z", "r", "q",
    "x_word", "y_word", "z_word", "r_word", "q_word",
)  # fmt: skip

#: Every name that a template may use.
NAMES = (*_WORDS, *_FIGURES)

LONGEST_TEMPLATE = 4000
LONGEST_WORDS = 40

_LEAST_STEP = TenthsUm(1)
_TOKEN = re.compile(r"\$(?:(\$)|([a-z_]+)|\{([a-z_]+)\})|([()])|(\$)", re.ASCII)


@dataclass(frozen=True, slots=True)
class BlockFacts:
    """What a block can speak of besides the offsets."""

    machine: str
    station: str
    code: str
    tool_spec: str
    tool_number: int
    register: int | None = None
    tip_orientation: int | None = None
    nose_radius_tenths_um: TenthsUm | None = None
    offset_increment_tenths_um: TenthsUm = _LEAST_STEP


def render_block(
    facts: BlockFacts, offsets: Sequence[AxisOffset], template: str = DEFAULT_TEMPLATE
) -> str:
    """The block for the control: ASCII, the caution in front, one line feed after each line.

    Names of axes that the station does not have stand for nothing; a line left empty so is
    dropped. ``$register`` is the tool number where no register is set.

    Raises:
        Invalid: The template does not pass ``check_template``.
    """
    check_template(template)
    values = _values(facts, offsets)
    lines = []
    for line in template.splitlines():
        filled, position = [], 0
        for token in _TOKEN.finditer(line):
            filled.append(line[position : token.start()])
            position = token.end()
            dollar, name = token[1], token[2] or token[3]
            filled.append("$" if dollar else values[name] if name else token[0])
        filled.append(line[position:])
        text = re.sub(r" +", " ", "".join(filled)).strip()
        if text or not line.strip():
            lines.append(text)
    return CAUTION + "\n".join(lines) + "\n"


def check_template(template: str) -> None:
    """Refuse a template that could not be filled in, naming line and name.

    Raises:
        Invalid: Not ASCII, too long, unknown names, a lone dollar sign, parentheses that do
            not close or nest, or words of the records outside a comment.
    """
    if len(template) > LONGEST_TEMPLATE:
        raise Invalid(
            sentence(
                "The template is longer than {longest_template} characters.",
                longest_template=LONGEST_TEMPLATE,
            )
        )
    if not template.strip():
        raise Invalid(sentence("The template is empty."))
    wrong = template_problems(template)
    if wrong:
        said = together(
            "; ",
            (
                sentence("line {number}: {detail}", number=number, detail=detail)
                for number, detail in wrong
            ),
        )
        errors = [
            {"field": sentence("template line {number}", number=number), "detail": detail}
            for number, detail in wrong
        ]
        raise Invalid(
            sentence("The template cannot be used: {said}.", said=said), errors=errors
        )


def template_problems(template: str) -> list[tuple[int, str]]:
    """What is wrong with the lines of a template, each with its line's number."""
    return [
        (number, detail)
        for number, line in enumerate(template.splitlines(), start=1)
        for detail in _line_errors(line)
    ]


def _line_errors(line: str) -> list[str]:
    errors: list[str] = []
    if re.search(r"[^\x20-\x7e\t]", line):
        errors.append(sentence("a character that is not plain ASCII"))
    depth = 0
    for token in _TOKEN.finditer(line):
        name = token[2] or token[3]
        if token[5]:
            errors.append(sentence("a lone $; write $$ for a dollar sign"))
        elif name and name not in NAMES:
            errors.append(
                sentence(
                    "${name} is not known: take {names} and no other name",
                    name=name,
                    names=together(" ", NAMES),
                )
            )
        elif name in _WORDS and depth != 1:
            errors.append(
                sentence("${name} may stand only inside a comment in parentheses", name=name)
            )
        depth += {"(": 1, ")": -1}.get(token[4] or "", 0)
        if depth not in (0, 1):
            errors.append(sentence("comments in parentheses cannot nest"))
            break
    if depth == 1:
        errors.append(sentence("a comment is not closed"))
    return errors


def _values(facts: BlockFacts, offsets: Sequence[AxisOffset]) -> Mapping[str, str]:
    unit = offsets[0].unit if offsets else "mm"
    if any(offset.unit != unit for offset in offsets):
        raise Invalid(sentence("The offsets of one block must be in one unit."))
    values = dict.fromkeys(NAMES, "")
    values |= {name: plain_words(getattr(facts, name)) for name in _WORDS}
    values["tool_number"] = str(int(facts.tool_number))
    register = facts.tool_number if facts.register is None else facts.register
    values["register"] = str(int(register))
    values["unit"] = "MM" if unit == "mm" else "INCHES"
    values["unit_word"] = "G21" if unit == "mm" else "G20"
    values["x_figures"] = "NO X"
    for offset in offsets:
        letter = offset.axis.lower()
        values[letter] = offset.text
        if letter == "x":
            values["x_figures"] = "X ON DIAMETER" if offset.on_diameter else "X ON RADIUS"
        values[f"{letter}_word"] = offset.axis + offset.text
    if facts.nose_radius_tenths_um is not None:
        radius, step = facts.nose_radius_tenths_um, facts.offset_increment_tenths_um
        values["r"] = plain_text(radius, unit, step)
        values["r_word"] = "R" + values["r"]
    if facts.tip_orientation is not None:
        values["q"] = str(int(facts.tip_orientation))
        values["q_word"] = "Q" + values["q"]
    return values


def plain_words(text: str) -> str:
    r"""Words of the records as a comment can hold them: capitals, no marks of a control.

    Examples:
        >>> plain_words("Lathe 3 (north)\nG0 X0")
        'LATHE 3 NORTH G0 X0'
    """
    bare = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii")
    kept = re.sub(r"[^A-Z0-9 .,+\-/#:_]", " ", bare.upper())
    return re.sub(r" +", " ", kept).strip()[:LONGEST_WORDS].rstrip() or "-"
