"""Each position of a designation in a plain phrase, with what it comes to."""

from __future__ import annotations

from typing import NamedTuple

from crib.designation import holder_tables, material, sizes, tables
from crib.designation.holder import BoringBar, Pocket, TurningHolder
from crib.designation.insert import Insert
from crib.designation.material import Application
from crib.sentence import figure, sentence, together


class Position(NamedTuple):
    """One position of a text.

    Attributes:
        position: The standard's number of it.
        text: What stands there.
        meaning: A plain phrase.
        value: A number [mm or deg, as the phrase says] or a word; None where the letters do
            not tell one.
    """

    position: int
    text: str
    meaning: str
    value: float | str | None


def _with_unit(
    value: float | None, unit: str, unknown: str = sentence("the maker tells")
) -> str:
    if value is None:
        return unknown
    return together("" if unit == "°" else " ", (figure(value, ".5g"), unit))


def explain_insert(insert: Insert) -> tuple[Position, ...]:
    """Positions of an insert, in the order of ISO 1832."""
    shape, kind = tables.SHAPES[insert.shape], tables.TYPES[insert.type]
    angle = (
        sentence(", included angle {angle_deg}°", angle_deg=figure(shape.angle_deg, "g"))
        if shape.angle_deg
        else ""
    )
    clearance = insert.clearance_deg
    positions = [
        Position(
            1,
            insert.shape,
            sentence("shape: {words}{angle}", words=shape.words, angle=angle),
            shape.angle_deg,
        ),
        Position(
            2,
            insert.clearance,
            sentence("clearance: {told}", told=_with_unit(clearance, "°")),
            clearance,
        ),
        Position(3, insert.tolerance, _limits(insert), insert.tolerance),
        Position(4, insert.type, sentence("type: {words}", words=kind.words), kind.words),
        Position(5, insert.size, _size(insert), insert.circle_mm),
        Position(
            6,
            insert.thickness,
            sentence(
                "thickness: {inches}{told}",
                inches=_inches(insert, sentence("1/16 in, ")),
                told=_with_unit(insert.thickness_mm, "mm"),
            ),
            insert.thickness_mm,
        ),
        *([Position(7, insert.corner, *_corner(insert))] if insert.corner else []),
    ]
    if insert.condition:
        words = tables.EDGE_CONDITION[insert.condition]
        if insert.chamfer:
            wide, angle_deg = int(insert.chamfer[:3]) / 100, int(insert.chamfer[3:])
            words += sentence(
                ", chamfer {wide} mm wide at {angle_deg}°",
                wide=figure(wide, ".2f"),
                angle_deg=angle_deg,
            )
        text = insert.condition + insert.chamfer
        positions.append(
            Position(8, text, sentence("cutting edge: {words}", words=words), words)
        )
    if insert.hand:
        words = tables.HAND[insert.hand]
        positions.append(
            Position(9, insert.hand, sentence("cutting direction: {words}", words=words), words)
        )
    return (*positions, *_maker(10, insert.maker))


def _limits(insert: Insert) -> str:
    parts = []
    for name, range_ in zip("dms", insert.limits, strict=True):
        if range_ is not None:
            least, greatest = range_
            spread = (
                figure(least, "g")
                if least == greatest
                else sentence(
                    "{least} to {greatest}",
                    least=figure(least, "g"),
                    greatest=figure(greatest, "g"),
                )
            )
            parts.append(sentence("{name} ±{spread} mm", name=name, spread=spread))
    return sentence("tolerance class: {parts}", parts=together(", ", parts))


def _inches(insert: Insert, of_what: str) -> str:
    return sentence("in {of_what}", of_what=of_what) if insert.inch else ""


def _size(insert: Insert) -> str:
    circle, edge = insert.circle_mm, insert.edge_length_mm
    counted = _inches(insert, sentence("1/8 in, "))
    if insert.shape in sizes.LONG_SHAPES:
        return sentence(
            "size: the longer edge is {size} mm and a fraction", size=int(insert.size)
        )
    if circle is None:
        return sentence("size: two inscribed circles share this number; ask the maker which")
    if insert.shape == "R" or edge is None:
        return sentence(
            "size: {counted}diameter {told}{doubt}",
            counted=counted,
            told=_with_unit(circle, "mm"),
            doubt=_doubt(insert),
        )
    found = sentence(
        "size: {counted}inscribed circle {told}, edge {edge} mm",
        counted=counted,
        told=_with_unit(circle, "mm"),
        edge=figure(edge, ".2f"),
    )
    return found + _doubt(insert)


def _doubt(insert: Insert) -> str:
    if insert.inch:
        return ""
    if insert.shape == "R" and insert.corner == "00" and insert.size in sizes.ROUND_METRIC_MM:
        if insert.size in sizes.ROUND_INCH_MM:
            return sentence(
                ", from inches as corner 00 says; some makers mark metric ones so: measure"
            )
        return sentence(", metric: the inch series has no such number")
    why = sizes.NOT_CUT_OFF.get((insert.shape, insert.size))
    return "; " + why if why else ""


