"""Words in a reader's language: catalogues (.po), preferences, dates, numbers and lengths.

``catalogue`` reads a language's file, ``preferences`` knows what a reader wants, ``texts``
translates what pages say (``_``, ``_n``, ``mark``), ``sentences`` what the domain says
(``say``), ``formats`` writes instants, numbers and lengths, ``extract`` finds every text that
needs an entry. Pages import the few names below.
"""

from api.language.preferences import Preferences, preferences
from api.language.registration import register
from api.language.sentences import say
from api.language.texts import _, _n, mark

__all__ = ["Preferences", "_", "_n", "mark", "preferences", "register", "say"]
