"""Does the broker answer, and who else may log in?"""

from __future__ import annotations

import socket
import threading
from pathlib import Path

from monitor import brokers
from monitor.check_result import Result
from monitor.config import Config
from monitor.mqtt_link import Link, speaks_5

ANSWER_WITHIN_S = 5.0
LOOPBACK = ("127.0.0.1", "::1", "localhost")
_LISTENS = "0A"  # linux/tcp_states.h
# MQTT 3.1.1 section 3.1: CONNECT, level 4, clean session, keep-alive 60, empty identifier, no
# user. Section 3.2: the answer's fourth byte is 0 where it lets us in.
_HELLO_NOBODY = bytes.fromhex("100c00044d5154540402003c0000")


def broker(config: Config) -> Result:
    """Whether the broker is there and lets us in."""
    place = f"{config.broker.host}:{config.broker.port}"
    if config.broker.run == "embedded":
        fine = brokers.embedded_installed()
        return Result("broker", fine, "embedded", "" if fine else "pip install '.[broker]'")
    if config.broker.run == "mosquitto":
        fine = brokers.mosquitto_binary() is not None
        words = "Mosquitto, started by us" if fine else "Mosquitto is not installed"
        return Result("broker", fine, words, "sudo apt install mosquitto")
    try:
        tongue = "MQTT 5" if speaks_5(config.broker.host, config.broker.port) else "MQTT 3.1.1"
    except OSError as error:
        return Result(
            "broker",
            False,
            f"nothing answers at {place} ({error})",
            "sudo apt install mosquitto && sudo systemctl enable --now mosquitto",
        )
    link = Link(
        config.broker.host,
        config.broker.port,
        "pourside-check",
        [],
        config.broker.username,
        config.broker.password,
        wake=threading.Event(),
    )
    link.start()
    try:
        if link.await_connected(ANSWER_WITHIN_S):
            return Result("broker", True, f"{place} answers, {tongue}")
        words = f"{place} refuses us: {link.refusal or 'no answer'}"
        return Result("broker", False, words, "check broker.username and broker.password_env")
    finally:
        link.stop()


def who_may_log_in(config: Config, root: Path) -> list[Result]:
    """Whether anybody may send readings, and from where the broker can be reached."""
    here = config.broker.host in LOOPBACK
    if config.broker.run == "embedded":
        return [Result("login", True, "no password, from this machine only")]
    if config.broker.run == "mosquitto":
        anybody, everywhere = not config.broker.username, not here
    else:
        try:
            anybody = _lets_in_anybody(config.broker.host, config.broker.port)
        except OSError:
            return []  # the broker's own line says that it is away
        everywhere = not here or _listens_everywhere(config.broker.port, root)
    reach = "from every network this machine is on" if here else f"at {config.broker.host}"
    if not everywhere:
        reach = "from this machine only"
    if anybody and everywhere:
        return [
            Result(
                "login",
                False,
                f"anybody can send readings and hear them: no password is asked for, {reach}",
                "sudo cp hardware/broker/pourside.conf /etc/mosquitto/conf.d/ "
                "and the password as in hardware/README.md, 'The software on the board'",
            )
        ]
    return [Result("login", True, f"{'no' if anybody else 'only with a'} password, {reach}")]


def _lets_in_anybody(host: str, port: int) -> bool:
    with socket.create_connection((host, port), ANSWER_WITHIN_S) as line:
        line.settimeout(ANSWER_WITHIN_S)
        line.sendall(_HELLO_NOBODY)
        answer = line.recv(4)
    return len(answer) == 4 and answer[0] == 0x20 and answer[3] == 0


def _listens_everywhere(port: int, root: Path) -> bool:
    for table in ("proc/net/tcp", "proc/net/tcp6"):
        try:
            lines = (root / table).read_text(encoding="ascii").splitlines()[1:]
        except OSError:
            continue
        for fields in map(str.split, lines):
            address, _, number = fields[1].partition(":")
            if fields[3] == _LISTENS and int(number, 16) == port and not int(address, 16):
                return True
    return False
