"""The command line keeps its promises: exits, streams, JSON, help."""

import json
import re
from pathlib import Path

import pypdfium2
import pytest
import zxingcpp
from click.testing import CliRunner

from api.cli import main

COMMANDS = (
    "backup", "check", "demo", "export", "feed", "import", "label", "migrate", "nights",
    "person", "restore", "serve", "swap-list",
)  # fmt: skip


@pytest.fixture
def crib(store, shop):
    """Runs a command on the small shop's database."""

    def run(*words, code=0):
        environment = {"CRIB_DATABASE_URL": store.url}
        result = CliRunner().invoke(main, [str(word) for word in words], env=environment)
        assert result.exit_code == code, result.output
        return result

    return run


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_its_help(crib, command):
    assert "Usage: crib" in crib(command, "--help").stdout.replace("main", "crib")


def test_only_these_commands_exist():
    assert tuple(sorted(main.commands)) == COMMANDS


def test_every_command_is_listed_for_developers():
    text = (Path(__file__).resolve().parents[2] / "DEVELOPERS.md").read_text()

    assert [command for command in COMMANDS if f"`crib {command}" not in text] == []


def test_the_first_steps_with_an_own_shop_work_where_nothing_is_yet(tmp_path):
    """The README's lines, in their order, in an empty folder."""
    text = (Path(__file__).resolve().parents[2] / "README.md").read_text()
    steps = text.split("## Start with your own shop")[1].split("`crib serve`")[0]
    lines = re.findall(r"`crib ([^`]+)`", steps)
    assert lines == [
        "migrate", "export FOLDER", "import --help", "import FOLDER --dry-run",
    ]  # fmt: skip
    environment = {"CRIB_DATABASE_URL": f"sqlite:///{tmp_path}/crib.db"}
    for line in (*lines, "import FOLDER", "swap-list"):
        words = [str(tmp_path / "files") if word == "FOLDER" else word for word in line.split()]
        done = CliRunner().invoke(main, words, env=environment)
        assert done.exit_code == 0, (line, done.output)
    assert "Nothing to swap within 24 h." in done.stderr


def test_a_misused_command_exits_with_two(crib):
    crib("no-such-command", code=2)
    crib("import", code=2)
    crib("label", code=2)


def test_a_label_goes_to_standard_output_and_scans_back(crib, shop):
    code = shop.codes["holders"]["TH-1"]

    result = crib("label", code, "--stock", "roll-50x25")

    page = pypdfium2.PdfDocument(result.stdout_bytes)[0]
    image = page.render(scale=203 / 72).to_pil()
    assert [found.text for found in zxingcpp.read_barcodes(image)] == [code]


def test_labels_by_mark_go_to_a_file(crib, tmp_path):
    out = tmp_path / "labels.pdf"

    result = crib("label", "TH-1", "DH-1", "M1/T01", "--stock", "roll-62x29", "--out", out)

    assert result.stdout == ""
    assert len(pypdfium2.PdfDocument(out)) == 3


def test_a_label_of_nothing_is_refused_and_writes_nothing(crib, tmp_path):
    out = tmp_path / "labels.pdf"

    result = crib("label", "NOPE", "--out", out, code=1)

    assert "NOPE" in result.stderr
    assert not out.exists()


def test_lists_print_json(crib):
    assert "roll-62x29" in json.loads(crib("label", "--list-stocks", "--json").stdout)
    listed = json.loads(crib("swap-list", "--json").stdout)
    assert {row["why"] for row in listed if row["ordinal"] == 0} == {"station_empty"}
    assert [row["badge"] for row in json.loads(crib("person", "list", "--json").stdout)] == [
        "B1", "B2", "B3",
    ]  # fmt: skip
    assert json.loads(crib("check", "--json").stdout) == []


def test_nights_are_printed_with_their_answer(crib):
    printed = crib("nights").stdout.splitlines()

    assert [line.split("  ")[1:] for line in printed if not line.startswith(" ")]
    assert all(line.rstrip().endswith(".") for line in printed if not line.startswith(" "))
    assert "There is no machine" in crib("nights", "--machine", "M99", code=1).stderr


def test_a_backup_restores_what_was_there(crib, store, tmp_path):
    folder, kept = tmp_path / "out", tmp_path / "kept.db"
    crib("export", folder)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    crib("backup", kept)
    crib("person", "add", "B9", "Tove Lind", "--role", "operator")
    store.close()

    crib("restore", kept)
    crib("check")
    crib("export", folder)

    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_a_folder_with_an_error_imports_nothing(crib, tmp_path):
    folder = tmp_path / "in"
    crib("export", folder)
    people = folder / "people.csv"
    people.write_text(people.read_text() + "B7,Ola Brek,juggler\n")

    result = crib("import", folder, code=1)
    tried = crib("import", folder, "--dry-run", code=1)

    assert "people.csv:5:" in result.stderr
    assert "juggler" in tried.stderr
    assert "B7" not in crib("person", "list").stdout


def test_importing_what_was_exported_changes_nothing(crib, tmp_path):
    folder = Path(tmp_path / "out")
    crib("export", folder)

    rows = json.loads(crib("import", folder, "--json").stdout)

    counts = rows["files"] if isinstance(rows, dict) else rows
    assert all(row["inserted"] == row["updated"] == row["removed"] == 0 for row in counts)
