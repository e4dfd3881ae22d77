"""The machine pages for the operator: right or wrong, key in, mounted, taken out, corrected.

Each module serves one step under ``/machines``; ``PAGES`` lists them for the application.
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
