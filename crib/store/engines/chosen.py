"""The engine whose databases the service keeps."""

from __future__ import annotations

from crib.store.engines import interface
from crib.store.engines.sqlite import checks, connecting, files, guards, watching, words

CONNECTING: interface.Connecting = connecting
WORDS: interface.Words = words
OUTSIDE: interface.Guards = guards
WATCHING: interface.Watching = watching
FILES: interface.Files = files
CHECKS: interface.Checks = checks
