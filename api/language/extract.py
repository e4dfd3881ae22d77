"""Brings every catalogue in step with the sources: ``python -m api.language.extract``.

Adds new texts untranslated, drops unused ones, prints how much of each language is done.
"""

from __future__ import annotations

import argparse
import io
import sys
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

from api.language.catalogue import FOLDER, locale_of
from api.language.page_texts import page_texts

#: The folder of the sources.
ROOT = FOLDER.parent.parent

_HEADER = """\
# The texts of crib; English is the key. DEVELOPERS.md says how a language is kept.
msgid ""
msgstr ""
"Language: {code}\\n"
"Content-Type: text/plain; charset=utf-8\\n"
"Plural-Forms: {plurals}\\n"

"""


def needed(root: Path = ROOT) -> Catalog:
    """Every text that a language has to have, and where it is used."""
    template = Catalog()
    for text, places in page_texts(root).items():
        template.add(text, locations=[(place, 0) for place in places])
    return template


def missing(catalog: Catalog) -> list[str]:
    """Texts without a translation."""
    return [
        message.id if isinstance(message.id, str) else message.id[0]
        for message in catalog
        if message.id and not (message.string and all(message.string))
    ]


def in_step(path: Path, template: Catalog) -> Catalog:
    """A language's catalogue with exactly the texts that are needed."""
    with path.open("rb") as file:
        catalog = read_po(file, locale=locale_of(path.stem), ignore_obsolete=True)
    catalog.update(template, no_fuzzy_matching=True)
    catalog.obsolete.clear()
    for message in catalog:
        message.flags &= {"fuzzy"}
    return catalog


def written(catalog: Catalog) -> bytes:
    """A catalogue as its file holds it, by text, so that two people's changes seldom meet."""
    file = io.BytesIO()
    header = _HEADER.format(
        code=str(catalog.locale).replace("_", "-"), plurals=catalog.plural_forms
    )
    file.write(header.encode())
    write_po(file, catalog, width=96, sort_output=True, include_lineno=False, omit_header=True)
    return file.getvalue().rstrip(b"\n") + b"\n"


def main(arguments: list[str] | None = None) -> int:
    """The command; 1 where a text has no translation."""
    parser = argparse.ArgumentParser(prog="python -m api.language.extract", description=__doc__)
    parser.add_argument("--list", action="store_true", help="list the texts without one")
    given = parser.parse_args(arguments)
    template, open_texts = needed(), 0
    for path in sorted(FOLDER.glob("*.po")):
        catalog = in_step(path, template)
        path.write_bytes(written(catalog))
        left = missing(catalog)
        open_texts += len(left)
        sys.stdout.write(f"{path.name}: {len(catalog) - len(left)} of {len(catalog)} done\n")
        if given.list:
            sys.stdout.writelines(f"  {text}\n" for text in left)
    return 1 if open_texts else 0


if __name__ == "__main__":
    sys.exit(main())
