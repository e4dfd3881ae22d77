"""Words in a reader's language: catalogues (.po), preferences, dates, numbers and lengths.

``catalogue`` reads a language's file, ``preferences`` knows what a reader wants, ``texts``
translates what pages say (``_``, ``_n``, ``mark``), ``sentences`` what the domain says
(``say``), ``formats`` writes instants, numbers and lengths, ``extract`` finds every text that
needs an entry. Pages import the few names below.

How to write a text: ``_("Swap by {when}", when=...)`` and ``_n(one, many, number)`` in
templates and page code; ``sentence("Tool {tool} holds {parts} parts.", tool=..., parts=...)``
in the domain, which pages show by ``say(text)``. The words of a script are in its page. A
sentence is its English text and keeps its template and values (crib/sentence.py): join
sentences with ``+`` or ``together``, since an f-string or ``str.join`` would forget them.
``say`` leaves a plain text as it is: it is the shop's own.

A language is one file, ``api/language/CODE.po`` (such as ``de`` or ``pt-BR``, keys in
English), read at its first use. A file dropped in can be selected at once. After texts
changed, ``python -m api.language.extract --list`` adds the new ones to every file, drops the
old ones and lists those without a translation. CI fails while a language is incomplete. A
text without an entry stays English. One whose holes differ from the English one's is left out
and logged.

The JSON API and its documents, shop files, the command line and paper are in English. Offsets
to key in keep the control's own unit and text.
"""

from api.language.preferences import Preferences, preferences
from api.language.registration import register
from api.language.sentences import say
from api.language.texts import _, _n, mark

__all__ = ["Preferences", "_", "_n", "mark", "preferences", "register", "say"]
