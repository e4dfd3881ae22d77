"""Every shop file written back from the database, whole or not at all."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path

from crib.errors import Refusal
from crib.left_out import NOT_A_RECORDS, log_once
from crib.records.catalogue import CALENDARS, CLOSURES, MACHINES, SHOP_FILES
from crib.records.columns import Record
from crib.records.passwords import has_password
from crib.shopfiles.writing import write_file
from crib.store.engine import Tx
from crib.store.records import iterate_records, list_records


def export_shop(tx: Tx, folder: Path) -> list[tuple[str, int]]:
    """Write the shop files into a folder, which is made if it is not there.

    Each file is written under a temporary name first; only when all are on disk do they take
    the places of those there. Other files of the folder are left alone. A file without rows
    has its header, so that a newcomer sees the columns. Passwords within feed_url are written,
    since the shop is to be the same once it is imported again; the file is then its owner's
    alone to read.

    Args:
        tx: A read transaction: one consistent view for all files.
        folder: Where to write.

    Returns:
        Name and number of rows of each file.

    Raises:
        Refusal: The folder cannot be written, or a calendar has no hours, which the files
            cannot say; or a record cannot be written: a folder without it would
            retire it when it is imported. The files there are as before.
    """
    _refuse_empty_calendars(tx)
    written: list[tuple[Path, Path, int]] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for record in SHOP_FILES:
            place = folder / str(record.file)
            draft = folder / f".{record.file}.part"
            written.append((draft, place, _write(tx, record, draft)))
        for draft, place, _ in written:
            draft.replace(place)
    except OSError as problem:
        raise Refusal(
            f"The shop files cannot be written to {folder}: {problem.strerror}. "
            "Name a folder that you may write to, on a disk with room."
        ) from problem
    finally:
        for record in SHOP_FILES:
            with suppress(OSError):
                (folder / f".{record.file}.part").unlink(missing_ok=True)
    return [(place.name, count) for _, place, count in written]


def machines_with_password(tx: Tx) -> int:
    """How many machines have a feed_url with a password, which machines.csv holds in full."""
    return sum(has_password(MACHINES, row) for row in list_records(tx, MACHINES))


def _write(tx: Tx, record: Record, draft: Path) -> int:
    number, name = 0, ""
    if record is MACHINES and machines_with_password(tx):
        draft.unlink(missing_ok=True)
        draft.touch(mode=0o600)  # nobody else may read it, from the first byte on

    def rows() -> Iterator[Mapping[str, object]]:
        nonlocal number, name
        number = 1
        for row in iterate_records(tx, record):
            name = f" ({row.get(record.columns[0].name)})"
            yield row
            number, name = number + 1, ""

    try:
        return write_file(record, rows(), draft)
    except (OSError, Refusal, *NOT_A_RECORDS):
        raise
    except Exception as fault:
        why = (
            f"Record {number} of {record.file}{name} cannot be written, so no file was. "
            f"Correct the record, then export again. It says: {fault}"
        )
        log_once(why, fault)
        raise Refusal(why) from fault


def _refuse_empty_calendars(tx: Tx) -> None:
    """The files tell a calendar by its rows; without any, who names it would name nothing."""
    empty = [row["calendar"] for row in iterate_records(tx, CALENDARS) if not row["spans"]]
    if not empty:
        return
    for machine in list_records(tx, MACHINES, filters={"calendar": empty}):
        raise Refusal(
            f"Machine {machine['machine']} keeps the calendar {machine['calendar']}, which has "
            "no hours: the files could not be imported again. Give the calendar hours, or the "
            "machine another one.",
            facts={"machine": machine["machine"], "calendar": machine["calendar"]},
        )
    for closure in list_records(tx, CLOSURES, filters={"calendar": empty}):
        raise Refusal(
            f"The calendar {closure['calendar']} has a closure from {closure['start']}, but no "
            "hours: the files could not be imported again. Give the calendar hours, or retire "
            "the closure.",
            facts={"calendar": closure["calendar"], "start": closure["start"]},
        )
    raise Refusal(
        f"The calendar {empty[0]} has no hours, so the files could not name it. Give it hours, "
        "or retire it.",
        facts={"calendar": empty[0]},
    )
