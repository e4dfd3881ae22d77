"""A real MQTT broker on loopback, started by the tests and ended with them."""

from __future__ import annotations

import json
import os
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
def broker(
    folder: Path, port: int, *settings: str, anonymous: bool = True, kill: bool = False
) -> Iterator[int]:
    """The broker; what it keeps lies in the folder, so that it can be stopped and started.

    Args:
        folder: Of this broker alone.
        port: Where it listens.
        settings: More lines of its settings, for that listener.
        anonymous: Whether it lets in whoever comes.
        kill: Whether it is killed in the end, as a power cut would.
    """
    program = next((found for place in _PLACES if (found := shutil.which(place))), None)
    if program is None:
        pytest.skip("no broker here: apt-get install mosquitto brings one")
    written = folder / "broker.conf"
    lines = [
        f"listener {port} 127.0.0.1",
        *settings,
        f"allow_anonymous {'true' if anonymous else 'false'}",
        "persistence true",
        f"persistence_location {folder}/",
        "autosave_interval 1",
    ]
    if os.geteuid() == 0:  # else it changes to a user who may not look into the folder
        lines.append("user root")
    written.write_text("\n".join(lines) + "\n")
    with (folder / "broker.log").open("ab") as log:
        process = subprocess.Popen([program, "-c", str(written)], stdout=log, stderr=log)
        try:
            _wait(port, process)
            yield port
        finally:
            process.kill() if kill else process.terminate()
            process.wait(20)


def user(folder: Path, name: str, password: str) -> str:
    """A line of settings by which the broker lets in that user."""
    program = shutil.which("mosquitto_passwd")
    if program is None:
        pytest.skip("no tool that writes a broker's passwords")
    path = folder / "users"
    _run(program, "-b", "-c", str(path), name, password)
    return f"password_file {path}"


def certificate(folder: Path) -> tuple[list[str], Path]:
    """Lines of settings by which the broker speaks TLS, and its authority's certificate."""
    program = shutil.which("openssl")
    if program is None:
        pytest.skip("no tool that makes certificates")
    authority, key = folder / "authority.pem", folder / "authority.key"
    fresh = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
    _run(
        program, "req", "-x509", *fresh, "-days", "30", "-subj", "/CN=shop authority",
        "-keyout", str(key), "-out", str(authority),
    )  # fmt: skip
    _run(
        program, "req", "-x509", *fresh, "-days", "30", "-subj", "/CN=broker",
        "-addext", "subjectAltName=IP:127.0.0.1", "-addext", "basicConstraints=CA:FALSE",
        "-CA", str(authority), "-CAkey", str(key),
        "-keyout", str(folder / "broker.key"), "-out", str(folder / "broker.pem"),
    )  # fmt: skip
    lines = [f"certfile {folder}/broker.pem", f"keyfile {folder}/broker.key"]
    return lines, authority


def nothing_may_be_read(folder: Path) -> list[str]:
    """Lines of settings by which the broker lets everybody in and nobody subscribe."""
    plugin = next(Path("/usr/lib").glob("*/mosquitto_dynamic_security.so"), None)
    if plugin is None:
        pytest.skip("this broker has no plugin that refuses subscriptions")
    rights = {
        "defaultACLAccess": {"subscribe": False},
        "clients": [],
        "groups": [],
        "roles": [],
    }
    path = folder / "rights.json"
    path.write_text(json.dumps(rights))
    return [f"plugin {plugin}", f"plugin_opt_config_file {path}"]


def _run(*command: str) -> None:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def _wait(port: int, process: subprocess.Popen[bytes]) -> None:
    for _ in range(400):
        assert process.poll() is None
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    raise AssertionError("the broker does not answer")
