"""A language is one file: every text has its translation, every value its place."""

import re
import subprocess
import sys

import pytest
from babel.messages.pofile import read_po

from api.language.catalogue import FOLDER, SOURCE, Catalogue, catalogue, holes, languages, read

LANGUAGES = [code for code in languages() if code != SOURCE]


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_translation_loses_or_invents_a_value(language):
    with (FOLDER / f"{language}.po").open("rb") as file:
        messages = [one for one in read_po(file) if one.id and one.string]

    for message in messages:
        if isinstance(message.id, str):
            assert holes(message.string) == holes(message.id), message.id
        else:
            for form in message.string:
                assert set(holes(form)) <= set(holes(message.id[1])), message.id


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_translation_is_the_english_sentence_over_again(language):
    """A few words are the same in both languages; no sentence of four words is."""
    texts = catalogue(language).texts

    same = [text for text, said in texts.items() if said == text]

    assert [text for text in same if len(re.findall(r"[a-z]{2,}", text)) > 3] == []


def test_a_dropped_in_file_is_a_language(tmp_path):
    (tmp_path / "pt-BR.po").write_text(
        'msgid ""\nmsgstr "Content-Type: text/plain; charset=utf-8\\n"\n'
        'msgid "Holder"\nmsgstr "Suporte"\n',
        encoding="utf-8",
    )
    (tmp_path / "notes.txt").write_text("")
    (tmp_path / "not a code.po").write_text("")

    assert languages(tmp_path) == ("en", "pt-BR")
    assert read("pt-BR", tmp_path).text("Holder") == "Suporte"
    assert read("pt-BR", tmp_path).text("Station") == "Station"


def test_an_entry_with_a_hole_of_its_own_is_left_out_and_logged(tmp_path, caplog):
    (tmp_path / "de.po").write_text(
        'msgid ""\nmsgstr "Content-Type: text/plain; charset=utf-8\\n"\n'
        'msgid "by {person}"\nmsgstr "von {mensch}"\n'
        '#, fuzzy\nmsgid "Axis"\nmsgstr "Axt"\n',
        encoding="utf-8",
    )

    found = read("de", tmp_path)

    assert found.text("by {person}") == "by {person}"
    assert found.text("Axis") == "Axis"
    assert "by {person}" in caplog.text


def test_a_language_chooses_its_form_for_a_number(tmp_path):
    # Polish has three forms: 1; 2 to 4 but not 12 to 14; all others (CLDR plural rules)
    (tmp_path / "pl.po").write_text(
        'msgid ""\nmsgstr "Content-Type: text/plain; charset=utf-8\\n"\n'
        '"Plural-Forms: nplurals=3; plural=(n==1 ? 0 : n%10>=2 && n%10<=4 && '
        '(n%100<10 || n%100>=20) ? 1 : 2);\\n"\n'
        'msgid "{number} part"\nmsgid_plural "{number} parts"\n'
        'msgstr[0] "A {number}"\nmsgstr[1] "B {number}"\nmsgstr[2] "C {number}"\n',
        encoding="utf-8",
    )

    found = read("pl", tmp_path)

    said = [found.plural("{number} part", "{number} parts", n)[0] for n in (1, 2, 5, 12, 22)]
    assert said == ["A", "B", "C", "C", "B"]


def test_english_needs_no_file():
    assert catalogue(SOURCE) == Catalogue(SOURCE)


def test_a_start_of_the_service_reads_no_catalogue():
    code = "import api.application, sys; sys.exit('babel' in sys.modules)"

    assert (
        subprocess.run([sys.executable, "-c", code], cwd=FOLDER.parent.parent).returncode == 0
    )