def _corner(insert: Insert) -> tuple[str, float | str | None]:
    text = insert.corner
    if text[0] in tables.WIPER_EDGE_DEG:
        edge, clearance = (
            tables.WIPER_EDGE_DEG[text[0]],
            tables.WIPER_CLEARANCE_DEG[text[1]],
        )
        words = sentence(
            "corner: wiper edge; cutting edge angle {told}, clearance of the wiper {told2}",
            told=_with_unit(edge, "°"),
            told2=_with_unit(clearance, "°"),
        )
        return words, edge
    if insert.shape == "R":
        return (
            (
                sentence("corner: round insert, diameter metric")
                if text == "M0"
                else sentence("corner: round insert, diameter in inches")
            ),
            None,
        )
    radius = insert.corner_radius_mm
    size: str = (
        sentence("sharp")
        if not radius
        else sentence(
            "radius {inches}{radius} mm",
            inches=_inches(insert, sentence("1/64 in, ")),
            radius=figure(radius, "g"),
        )
    )
    return sentence("corner: {size}", size=size), radius


def _maker(position: int, maker: str) -> tuple[Position, ...]:
    if not maker:
        return ()
    return (
        Position(
            position, maker, sentence("the maker's own letters, as for a chip breaker"), maker
        ),
    )


def explain_holder(holder: TurningHolder | BoringBar) -> tuple[Position, ...]:
    """Positions of a holder, in the order of ISO 5608, or of a bar, in that of ISO 6261."""
    length = _length(holder.length, holder.length_mm)
    if isinstance(holder, BoringBar):
        kind = holder_tables.BAR_KIND[holder.kind]
        across = holder.shank_diameter_mm
        return (
            Position(1, holder.kind, sentence("bar: {kind}", kind=kind), kind),
            Position(
                2,
                holder.diameter,
                sentence("shank diameter: {across} mm", across=figure(across, "g")),
                across,
            ),
            Position(3, holder.length, length, holder.length_mm),
            *_pocket(4, holder.pocket, holder.edge_angle_deg),
            _insert_size(holder.pocket),
            *_maker(10, holder.maker),
        )
    height, width = holder.shank_height_mm, holder.shank_width_mm
    faces = holder_tables.CLOSE_TOLERANCE.get(holder.faces, "")
    return (
        *_pocket(1, holder.pocket, holder.edge_angle_deg),
        Position(
            6,
            holder.height,
            sentence("shank height: {height} mm", height=figure(height, "g")),
            height,
        ),
        Position(
            7,
            holder.width,
            sentence("shank width: {width} mm", width=figure(width, "g")),
            width,
        ),
        Position(8, holder.length, length, holder.length_mm),
        _insert_size(holder.pocket),
        *(
            [Position(10, holder.faces, sentence("tolerance: {faces}", faces=faces), faces)]
            if faces
            else []
        ),
        *_maker(11, holder.maker),
    )


def _length(letter: str, length_mm: float | None) -> str:
    if letter == holder_tables.STANDARD_LENGTH:
        return sentence("overall length: that of ISO 5610 for this shank")
    return sentence(
        "overall length: {told}",
        told=_with_unit(length_mm, "mm", sentence("special, the maker tells")),
    )


def _pocket(first: int, pocket: Pocket, angle_deg: float | None) -> tuple[Position, ...]:
    clamping = holder_tables.CLAMPING[pocket.clamping]
    shape = tables.SHAPES[pocket.shape]
    included = (
        sentence(", included angle {angle_deg}°", angle_deg=figure(shape.angle_deg, "g"))
        if shape.angle_deg
        else ""
    )
    lies = holder_tables.STYLE_WORDS[pocket.style]
    style = (
        lies
        if angle_deg is None
        else sentence(
            "edge angle {angle_deg}°, {lies}", angle_deg=figure(angle_deg, "g"), lies=lies
        )
    )
    clearance = tables.CLEARANCE_DEG[pocket.clearance]
    hand = holder_tables.HAND[pocket.hand]
    return (
        Position(
            first,
            pocket.clamping,
            sentence("clamping: {clamping}", clamping=clamping),
            clamping,
        ),
        Position(
            first + 1,
            pocket.shape,
            sentence("insert shape: {words}{included}", words=shape.words, included=included),
            shape.angle_deg,
        ),
        Position(first + 2, pocket.style, sentence("style: {style}", style=style), angle_deg),
        Position(
            first + 3,
            pocket.clearance,
            sentence("insert clearance: {told}", told=_with_unit(clearance, "°")),
            clearance,
        ),
        Position(first + 4, pocket.hand, sentence("hand: {hand}", hand=hand), hand),
    )


def _insert_size(pocket: Pocket) -> Position:
    # A round insert's corner would tell metric from inch; a holder has none.
    circle = None if pocket.shape == "R" else sizes.circle_mm(pocket.shape, pocket.size, "")
    told = (
        sentence(", inscribed circle {circle} mm", circle=figure(circle, "g")) if circle else ""
    )
    return Position(
        9,
        pocket.size,
        sentence("insert size: number {size}{told}", size=pocket.size, told=told),
        circle,
    )


def explain_material(application: Application) -> tuple[Position, ...]:
    """Positions of a material group: cutting material, group, application number."""
    group = material.GROUPS[application.group]
    cutting = material.CUTTING_MATERIALS.get(application.cutting_material)
    positions = [
        Position(
            2, application.group, sentence("to cut: {words}", words=group.words), group.name
        )
    ]
    if cutting:
        text = application.cutting_material
        positions.insert(
            0, Position(1, text, sentence("edge of: {cutting}", cutting=cutting), cutting)
        )
    if application.lean:
        words = sentence("application: {lean}", lean=application.lean)
        positions.append(Position(3, application.number, words, application.number))
    return tuple(positions)
