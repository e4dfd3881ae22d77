"""Sending a document to a print queue of this machine's own print system."""

from __future__ import annotations

import shutil
import subprocess

from crib.errors import Conflict
from crib.sentence import figure, sentence

#: How long the print system may take to accept a document [s]; it prints later.
MOST_SECONDS = 10.0


class NotPrinted(Conflict):
    """The print queue did not take the document; nothing was recorded."""

    kind = "not-printed"


def send_to_queue(queue: str, pdf: bytes, title: str) -> None:
    """Hand a PDF to a queue by the system's ``lp``.

    Args:
        queue: Name of the queue, as the print system knows it.
        pdf: The document.
        title: What the queue lists it as.

    Raises:
        NotPrinted: There is no ``lp`` here, it refused the document, or it did not answer.
    """
    program = shutil.which("lp")
    if program is None:
        raise _refused(queue, sentence("the command lp is missing on this machine"))
    try:
        done = subprocess.run(  # noqa: S603 - no shell, and every word is one argument
            [program, "-d", queue, "-t", title],
            input=pdf,
            capture_output=True,
            timeout=MOST_SECONDS,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise _refused(
            queue,
            sentence(
                "lp did not answer within {most_seconds} s",
                most_seconds=figure(MOST_SECONDS, "g"),
            ),
        ) from None
    except OSError as problem:
        raise _refused(
            queue, sentence("lp did not start ({strerror})", strerror=problem.strerror)
        ) from problem
    if done.returncode:
        told = " ".join(done.stderr.decode("utf-8", "replace").split())[:300]
        raise _refused(
            queue, told or sentence("lp ended with {returncode}", returncode=done.returncode)
        )


def _refused(queue: str, why: str) -> NotPrinted:
    return NotPrinted(
        sentence(
            "Print queue {queue} did not take the label: {why}. Nothing was recorded.",
            queue=queue,
            why=why,
        ),
        facts={"queue": queue, "why": why},
    )
