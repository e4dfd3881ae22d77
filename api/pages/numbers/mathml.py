"""A formula as MathML: by its letters, and with figures in their place.

Formulas are written as arithmetic expressions, so that one text is rendered both ways and a
test can work it out beside the function that it stands for.
"""

from __future__ import annotations

import ast
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Final

from markupsafe import Markup, escape

Figure = float | Sequence[float]
"""One number, or one for each term of a sum."""

_GREEK: Final = {
    "alpha": "α",
    "epsilon": "ε",
    "theta": "θ",
    "lam": "λ",
    "sigma": "σ",
    "pi": "π",
    "Delta": "Δ",
    "inf": "∞",
}
#: Signs on both sides of what they say something of.
_AROUND: Final = {"ceil": ("⌈", "⌉"), "floor": ("⌊", "⌋"), "abs": ("|", "|")}

#: Terms of a sum that are written out; of more the last ones become dots.
_MOST_TERMS = 4
_PLUS, _TIMES, _RAISED, _ATOM = range(1, 5)

#: Digits up to which a number that has no more is shown whole.
_WHOLE: Final = 8


def formula_markup(text: str, figures: Mapping[str, Figure] | None = None) -> Markup:
    """One ``left = right`` with its letters.

    Args:
        text: The formula.
        figures: Figures; a name that has several is written with an index inside a sum.
    """
    many = frozenset(n for n, value in (figures or {}).items() if isinstance(value, Sequence))
    return _math(_Writer(text, {}, many).side(place) for place in (0, 1))


def figured_rows(text: str, figures: Mapping[str, Figure], unit: str = "") -> list[Markup]:
    """The right side with its figures and what it comes to.

    One row per term where a figure outside a sum has several; none where a figure is missing.
    """
    if not names_of(text) <= figures.keys():
        return []
    left, right = sides_of(text)
    several = {
        name: value
        for name, value in figures.items()
        if isinstance(value, Sequence) and name in _names(right, sums=False)
    }
    rows = []
    for i in range(min(max(map(len, several.values()), default=1), _MOST_TERMS)):
        here = dict(figures) | {name: value[i] for name, value in several.items()}
        worked_out = _Writer(text, here, frozenset()).side(1)
        if isinstance(left, ast.Name):
            value = figures[left.id]
            came = number_markup(value[i] if isinstance(value, Sequence) else value)
            letter = _Writer(text, {}, frozenset()).side(0)
            rows.append(_math((letter, worked_out, came), unit))
        else:
            rows.append(_math((_Writer(text, here, frozenset()).side(0), worked_out)))
    return rows


def names_of(text: str) -> set[str]:
    """Every letter that a figure is needed for."""
    left, right = sides_of(text)
    return _names(left) | _names(right)


@cache
def sides_of(text: str) -> tuple[ast.expr, ast.expr]:
    """Both sides of an equation, parsed."""
    left, _, right = text.partition(" = ")
    return ast.parse(left, mode="eval").body, ast.parse(right, mode="eval").body


def number_markup(value: float) -> Markup:
    """A number to five digits; to its last one where it has at most eight."""
    if not math.isfinite(value):
        return Markup("<mi>∞</mi>")
    digits, exponent = _digits(value)
    if exponent is None:
        return Markup("<mn>{}</mn>").format(digits)
    return Markup("<mn>{}</mn><mo>×</mo><msup><mn>10</mn><mn>{}</mn></msup>").format(
        digits, exponent
    )


def number_text(value: float) -> Markup:
    """The same as text."""
    if not math.isfinite(value):
        return Markup("∞")
    digits, exponent = _digits(value)
    if exponent is None:
        return escape(digits)
    return Markup("{} × 10<sup>{}</sup>").format(digits, exponent)


def symbol_markup(name: str, index: str = "") -> Markup:
    """A letter; what follows its underline becomes an index."""
    base, _, below = name.partition("_")
    below = ", ".join(part for part in (below, index) if part)
    letter = Markup("<mi>{}</mi>").format(_GREEK.get(base, base))
    if not below:
        return letter
    return Markup("<msub>{}<mtext>{}</mtext></msub>").format(letter, below)


