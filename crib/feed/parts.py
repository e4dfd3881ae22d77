"""A stream cut into documents, within bounds, whatever stands between them.

Agents stream as multipart (RFC 2046), with boundaries and lengths that are not always what
they say; so a document ends where its root element is closed, and is there at once.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from crib.feed.problems import BadDocument
from crib.sentence import sentence

_END = re.compile(rb"</(?:[\w.-]+:)?MTConnect(?:Streams|Error|Devices|Assets)\s*>")
_LONGEST_END = 100


class DocumentCutter:
    """Cuts what arrives into whole documents.

    Args:
        most_bytes: Largest document that is taken.
    """

    def __init__(self, most_bytes: int) -> None:
        self._most = most_bytes
        self._held = bytearray()
        self._searched = 0

    @property
    def rest(self) -> bytes:
        """What is held of a document that has not ended."""
        return bytes(self._held)

    def feed(self, piece: bytes) -> Iterator[bytes]:
        """Take in what arrived; the documents that are whole by now.

        Raises:
            BadDocument: One grows past the bound.
        """
        self._held += piece
        while True:
            end = _END.search(self._held, self._searched)
            if end is None:
                # the end may be half here: look again from shortly before
                self._searched = max(0, len(self._held) - _LONGEST_END)
                break
            # boundaries and header lines hold no bracket
            begin = self._held.find(b"<")
            document = bytes(self._held[begin : end.end()])
            del self._held[: end.end()]
            self._searched = 0
            self._refuse_large(len(document))
            yield document
        self._refuse_large(len(self._held))

    def _refuse_large(self, size: int) -> None:
        if size > self._most:
            raise BadDocument(
                sentence(
                    "The agent sent a document of more than {most} bytes: it was not read.",
                    most=self._most,
                )
            )
