"""The whole check and the tests themselves: right on any machine, however busy or new it is."""

from __future__ import annotations

import ast
import re
import subprocess
from pathlib import Path

from tests.pages.reading import parsed

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = (ROOT / ".ci" / "run").read_text()
TESTS = sorted((ROOT / "tests").rglob("*.py"))


def test_the_whole_check_removes_only_its_own_folder() -> None:
    removals = [line for line in SCRIPT.splitlines() if re.search(r"\brm\b", line)]

    assert removals == ["trap 'rm -rf \"$work\"' EXIT"]


def test_the_whole_check_works_in_copies_and_looks_at_nothing_above() -> None:
    body = SCRIPT.split('cd "$(dirname "$0")/.."', 1)[1]

    assert ".." not in body
    assert "find " not in body
    # every environment is made after the change into a copy
    for made in re.finditer(r"python3 -m venv|\$command\"\n", body):
        before = body[: made.start()]
        assert before.rfind('cd "$work/') > before.rfind("copy_to "), body[made.start() :][:60]


def test_the_whole_check_runs_the_readmes_command_with_old_and_new_versions() -> None:
    (words,) = re.findall(r"\$\(awk '(.*)' README\.md\)", SCRIPT)
    told = subprocess.run(
        ["awk", words, "README.md"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    fences = re.findall(r"^```\w*\n(.*?)^```", (ROOT / "README.md").read_text(), re.S | re.M)

    assert told.stdout == fences[1]
    assert SCRIPT.count('sh -c "$command"') == 2
    tested, newest = SCRIPT.split('cd "$work/tested"')[1].split('cd "$work/newest"')
    assert "PIP_CONSTRAINT=" in tested
    assert "PIP_CONSTRAINT=" not in newest
    assert 'PATH="/usr/bin:' in newest


def test_what_a_template_holds_is_not_on_the_page() -> None:
    page = parsed("<main><template><p>later</p><!-- so --></template><p>now</p></main>")

    assert [found.get_text() for found in page.select("p")] == ["now"]
    assert page.main is not None
    assert page.main.get_text() == "now"
    assert page.find_all(string=re.compile("later")) == []


def test_pages_are_read_in_one_place() -> None:
    """Versions of the library differ in what they find; that place makes them the same."""
    name = "Beautiful" + "Soup"
    users = [path for path in TESTS if f"{name}(" in path.read_text()]

    assert users == [ROOT / "tests" / "pages" / "reading.py"]


def test_no_generated_example_fails_for_being_slow() -> None:
    """A busy machine draws and runs examples slowly; that is no fault of theirs."""
    wrong = []
    for path in TESTS:
        for call in ast.walk(ast.parse(path.read_text())):
            name = getattr(getattr(call, "func", None), "id", "")
            if not isinstance(call, ast.Call) or name != "settings":
                continue
            for word in call.keywords:
                text = ast.unparse(word.value)
                if word.arg == "deadline" and text != "None":
                    wrong.append(f"{path}:{call.lineno}: deadline={text}")
                if word.arg == "suppress_health_check" and "too_slow" not in text:
                    wrong.append(f"{path}:{call.lineno}: {text}")

    assert wrong == []
