"""Finds the sentences that the domain makes, in its source: every text a page may have to say.

A hole of an f-string becomes ``{0}``, ``{1}`` …; a choice between written-out texts within one
(``'' if n == 1 else 's'``) becomes one text for each, so that nobody translates fragments.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

#: More choices than this in one text stay holes.
_MOST_CHOICES = 8

#: What only programs, logs and whoever starts the service read.
ELSEWHERE = (
    "api/cli.py", "api/demo.py", "api/feed_command.py", "api/language",
    "api/print_labels.py", "api/print_sheets.py",
    "api/pages/docs.py", "api/serving.py", "api/settings.py",
    "api/shop_commands.py", "api/terminal.py", "api/text_lists.py", "api/http/document.py",
    "api/http/operation.py", "api/http/paging.py",
    "api/pages/numbers/mathml.py", "api/worker.py", "api/asgi.py", "api/server",
    "api/application.py",
    "crib/sentence.py", "crib/demo", "crib/shopfiles",
    "crib/records/catalogue.py", "crib/records/columns.py",
    "crib/store/migrations", "crib/store/migrate.py", "crib/store/tables.py",
    "crib/store/kept_tables.py", "crib/store/record_tables.py", "crib/store/triggers.py",
    "crib/store/types.py", "crib/store/backup.py", "crib/store/checking.py",
    "crib/store/digest", "crib/store/file_checks.py", "crib/store/identity.py",
    "crib/store/import_rows.py", "crib/store/bulk.py", "crib/store/bounds.py",
    "crib/store/named_rows.py",
    "crib/acts/import_guards.py", "crib/acts/import_shop.py",
    "crib/acts/import_notices.py",
    "crib/views/export_shop.py", "crib/outlook/keep_forecasts.py",
    "crib/views/tool_asset_xml.py",
    "labels/kit_sheet.py", "labels/swap_sheet.py", "labels/assembly_label.py",
    "labels/plates.py", "labels/table.py",
)  # fmt: skip

#: Where only what is raised comes from here: pages mark their own texts, calls are English.
RAISED_ONLY = ("api/pages", "api/rest", "api/schemas")

_CODE = re.compile(
    r"\b(SELECT|INSERT|UPDATE|DELETE|CREATE|ROLLBACK|RELEASE|SAVEPOINT|PRAGMA|COLLATE|ORDER BY"
    r"|IS NULL|IS NOT NULL|IN \(|VALUES|BEGIN IMMEDIATE|VACUUM)"
    r"|\\d|%[sd]|\$\w+|= \?|>= 0|^id = 1|^<\{|\|\||coalesce\(|, total$|\bJOIN |^WHERE |^AND \w+"
    r"|\*/\*|^q \{|\} re\n?$|\.offset_|\.\*"
)
_WORDS = re.compile(r"[A-Za-z]{2,}.* |.* .*[A-Za-z]{2,}", re.DOTALL)
#: A label or title begins with a capital; a call or a designation has no small letter after it.
_SAID = re.compile(
    r"^[A-Z][a-z]|^[A-Z] |^[a-z]+ .*[a-z]{2} |^on (diameter|radius)$|[a-z]{2,}.* [a-z]{2,}"
)
_MESSAGES = {"error_messages", "messages"}
_CALLS_FOR_LOGS = {"debug", "info", "warning", "error", "exception", "log"}


@dataclass(slots=True)
class _Text:
    """One way that a text may read: written-out parts, and None for each hole."""

    parts: list[str | None] = field(default_factory=list)

    def plus(self, other: _Text) -> _Text:
        return _Text([*self.parts, *other.parts])

    def template(self) -> str:
        holes = iter(range(len(self.parts)))
        return "".join(f"{{{next(holes)}}}" if part is None else part for part in self.parts)


def _ways(node: ast.expr) -> list[_Text]:
    """Every way an expression may read; a single hole where it is not written out."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return [_Text([node.value])]
    if isinstance(node, ast.JoinedStr):
        return _joined([_ways(value) for value in node.values])
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        return _joined([_ways(node.left), _ways(node.right)])
    if isinstance(node, ast.FormattedValue):
        return _ways(node.value) if isinstance(node.value, ast.IfExp) else [_Text([None])]
    if isinstance(node, ast.IfExp):
        chosen = [*_ways(node.body), *_ways(node.orelse)]
        return chosen if any(way.parts != [None] for way in chosen) else [_Text([None])]
    return [_Text([None])]


def _joined(pieces: list[list[_Text]]) -> list[_Text]:
    ways = [_Text()]
    for piece in pieces:
        fits = len(ways) * len(piece) <= _MOST_CHOICES
        ways = [
            way.plus(next_) for way in ways for next_ in (piece if fits else [_Text([None])])
        ]
    return ways