def _digits(value: float) -> tuple[str, str | None]:
    if value == 0:
        return "0", None
    # what somebody typed or measured stands in full: 25.0012 less 25.0005 is not 0
    digits = _WHOLE if math.isclose(value, float(f"{value:.{_WHOLE}g}"), rel_tol=1e-12) else 5
    rounded = float(f"{value:.{digits}g}")
    size = math.floor(math.log10(abs(rounded)))
    if -4 <= size < 6:
        return f"{rounded:.{max(0, digits - 1 - size)}f}".rstrip("0").rstrip(".") if (
            rounded != int(rounded)
        ) else f"{int(rounded)}", None
    front = f"{rounded:.4e}".partition("e")[0].rstrip("0").rstrip(".")
    return front, str(size).replace("-", "−")


def _called(node: ast.AST, name: str) -> list[ast.expr]:
    """Arguments of a call of a function, empty for anything else."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == name:
        return node.args
    return []


def _names(node: ast.AST, *, sums: bool = True) -> set[str]:
    """Letters in a part of a formula, by default those inside sums too."""
    if isinstance(node, ast.Name):
        return {node.id} - {"pi", "inf"}
    if isinstance(node, ast.Call):
        parts = node.args[1:] if _called(node, "total") and not sums else node.args
        found = set().union(*(_names(part, sums=sums) for part in parts))
        running = _called(node, "integral")[1:2]
        return found - {part.id for part in running if isinstance(part, ast.Name)}
    inner = ast.iter_child_nodes(node)
    return set().union(*(_names(part, sums=sums) for part in inner))


def _math(parts: Iterable[Markup], unit: str = "") -> Markup:
    inner = Markup("<mo>=</mo>").join(parts)
    if unit:
        inner += Markup("<mspace width='0.3em'></mspace><mtext>{}</mtext>").format(unit)
    return Markup("<math display='block'><mrow>{}</mrow></math>").format(inner)


@dataclass(frozen=True, slots=True)
class _Piece:
    """Markup and how tightly it holds together."""

    markup: Markup
    holds: float

    def held(self, least: float) -> Markup:
        if self.holds >= least:
            return self.markup
        return Markup("<mrow><mo>(</mo>{}<mo>)</mo></mrow>").format(self.markup)


def _atom(markup: Markup) -> _Piece:
    return _Piece(markup, _ATOM)


@dataclass(frozen=True, slots=True)
class _Writer:
    """Writes one equation with the figures that it has."""

    text: str
    figures: Mapping[str, Figure]
    many: frozenset[str]
    term: int | None = None
    in_sum: bool = False
    raised: bool = False

    def side(self, place: int) -> Markup:
        return self._piece(sides_of(self.text)[place]).markup

    def _piece(self, node: ast.expr) -> _Piece:
        if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
            return self._number(float(node.value))
        if isinstance(node, ast.Name):
            return self._name(node.id)
        if isinstance(node, ast.UnaryOp):
            inner = self._piece(node.operand).held(_TIMES)
            return _Piece(Markup("<mo>−</mo>{}").format(inner), _PLUS)
        if isinstance(node, ast.BinOp):
            return self._two(node)
        if isinstance(node, ast.Call):
            return self._call(ast.unparse(node.func), node.args)
        raise ValueError(f"no formula: {ast.unparse(node)}")

    def _number(self, value: float) -> _Piece:
        markup = number_markup(value)
        plain = value >= 0 and "msup" not in markup
        return _Piece(markup, _ATOM if plain else _PLUS)

    def _name(self, name: str) -> _Piece:
        value = self.figures.get(name)
        if value is None:
            index = "i" if self.in_sum and name in self.many else ""
            return _atom(symbol_markup(name, index))
        if isinstance(value, Sequence):
            value = value[self.term or 0]
        return self._number(value)

    def _two(self, node: ast.BinOp) -> _Piece:
        above = replace(self, raised=True) if isinstance(node.op, ast.Pow) else self
        left, right = self._piece(node.left), above._piece(node.right)
        if isinstance(node.op, ast.Div) and self.raised:
            # a fraction of raised letters is too small to read
            over, under = left.held(_TIMES), right.held(_TIMES + 0.5)
            return _Piece(Markup("{}<mo>/</mo>{}").format(over, under), _TIMES)
        if isinstance(node.op, ast.Div):
            fraction = Markup("<mfrac><mrow>{}</mrow><mrow>{}</mrow></mfrac>")
            return _Piece(fraction.format(left.markup, right.markup), _RAISED)
        if isinstance(node.op, ast.Pow):
            raised = Markup("<msup><mrow>{}</mrow><mrow>{}</mrow></msup>")
            return _Piece(raised.format(left.held(_ATOM), right.markup), _RAISED)
        if isinstance(node.op, ast.Mult):
            sign = "×" if self.figures else "·"
            both = (left.held(_TIMES), sign, right.held(_TIMES + 0.5))
            return _Piece(Markup("{}<mo>{}</mo>{}").format(*both), _TIMES)
        sign, least = ("+", _PLUS) if isinstance(node.op, ast.Add) else ("−", _TIMES)
        both = (left.held(_PLUS), sign, right.held(least))
        return _Piece(Markup("{}<mo>{}</mo>{}").format(*both), _PLUS)

    def _call(self, name: str, args: list[ast.expr]) -> _Piece:
        if name == "total":
            return self._sum(args)
        writer = replace(self, raised=True) if name == "exp" else self
        inner = [writer._piece(arg) for arg in args]
        first = inner[0].markup
        if name == "sqrt":
            return _atom(Markup("<msqrt><mrow>{}</mrow></msqrt>").format(first))
        if name == "exp":
            markup = Markup("<msup><mi>e</mi><mrow>{}</mrow></msup>").format(first)
            return _Piece(markup, _RAISED)
        if name in _AROUND:
            start, end = _AROUND[name]
            around = (start, first, end)
            return _atom(Markup("<mrow><mo>{}</mo>{}<mo>{}</mo></mrow>").format(*around))
        if name == "mod":
            both = (inner[0].held(_TIMES), inner[1].held(_TIMES))
            return _Piece(Markup("{}<mo>mod</mo>{}").format(*both), _PLUS)
        if name == "integral":
            parts = (inner[2].markup, inner[3].markup, first, inner[1].markup)
            markup = Markup(
                "<msubsup><mo>∫</mo><mrow>{}</mrow><mrow>{}</mrow></msubsup>{}"
                "<mspace width='0.2em'></mspace><mi>d</mi>{}"
            ).format(*parts)
            return _Piece(markup, _TIMES)
        comma = Markup("<mo>,</mo>").join(piece.markup for piece in inner)
        word = name.removesuffix("_deg")
        if word != name and self.figures:
            comma += Markup("<mi>°</mi>")
        markup = Markup("{}<mrow><mo>(</mo>{}<mo>)</mo></mrow>").format(
            symbol_markup(word), comma
        )
        return _Piece(markup, _RAISED)

    def _sum(self, args: list[ast.expr]) -> _Piece:
        if not self.figures:
            writer = replace(self, figures={}, term=None, in_sum=True)
            parts = (self._piece(args[1]).markup, writer._piece(args[0]).held(_TIMES))
            sign = Markup(
                "<munderover><mo>∑</mo><mrow><mi>i</mi><mo>=</mo><mn>1</mn></mrow>"
                "<mrow>{}</mrow></munderover>{}"
            )
            return _Piece(sign.format(*parts), _TIMES)
        inside = _names(args[0])
        many = [
            len(value)
            for name, value in self.figures.items()
            if name in inside and isinstance(value, Sequence)
        ]
        count = max(many, default=1)
        terms = [
            replace(self, term=i, in_sum=False)._piece(args[0])
            for i in range(min(count, _MOST_TERMS))
        ]
        if count == 1:
            return terms[0]
        shown = [term.held(_PLUS) for term in terms]
        if count > _MOST_TERMS:
            shown[-1] = Markup("<mo>…</mo>")
        return _Piece(Markup("<mo>+</mo>").join(shown), _PLUS)
