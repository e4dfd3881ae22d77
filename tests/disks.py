"""A disk of its own for one process, small enough to be filled for real."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from crib.store.engine import Store


@contextmanager
def command_on_a_small_disk(
    store: Store, folder: Path, words: str, *, megabytes: int, ballast: int = 0
) -> Iterator[tuple[subprocess.Popen[bytes], Path]]:
    """``crib WORDS`` on a copy of a database, on a disk that nobody else sees.

    The test is skipped where no disk may be mounted.

    Args:
        store: The database; closed here.
        folder: Takes the place of the disk and the log.
        words: The command.
        megabytes: Size of the disk.
        ballast: Bytes of a file beside the database that a test may delete for room.

    Yields:
        The process, killed at the end, and the folder of its disk.
    """
    mount = f"mount -t tmpfs -o size={megabytes}m tmpfs"
    unshare = shutil.which("unshare")
    alone = [unshare or "", "--mount"] + ([] if os.geteuid() == 0 else ["--map-root-user"])
    probe = ["sh", "-c", f"{mount} {folder}"]
    if unshare is None or subprocess.run([*alone, *probe], capture_output=True).returncode:
        pytest.skip("no disk of its own: util-linux's unshare may not mount here")
    disk = folder / "disk"
    disk.mkdir()
    store.close()
    script = [f"{mount} {disk}", f"cp {store.path} {disk}/crib.db"]
    if ballast:
        script.append(f"head -c {ballast} /dev/zero > {disk}/ballast")
    script.append(f"exec {sys.executable} -c 'from api.cli import main; main()' {words}")
    with (folder / "log").open("wb") as log:
        process = subprocess.Popen(
            [*alone, "sh", "-c", " && ".join(script)],
            env=os.environ | {"CRIB_DATABASE_URL": f"sqlite:///{disk}/crib.db"},
            start_new_session=True,
            stdout=log,
            stderr=log,
        )
        try:
            yield process, Path(f"/proc/{process.pid}/root{disk}")
        finally:
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()