def _no_texts(tree: ast.AST) -> set[int]:
    """Ids of the strings that nobody reads on a page: docstrings, notes, patterns, logs."""
    passed: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and not isinstance(node.value, ast.Yield):
            passed.add(id(node.value))
        if isinstance(node, ast.FormattedValue) and node.format_spec is not None:
            passed.update(id(inner) for inner in ast.walk(node.format_spec))
        if isinstance(node, ast.Call):
            name = getattr(node.func, "attr", getattr(node.func, "id", ""))
            if name in _CALLS_FOR_LOGS or name in {"compile", "fullmatch", "NewType"}:
                passed.update(id(inner) for inner in ast.walk(node))
            if name in {"sentence", "word", "figure"} and node.args:
                passed.add(id(node.args[0]))
    return passed


def _outermost(node: ast.AST, passed: set[int]) -> Iterator[ast.expr]:
    """Expressions that make a text, not the pieces they are made of."""
    for child in ast.iter_child_nodes(node):
        if id(child) in passed and not isinstance(child, ast.Call):
            continue
        if _makes_text(child):
            assert isinstance(child, ast.expr)  # noqa: S101 - for the type checker
            yield child
            yield from _within_holes(child, passed)
        else:
            yield from _outermost(child, passed)


def _makes_text(node: ast.AST) -> bool:
    if isinstance(node, ast.Constant):
        return isinstance(node.value, str)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        return _makes_text(node.left) or _makes_text(node.right)
    return isinstance(node, ast.JoinedStr)


def _within_holes(node: ast.AST, passed: set[int]) -> Iterator[ast.expr]:
    for inner in ast.walk(node):
        if isinstance(inner, ast.FormattedValue) and not isinstance(inner.value, ast.IfExp):
            yield from _outermost(inner, passed)


def texts_of(source: str, *, raised_only: bool = False) -> list[str]:
    """Every text in a module that reads like words for a person.

    Args:
        source: The module.
        raised_only: Whether to look only at what is raised.
    """
    tree = ast.parse(source)
    passed = _no_texts(tree)
    found: dict[str, None] = {}
    roots = [node for node in ast.walk(tree) if _complains(node)]
    for root in roots if raised_only else [tree]:
        for node in _outermost(root, passed):
            for way in _ways(node):
                template = _numbered(way.template())
                if _reads_like_words(template):
                    found[template.strip().lstrip(" ;,:")] = None
    return list(found)


def _complains(node: ast.AST) -> bool:
    """Whether a piece of code holds what is said about bad input."""
    if isinstance(node, ast.keyword):
        return node.arg == "error_messages"
    if isinstance(node, ast.Assign):
        return any(getattr(target, "id", "") in _MESSAGES for target in node.targets)
    return isinstance(node, ast.Raise)


def _numbered(template: str) -> str:
    """A text for ``str.format`` with its nameless holes numbered."""
    holes = iter(range(template.count("{")))
    return re.sub(r"\{(:[^{}]*)?\}", lambda _found: f"{{{next(holes)}}}", template)


def _reads_like_words(template: str) -> bool:
    written = re.sub(r"\{\w*\}", "", template)
    return bool(_WORDS.search(written.strip() and template)) and (
        bool(re.search(r"[a-z]{2,}", written)) and not _CODE.search(template.strip())
    )


def number_page_texts(source: str) -> list[str]:
    """What a page of calculations says: titles, labels, heads and cells, not its formulas."""
    tree = ast.parse(source)
    passed = _no_texts(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            name = getattr(node.func, "id", "")
            silent = node.args if name == "Line" else node.args[2:] if name == "Entry" else []
            passed.update(id(inner) for given in silent for inner in ast.walk(given))
    found: dict[str, None] = {}
    for node in _outermost(tree, passed):
        for way in _ways(node):
            text = _numbered(way.template()).strip()
            if id(node) not in passed and _SAID.search(text) and not _CODE.search(text):
                found[text] = None
    return list(found)


def domain_texts(root: Path) -> dict[str, list[str]]:
    """Every such text of the packages under a folder, with the files that hold it."""
    found: dict[str, list[str]] = {}
    for package in ("crib", "labels", "api"):
        for path in sorted((root / package).rglob("*.py")):
            place = path.relative_to(root).as_posix()
            if place.startswith(ELSEWHERE):
                continue
            source = path.read_text(encoding="utf-8")
            if place.startswith("api/pages/numbers"):
                for text in number_page_texts(source):
                    found.setdefault(text, []).append(place)
            for text in texts_of(source, raised_only=place.startswith(RAISED_ONLY)):
                found.setdefault(text, []).append(place)
    return found
