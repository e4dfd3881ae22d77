"""The machine pages for the operator: right or wrong, key in, mounted, taken out, corrected.

Each module serves one step under ``/machines``; ``PAGES`` lists them for the application.

Without a network. With scripts, the three forms of these pages (``data-fact``) go through a
queue in the browser's own database, connected or not. Without scripts they are plain forms.

- A fact is on the phone's disk before anything is sent. It carries the time of the press and
  an Idempotency-Key, and is posted to ``/v1/mounts``, ``/v1/removals`` or ``/v1/corrections``
  until the service answers. Sent again after a lost answer, it is recorded once. Only JSON is
  an answer: the login page of another network is not.
- A refused fact waits, with everything behind it about the same station or tool, until a
  person sends it again, corrects its time or drops it.
- For ten minutes the person who pressed may undo a waiting fact. Before its first post it is
  taken out of the queue; with no network nothing is tried, since the clock is asked first.
  Just before the first post it is marked ``tried``, in one transaction that checks that it is
  still there. From then on it stays, and its reversal is queued behind it (``/v1/reversals``,
  with the number of the first answer). A refused fact takes its reversal along. So two
  windows, or one closed halfway, lose nothing.
- The phone's clock is not trusted: ``/machines/clock.json`` gives the site's, and the phone
  only counts on from there.
- ``/machines/M1/known.json`` holds the service's own verdicts and figures, worked out ahead
  for each station and the tools that may come. The browser adds what was pressed since, and
  works out nothing else.
- ``/sw.js`` (https or this machine only) serves pages as last seen, but never a verdict: that
  is made again from ``known.json``.
- One queue serves all tabs. A lock keeps two tabs from sending at once where the browser has
  locks; elsewhere the keys make a double send harmless.
"""

from api.pages.machine import (
    correct,
    counter,
    known,
    mount,
    mounted,
    overview,
    remove,
    run,
    scan,
    station,
)

PAGES = (overview, station, scan, mount, mounted, remove, correct, counter, run, known)
