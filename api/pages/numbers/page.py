"""The pages of the calculations: form, formula with its figures, result, source and code."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

from flask import Blueprint, Response, request
from markupsafe import Markup

from api.pages.numbers import bench, costs, cutting, designations, inverse, life, measuring
from api.pages.numbers.mathml import figured_rows, formula_markup, number_text, symbol_markup
from api.pages.numbers.shown import Body, Entry, Figures, Result, Table, Working, code_place
from api.pages.render import page
from api.problems import no_such_address
from crib.errors import Refusal
from crib.sentence import sentence, together, word

blueprint = Blueprint("numbers", __name__)

GROUPS: Final = {
    sentence("The cut"): (
        cutting.ENGAGED_TIME,
        cutting.THREAD_PASSES,
        cutting.ROUGHNESS,
        inverse.FEED_FOR_FINISH,
        cutting.BAR,
    ),
    sentence("The life of an edge"): (
        life.TOOL_LIFE,
        inverse.SPEED_FOR_LIFE,
        inverse.FEED_FOR_LIFE,
        life.CONSTANTS,
        life.LIFE_FIT,
        costs.SWAP_POINT,
    ),
    sentence("Size, speed and cost"): (costs.PART_SIZE, costs.ECONOMICS),
    sentence("Measuring"): (
        bench.PRESET,
        measuring.GAUGE_STUDY,
        measuring.GAUGE_DRIFT,
        measuring.BUDGET,
    ),
    sentence("What the letters say"): (
        designations.INSERT,
        designations.HOLDER,
        designations.MATERIAL,
    ),
    sentence("Bench, stock and codes"): (
        bench.BENCH_ORDER,
        bench.REORDER,
        bench.CHECK_CHARACTER,
    ),
}

WORKINGS: Final = {working.slug: working for group in GROUPS.values() for working in group}

_LONGEST = 20_000


@dataclass(slots=True)
class Typed:
    """What somebody typed, what it says, and what is wrong with it by entry."""

    texts: dict[str, str]
    body: Body = field(default_factory=dict)
    wrong: dict[str, str] = field(default_factory=dict)
    told: str = ""


@dataclass(frozen=True, slots=True)
class FormulaShown:
    """A formula by its letters, and with its figures where they are known."""

    letters: Markup
    rows: list[Markup]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a calculation came to, ready to be shown."""

    formulas: list[FormulaShown]
    results: list[tuple[str, Markup | str, str]]
    tables: list[Table]


@blueprint.get("/workings")
def index() -> Response:
    """Every calculation that has a page."""
    return page("workings.html", groups=GROUPS)


@blueprint.get("/workings/<slug>")
def working_page(slug: str) -> Response:
    """One calculation: the figures of the address, or an example where it has none."""
    working = WORKINGS.get(slug)
    if working is None:
        return no_such_address(
            sentence(
                "There is no calculation called {slug}; /workings lists them.", slug=slug[:60]
            )
        )
    typed = _read(working)
    outcome = None if typed.wrong or typed.told else _work_out(working, typed)
    return page(
        "working.html",
        200 if outcome else 422,
        working=working,
        typed=typed,
        outcome=outcome,
        example=not request.args,
        symbol=_symbol,
        places=[code_place(function) for function in working.functions],
    )


def _symbol(entry: Entry) -> Markup:
    return Markup("<math>{}</math>").format(symbol_markup(entry.symbol))


def _read(working: Working) -> Typed:
    """The address's figures by entry; the example's where the address has none at all."""
    known = {entry.name: entry for entry in working.entries}
    if not request.args:
        typed = Typed({entry.name: entry.example for entry in working.entries})
    else:
        typed = Typed({name: request.args.get(name, "").strip() for name in known})
        strange = [name[:40] for name in request.args if name not in known]
        if strange:
            typed.told = sentence(
                "This page does not know these fields: {strange}.",
                strange=together(", ", strange),
            )
    for name, text in typed.texts.items():
        if not text:
            continue
        if len(text) > _LONGEST:
            typed.wrong[name] = sentence(
                "is longer than {longest} characters", longest=_LONGEST
            )
            continue
        try:
            typed.body[name] = known[name].read(text)
        except Refusal as refusal:
            typed.wrong[name] = refusal.sentence
    return typed


def _work_out(working: Working, typed: Typed) -> Outcome | None:
    try:
        answer = working.work(typed.body)
    except Refusal as refusal:
        _blame(working, typed, refusal)
        return None
    return shown_outcome(working, typed.body, answer)


def _blame(working: Working, typed: Typed, refusal: Refusal) -> None:
    """Put each complaint beside its entry; those that fit none go on top."""
    names = {entry.name for entry in working.entries}
    strange = []
    for error in refusal.errors:
        name = error["field"].partition(".")[0]
        detail = error["detail"].partition(": ")[0] if not error["field"] else error["detail"]
        if name in names:
            typed.wrong.setdefault(name, detail)
        else:
            strange.append(error)
    if strange or not refusal.errors:
        typed.told = refusal.sentence


def shown_outcome(working: Working, body: Body, answer: Body) -> Outcome:
    """Formulas with figures, results and tables of one calculation."""
    figures = working.figures(body, answer)
    return Outcome(
        formulas=_formulas(working, figures),
        results=[
            (result.label, _value(result, answer), result.unit)
            for result in working.results
            if result.of(answer) is not None
        ],
        tables=working.tables(body, answer),
    )


def _formulas(working: Working, figures: Figures) -> list[FormulaShown]:
    found = []
    for line in working.lines:
        if line.when and line.when not in figures.cases:
            continue
        letters = formula_markup(line.text, figures.by_letter)
        rows = figured_rows(line.text, figures.by_letter, line.unit)
        found.append(FormulaShown(letters, rows))
    return found


def _value(result: Result, answer: Body) -> Markup | str:
    value: Any = result.of(answer)
    if isinstance(value, bool):
        return word("yes") if value else word("no")
    if isinstance(value, int | float):
        return number_text(value)
    return value if isinstance(value, str) else str(value)
