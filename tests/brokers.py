"""A real MQTT broker on loopback, started by the tests and ended with them."""

from __future__ import annotations

import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

_PLACES = ("mosquitto", "/usr/sbin/mosquitto")


@contextmanager
def broker(folder: Path, port: int) -> Iterator[int]:
    """The broker; what it keeps lies in the folder, so that it can be stopped and started."""
    program = next((found for place in _PLACES if (found := shutil.which(place))), None)
    if program is None:
        pytest.skip("no broker here: apt-get install mosquitto brings one")
    settings = folder / "broker.conf"
    settings.write_text(
        f"listener {port} 127.0.0.1\nallow_anonymous true\npersistence true\n"
        f"persistence_location {folder}/\nautosave_interval 1\n"
    )
    folder.chmod(0o777)  # started by root, it changes to a user of its own
    with (folder / "broker.log").open("ab") as log:
        process = subprocess.Popen([program, "-c", str(settings)], stdout=log, stderr=log)
        try:
            _wait(port, process)
            yield port
        finally:
            process.terminate()
            process.wait(20)


def _wait(port: int, process: subprocess.Popen[bytes]) -> None:
    for _ in range(400):
        assert process.poll() is None
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    raise AssertionError("the broker does not answer")
