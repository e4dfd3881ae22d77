"""No sentence that people read is long: 20 words in English, 25 in German.

Every text of pages, labels, sheets and refusals is in the catalogue, and templates hold none
beside it.
"""

import re

import pytest
from babel.messages.pofile import read_po

from api.language.catalogue import FOLDER, SOURCE, languages
from api.language.page_texts import page_texts

#: Words of the longest sentence, by language; German splits what English says in one verb.
LONGEST = {SOURCE: 20, "de": 25}

#: Texts that may be longer, each with the reason.
LONGER: dict[str, str] = {}

#: What a template says is cut into sentences at these, and at tags that begin a block.
_CUT = re.compile(r"(?s)\{#.*?#\}|\{%.*?%\}|<(style|script|svg|pre)\b.*?</\1>|<!--.*?-->")
#: One word of a sentence: a value, a piece of code.
_ONE_WORD = re.compile(r"(?s)\{\{.*?\}\}|<code\b.*?</code>|<span class=.code.>.*?</span>")
_INLINE = re.compile(r"</?(a|b|em|i|strong|abbr|kbd)\b[^>]*>")
_HOLE = re.compile(r"\{\w+\}|`[^`]*`")
_END = re.compile(r"(?<=[.!?:;])\s+")


def long_sentences(text: str, longest: int) -> list[str]:
    """The sentences of a text with more words than that; a filled hole is one word."""
    told = re.sub(r"\s+", " ", _HOLE.sub("X", text))
    return [one for one in _END.split(told) if len(one.split()) > longest]


def plain(template: str) -> str:
    """What a template itself says, without its tags; a block ends a sentence."""
    said = _INLINE.sub("", _ONE_WORD.sub("X", _CUT.sub(" . ", template)))
    return re.sub(r"<[^>]*>", " . ", said)


def texts(language: str) -> set[str]:
    """Every text of the pages and of the domain in a language."""
    if language == SOURCE:
        found = list(page_texts(FOLDER.parent.parent))
    else:
        with (FOLDER / f"{language}.po").open("rb") as file:
            found = [message.string for message in read_po(file) if message.id]
    return {one for text in found for one in ([text] if isinstance(text, str) else text)}


@pytest.mark.parametrize("language", languages())
def test_no_text_of_the_catalogue_holds_a_long_sentence(language):
    said = texts(language)

    long = {
        text: sentences
        for text in said - LONGER.keys()
        if (sentences := long_sentences(text, LONGEST[language]))
    }

    assert len(said) > 2000
    assert long == {}, "say it in two sentences, or name it in LONGER with the reason"


def test_no_template_holds_a_long_sentence_beside_the_catalogue():
    templates = sorted((FOLDER.parent / "templates").rglob("*.html"))

    long = {
        path.name: sentences
        for path in templates
        if (sentences := long_sentences(plain(path.read_text()), LONGEST[SOURCE]))
    }

    assert len(templates) > 50
    assert long == {}
