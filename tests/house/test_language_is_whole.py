"""Every language here is whole: no text without its translation, none that nobody says."""

import pytest
from babel.messages.pofile import read_po

from api.language import extract
from api.language.catalogue import FOLDER, SOURCE, languages

LANGUAGES = [code for code in languages() if code != SOURCE]


@pytest.fixture(scope="module")
def needed():
    return extract.needed()


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_text_of_pages_and_domain_is_translated(language, needed):
    found = extract.in_step(FOLDER / f"{language}.po", needed)

    left = extract.missing(found)

    assert left == [], "python -m api.language.extract adds them to the file"


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_catalogue_holds_nothing_that_no_page_says_and_nothing_doubtful(language, needed):
    path = FOLDER / f"{language}.po"
    with path.open("rb") as file:
        kept = read_po(file)

    assert {message.id for message in kept if message.fuzzy} <= {""}
    assert extract.written(extract.in_step(path, needed)) == path.read_bytes()
