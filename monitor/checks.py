"""Is this board ready? Each part is tried, and the line says what mends it."""

from __future__ import annotations

import shutil
import threading
from dataclasses import dataclass
from pathlib import Path

from firmware_side import clock as node_clock
from firmware_side.errors import NodeError
from firmware_side.sensors.base import SensorFault
from monitor import brokers, node_role
from monitor.clock import Clock
from monitor.config import Config
from monitor.mqtt_link import Link, speaks_5
from monitor.store import connection
from monitor.store.errors import StoreError

LEAST_FREE_BYTES = 200e6
ANSWER_WITHIN_S = 5.0


@dataclass(frozen=True)
class Result:
    """What was found of one part, and the command that mends it."""

    part: str
    fine: bool
    words: str
    mend: str = ""


def board(config: Config) -> list[Result]:
    """Try every part that the config names."""
    return [
        _folder(config),
        _disk(config),
        _clock(config),
        _store(config),
        _broker(config),
        _sensor(config),
        _login(config),
    ]


def _folder(config: Config) -> Result:
    folder = config.data_dir
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / ".pourside-check"
        probe.write_text("", encoding="ascii")
        probe.unlink()
    except OSError as error:
        return Result(
            "folder",
            False,
            f"{folder} cannot be written ({error.strerror})",
            f"sudo install -d -o $(id -un) {folder}",
        )
    return Result("folder", True, f"{folder} can be written")


def _existing(folder: Path) -> Path:
    return folder if folder.exists() else _existing(folder.parent)


def _disk(config: Config) -> Result:
    usage = shutil.disk_usage(_existing(config.data_dir))
    words = f"{usage.free / 1e9:.1f} GB free of {usage.total / 1e9:.1f} GB"
    if usage.free < LEAST_FREE_BYTES:
        return Result("disk", False, words, "free some space: sudo apt clean; df -h")
    return Result("disk", True, words)


def _clock(config: Config) -> Result:
    if config.clock.start:
        return Result("clock", True, f"made-up time from {config.clock.start}")
    if node_clock.system_clock_is_set(Clock().now_s()):
        return Result("clock", True, "synchronised")
    return Result(
        "clock",
        False,
        "not synchronised; readings wait for the time",
        "sudo timedatectl set-ntp true",
    )


def _store(config: Config) -> Result:
    if not config.store_path.exists():
        return Result("store", True, f"{config.store_path} will be made at the first start")
    try:
        connection.open_reader(config.store_path).close()
    except StoreError as error:
        return Result("store", False, str(error), "pourside restore FILE --yes")
    return Result("store", True, f"{config.store_path} opens")


def _broker(config: Config) -> Result:
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


def _sensor(config: Config) -> Result:
    if config.node.source == "none":
        return Result("sensor", True, "no sensor on this machine (node.source is 'none')")
    try:
        clock = node_clock.Clock(node_role.start_s(config), config.clock.speed)
        sample = node_role.source_of(config, clock).read()
    except (SensorFault, NodeError, OSError, ValueError) as error:
        return Result("sensor", False, f"{config.node.source}: {error}", "see hardware/README.md")
    humidity = "" if sample.humidity_pct is None else f", {sample.humidity_pct:.1f} %RH"
    return Result("sensor", True, f"{config.node.source} reads {sample.temp_c:.1f} °C{humidity}")


def _login(config: Config) -> Result:
    if config.dashboard.host in ("127.0.0.1", "::1", "localhost"):
        return Result("page", True, "reachable from this machine only")
    return Result(
        "page",
        True,
        f"anyone on the network can open port {config.dashboard.port} and log marks; "
        "keep it on a network you trust",
    )
