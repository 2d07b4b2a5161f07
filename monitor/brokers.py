"""A broker of our own, for one machine: Mosquitto where it is installed, else the embedded one.

No guarantee rests on either: a reading stays in the node's outbox until the store has it.
"""

from __future__ import annotations

import base64
import hashlib
import importlib.util
import logging
import os
import pwd
import shutil
import socket
import subprocess
import threading
from pathlib import Path
from typing import Protocol

from monitor.errors import MonitorError

log = logging.getLogger(__name__)


class BrokerError(MonitorError):
    """The broker did not start; the message says why and what to do."""


class Broker(Protocol):
    """A broker that runs as a child of this process."""

    host: str
    port: int

    def start(self) -> None:
        """Start it and return once it accepts connections."""

    def stop(self) -> None:
        """Stop it; safe to call twice."""

    def alive(self) -> bool:
        """Whether it still runs."""


def free_port() -> int:
    """A loopback port that is free just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def mosquitto_binary() -> str | None:
    """Where Mosquitto is; Debian keeps it off a plain user's path."""
    path = os.get_exec_path()
    return shutil.which("mosquitto", path=os.pathsep.join([*path, "/usr/sbin", "/sbin"]))


def password_line(username: str, password: str, salt: bytes) -> str:
    """A line of Mosquitto's password file: PBKDF2 with SHA-512, 101 rounds, as it writes it."""
    digest = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, 101)
    parts = (base64.b64encode(salt).decode(), base64.b64encode(digest).decode())
    return f"{username}:$7$101${parts[0]}${parts[1]}\n"


class MosquittoBroker:
    """Mosquitto as a child, with a config and password file that we write."""

    def __init__(
        self,
        folder: Path,
        port: int | None = None,
        username: str = "",
        password: str = "",
        host: str = "127.0.0.1",
    ) -> None:
        self.host = host
        self.port = port or free_port()
        self._folder = folder
        self._login = (username, password)
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and return once it accepts connections."""
        binary = mosquitto_binary()
        if binary is None:
            raise BrokerError(
                "broker.run = 'mosquitto', but Mosquitto is not installed. "
                "Install it: sudo apt install mosquitto"
            )
        self._folder.mkdir(parents=True, exist_ok=True)
        config = self._folder / "mosquitto.conf"
        config.write_text(self._config(), encoding="utf-8")
        if not _port_is_free(self.host, self.port):
            # It would end at once, and we should speak to somebody else's.
            raise BrokerError(
                f"Mosquitto cannot listen on {self.host}:{self.port}: another program does. "
                "Choose another broker.port, or use that broker: broker.run = 'none'"
            )
        self._process = subprocess.Popen(
            [*_ends_with_us(), binary, "-c", str(config)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        _await_port(self.host, self.port, self.alive, "Mosquitto")

    def _config(self) -> str:
        username, password = self._login
        # The two queue lines: by default it drops beyond 1,000 messages and saves rarely.
        lines = [
            f"listener {self.port} {self.host}",
            "persistence true",
            f"persistence_location {self._folder}/",
            "autosave_on_changes true",
            "autosave_interval 1",
            "max_queued_messages 100000",
            "log_type error",
        ]
        if os.geteuid() == 0:
            # As root it would drop to its own user, who cannot write our folder.
            lines.append(f"user {pwd.getpwuid(0).pw_name}")
        if username:
            file = self._folder / "mosquitto.passwd"
            file.write_text(password_line(username, password, os.urandom(12)), encoding="ascii")
            file.chmod(0o600)
            lines += ["allow_anonymous false", f"password_file {file}"]
        else:
            lines.append("allow_anonymous true")
        return "\n".join(lines) + "\n"

    def stop(self) -> None:
        """Stop it; safe to call twice."""
        _end(self._process)
        self._process = None

    def kill(self) -> None:
        """End it at once, as a power cut would."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None

    def alive(self) -> bool:
        """Whether it still runs."""
        return self._process is not None and self._process.poll() is None


def embedded_installed() -> bool:
    """Whether the `broker` extra is here."""
    return importlib.util.find_spec("iotcore") is not None


class EmbeddedBroker:
    """The small broker of the `broker` extra, bound to loopback, nothing kept on disk."""

    def __init__(self, port: int | None = None) -> None:
        self.host = "127.0.0.1"
        self.port = port or free_port()
        self._broker: object | None = None

    def start(self) -> None:
        """Start it and return once it accepts connections."""
        try:
            import iotcore
        except ImportError:
            raise BrokerError(
                "the embedded broker is not installed. Install it: pip install 'pourside[broker]' "
                "(from a checkout: pip install '.[broker]'), or use Mosquitto"
            ) from None
        broker = iotcore.Broker(port=self.port, listen=self.host)
        try:
            broker.start()
        except (OSError, RuntimeError) as error:
            raise BrokerError(f"the embedded broker did not start: {error}") from error
        self._broker = broker

    def stop(self) -> None:
        """Stop it; safe to call twice."""
        if self._broker is not None:
            self._broker.stop()  # type: ignore[attr-defined]
            self._broker = None

    def alive(self) -> bool:
        """Whether it still runs."""
        return bool(self._broker is not None and self._broker.is_running)  # type: ignore[attr-defined]


def _end(process: subprocess.Popen[bytes] | None) -> None:
    if process is None or process.poll() is not None:
        return
    process.terminate()
    try:
        process.wait(5)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def _ends_with_us() -> list[str]:
    """What to put before a command so that a killed parent leaves no broker behind."""
    setpriv = shutil.which("setpriv")
    return [setpriv, "--pdeathsig", "TERM"] if setpriv else []


def _listens(host: str, port: int) -> bool:
    try:
        socket.create_connection((host, port), 0.5).close()
    except OSError:
        return False
    return True


# One of a killed process of ours may need a moment to save its queue and go.
FREE_WITHIN_S = 3.0


def _port_is_free(host: str, port: int) -> bool:
    waiting = threading.Event()
    for _ in range(int(FREE_WITHIN_S / 0.1)):
        if not _listens(host, port):
            return True
        waiting.wait(0.1)
    return False


LOOK_EVERY_S = 1.0


def keep(broker: Broker, stop: threading.Event) -> None:
    """Start a broker anew whenever it has ended, until told to stop. Raises BrokerError."""
    while not stop.wait(LOOK_EVERY_S):
        if not broker.alive():
            log.error("the broker ended by itself; starting it anew")
            broker.start()


START_WITHIN_S = 10.0


def _await_port(host: str, port: int, alive: object, name: str) -> None:
    waiting = threading.Event()
    for _ in range(int(START_WITHIN_S / 0.05)):
        if callable(alive) and not alive():
            raise BrokerError(
                f"{name} ended as it started; is port {port} taken? Choose another broker.port"
            )
        if _listens(host, port):
            return
        waiting.wait(0.05)
    raise BrokerError(f"{name} did not listen on {host}:{port} within {START_WITHIN_S:g} s")
