"""What one database engine says in its own way stands in that engine's folder alone."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
STORE = ROOT / "crib" / "store"

#: The engine's own folder, the choice of it, and the migrations, which are each engine's own.
APART = (STORE / "engines", STORE / "migrations")

#: Words of SQLite that other engines have not, or have otherwise.
PECULIAR = re.compile(
    r"sqlite|\bpragma\b|json_(each|extract|group)|\bnocase\b|\btrigger\b(?!s)|\bvacuum\b"
    r"|\browid\b|\btypeof\b|_check\(|\bimmediate\b|\bwal\b|-shm|journal_mode|busy_timeout"
    r"|\binsert or\b|\bglob\b|\bifnull\b|julianday|strftime\('|\bcross join \S+ as \S+ on\b"
    r"|\bis (not )?\?|\b(min|max)\([^()]*,|\bautoincrement\b|\bindexed by\b",
    re.IGNORECASE,
)

#: Names in code, and modules, that only an engine's folder uses.
NAMES = {"sqlite3", "fcntl", "text_factory", "isolation_level", "create_function"}


def peculiarities(source: str) -> list[str]:
    """Words of one engine in a module: in its texts but for docstrings, names and imports."""
    tree = ast.parse(source)
    documented = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    found = []
    for node in ast.walk(tree):
        match node:
            case ast.Constant(value=str() as text) if id(node) not in documented:
                found += [f"{node.lineno}: {word[0]}" for word in PECULIAR.finditer(text)]
            case ast.Import(names=names):
                found += [f"{node.lineno}: {one.name}" for one in names if one.name in NAMES]
            case ast.Attribute(attr=name) | ast.Name(id=name) if name in NAMES:
                found.append(f"{node.lineno}: {name}")
            case ast.keyword(arg=str() as name) if name.startswith("sqlite"):
                found.append(f"{node.lineno}: {name}")
    return found


def test_words_of_one_engine_stand_in_its_folder_alone() -> None:
    found = [
        f"{path.relative_to(ROOT)}:{word}"
        for path in sorted(STORE.rglob("*.py"))
        if not any(one in path.parents for one in APART)
        for word in peculiarities(path.read_text())
    ]

    assert found == []


@pytest.mark.parametrize(
    "line",
    [
        "import sqlite3",
        "driver.text_factory = str",
        'run("PRAGMA foreign_key_check")',
        'run("SELECT value FROM json_each(?)")',
        'run(f"SELECT id FROM {table} WHERE name = ? COLLATE NOCASE")',
        'run("UPDATE t SET at = min(at, excluded.at)")',
        'run("CREATE TRIGGER one BEFORE DELETE ON facts BEGIN SELECT 1; END")',
        'run("VACUUM INTO ?")',
        'run("INSERT OR REPLACE INTO t VALUES (?)")',
        'run("SELECT 1 FROM t WHERE path IS ?")',
        'Table("t", metadata, sqlite_with_rowid=False)',
        'Path(f"{path}-wal")',
        'Store("sqlite://")',
    ],
)
def test_such_a_word_is_found(line: str) -> None:
    assert peculiarities(line)


@pytest.mark.parametrize(
    "line",
    [
        '"""Opens an sqlite file."""',
        'run("SELECT max(at) FROM facts")',
        "at = min(at, before)",
        'run("SELECT 1 WHERE ended_at IS NOT NULL")',
    ],
)
def test_what_any_engine_knows_is_not_found(line: str) -> None:
    assert peculiarities(line) == []
