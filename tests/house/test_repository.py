"""The repository about itself: what newcomers read must be so."""

from __future__ import annotations

import ast
import configparser
import importlib
import json
import re
import subprocess
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

import crib.errors
from api.cli import main
from api.problems import TABLE

ROOT = Path(__file__).resolve().parents[2]
TOP = {
    "README.md", "DEVELOPERS.md", "setup.cfg", "pyproject.toml", "LICENSE", ".gitignore", ".ci",
    "crib", "api", "labels", "tests", "fixtures",
}  # fmt: skip


def _tracked() -> list[str]:
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listed.returncode:
        pytest.skip("not a git checkout: nothing says which files belong to it")
    return listed.stdout.splitlines()


def _fences(name: str) -> list[list[str]]:
    blocks = re.findall(r"^```\w*\n(.*?)^```", (ROOT / name).read_text(), re.S | re.M)
    return [block.splitlines() for block in blocks]


def test_the_top_level_holds_only_what_belongs_there():
    assert {name.split("/")[0] for name in _tracked()} <= TOP


def test_the_readme_opens_with_the_job_and_gives_the_two_commands():
    lines = (ROOT / "README.md").read_text().splitlines()
    demo, tests = _fences("README.md")[:2]

    assert lines[0] == "# crib"
    assert "sister" in " ".join(lines[2:9])
    assert len(demo) == len(tests) == 1
    assert demo[0].endswith("crib demo")
    assert "pytest" in tests[0]


def test_every_file_that_the_table_for_developers_names_is_there() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text().replace("\\", "")
    rows = re.findall(r"^\| (.+) \| (.+) \|$", text, re.M)[1:]
    missing = []
    for _, places in rows:
        folder = ROOT
        for name in re.findall(r"[\w./*]+(?:\.\w+|/)", places):
            if "/" in name:
                folder = (ROOT / name).parent
            if not list(folder.glob(Path(name).name)):
                missing.append(name)

    assert len(rows) > 40
    assert missing == []


def test_the_page_for_developers_stays_one_that_is_read_whole() -> None:
    assert len((ROOT / "DEVELOPERS.md").read_text().split()) < 2500


def test_pyproject_holds_only_what_setup_cfg_cannot():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())

    assert set(project) == {"build-system", "tool"}
    assert set(project["tool"]) == {"ruff"}


def test_every_lower_bound_is_met_by_the_tested_versions():
    setup = configparser.ConfigParser()
    setup.read(ROOT / "setup.cfg")
    wanted = setup["options"]["install_requires"].split()
    tested = dict(
        line.lower().replace("_", "-").split("==")
        for line in (ROOT / ".ci" / "tested-versions.txt").read_text().splitlines()
        if "==" in line
    )
    for requirement in wanted:
        name, bound = requirement.split(">=")
        have = [int(part) for part in re.findall(r"\d+", tested[name.lower()])]
        assert have >= [int(part) for part in bound.split(".")], requirement


def test_every_setting_that_is_read_is_described_in_the_help() -> None:
    source = (ROOT / "api" / "settings.py").read_text()
    named = set(re.findall(r"CRIB_[A-Z_]+", source.split("class Settings", 1)[1]))
    told = CliRunner().invoke(main, ["--help"]).stdout

    assert len(named) > 10
    assert [name for name in sorted(named) if f"{name}: " not in told] == []


def _refusals() -> set[type[crib.errors.Refusal]]:
    for name in _tracked():
        if name.startswith(("crib/", "api/", "labels/")) and name.endswith(".py"):
            source = (ROOT / name).read_text()
            if "Refusal)" in source or "Conflict)" in source or "Invalid" in source:
                importlib.import_module(name.removesuffix(".py").replace("/", "."))
    found: set[type[crib.errors.Refusal]] = set()
    wait = [crib.errors.Refusal]
    while wait:
        kind = wait.pop()
        found.add(kind)
        wait += kind.__subclasses__()
    return found


def test_every_refusal_has_its_row_in_the_table_of_problems():
    kinds = _refusals()

    assert kinds == set(TABLE)
    assert len({kind.kind for kind in TABLE}) == len(TABLE)


def test_every_published_value_names_its_source_and_origin():
    for path in sorted((ROOT / "fixtures" / "published").glob("*.json")):
        rows = json.loads(path.read_text())
        rows = rows["rows"] if isinstance(rows, dict) else rows
        assert rows, path.name
        for row in rows:
            assert row.get("source"), (path.name, row.get("id"))
            assert row.get("origin"), (path.name, row.get("id"))


def test_every_module_says_in_its_first_line_what_one_learns_there():
    bare = [
        name
        for name in _tracked()
        if name.startswith(("crib/", "api/", "labels/"))
        and name.endswith(".py")
        and not (ast.get_docstring(ast.parse((ROOT / name).read_text())) or "").strip()
    ]

    assert bare == []


def test_modules_keep_to_one_subject():
    long = [
        name
        for name in _tracked()
        if name.startswith(("crib/", "api/", "labels/"))
        and name.endswith((".py", ".js", ".html"))
        and "/migrations/" not in name
        and "/vendor/" not in name  # as it was published
        and len((ROOT / name).read_text().splitlines()) > 500
    ]

    assert long == []


def test_only_the_drawing_module_imports_reportlab_and_only_the_symbol_qrcode():
    for library, home in (("reportlab", "labels/pdf.py"), ("qrcode", "labels/code_symbol.py")):
        users = [
            name
            for name in _tracked()
            if name.startswith(("crib/", "api/", "labels/"))
            and name.endswith(".py")
            and re.search(rf"^\s*(import|from) {library}\b", (ROOT / name).read_text(), re.M)
        ]
        assert users == [home]


def test_no_test_runs_a_loop_in_the_thread_that_steers_browsers():
    """What steers browsers keeps a loop in that thread; then another cannot run in it."""
    apart = {"tests/loops.py", "tests/feed/conftest.py", "tests/house/test_repository.py"}
    found = {
        name
        for name in _tracked()
        if name.startswith("tests/") and name.endswith(".py")
        and "asyncio.run" in (ROOT / name).read_text()
    }  # fmt: skip
    assert found <= apart
    assert found  # tests.loops is still where they run


def test_only_the_store_sends_statements() -> None:
    sends = re.compile(r"\.(exec_driver_sql|executemany|execute)\(|\braw\(tx\)")
    found = [
        f"{path.relative_to(ROOT)}:{number}"
        for package in ("crib", "labels", "api")
        for path in sorted((ROOT / package).rglob("*.py"))
        if (ROOT / "crib" / "store") not in path.parents
        for number, line in enumerate(path.read_text().splitlines(), 1)
        if sends.search(line)
    ]

    assert found == []
