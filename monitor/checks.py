"""Is this board ready? Each part is tried, and the line says what mends it."""

from __future__ import annotations

import grp
import os
import platform
import pwd
import shutil
import sqlite3
import subprocess
import threading
from contextlib import closing
from pathlib import Path

from firmware_side import board as machine
from firmware_side import clock as node_clock
from firmware_side.errors import NodeError
from firmware_side.sensors.base import Closable, Sample, SensorFault, Source
from monitor import node_role
from monitor.check_broker import LOOPBACK, broker, who_may_log_in
from monitor.check_result import Result as Result
from monitor.clock import Clock
from monitor.config import Config
from monitor.store import connection, settings, trouble
from monitor.store.errors import StoreError

LEAST_FREE_BYTES = 200e6
TRIES, BETWEEN_S = 4, 2.1  # a DHT22 measures every two seconds
# Of an eMMC's life; the kernel tells it in tenths.
WORN_PCT = 80


def board(config: Config, root: Path = machine.ROOT) -> list[Result]:
    """Try every part that the config names. `root` stands for `/`, for the tests."""
    return [
        _machine(root),
        _user(config),
        _folder(config),
        _disk(config),
        _card(config, root),
        *_supply(root),
        _clock(config),
        _store(config),
        broker(config),
        *who_may_log_in(config, root),
        *_pins(config, root),
        _sensor(config),
        _page(config),
    ]


def _machine(root: Path) -> Result:
    name = machine.model(root) or "a machine without a name"
    return Result(
        "board", True, f"{name}, {platform.machine()}, Python {platform.python_version()}"
    )


def _user(config: Config) -> Result:
    """The services' user owns the folder; what root once made in it they cannot write."""
    name, folder = _user_name(os.geteuid()), config.data_dir
    try:
        owner_id = folder.stat().st_uid
        strange = [one.name for one in folder.iterdir() if one.stat().st_uid != owner_id]
    except OSError:
        return Result("user", True, f"{name}; {folder} is not there yet")
    owner = _user_name(owner_id)
    if strange:
        return Result(
            "user",
            False,
            f"{', '.join(sorted(strange)[:3])} in {folder} is not {owner}'s, to whom the folder is",
            f"sudo chown -R {owner}: {folder}",
        )
    if os.geteuid() == 0 and owner_id != 0:
        words = f"root, but the services run as {owner}: what root may, they may not"
        return Result("user", True, f"{words}; try it as: sudo -u {owner} pourside check")
    return Result("user", True, f"{name}; {folder} is {owner}'s")


def _user_name(number: int) -> str:
    try:
        return pwd.getpwuid(number).pw_name
    except KeyError:
        return str(number)


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


def _card(config: Config, root: Path) -> Result:
    """What the data lies on, whether it can still be written, and how worn it is."""
    found = machine.storage_of(_existing(config.data_dir), root)
    if found.read_only:
        return Result(
            "storage",
            False,
            f"{found.mounted_at} is mounted read-only, as a failing card is; copy the data off it",
            f"sudo mount -o remount,rw {found.mounted_at} && sudo dmesg | tail",
        )
    if found.errors:
        return Result(
            "storage",
            False,
            f"{found.device} has {found.errors} errors of its file system; back up and replace it",
            "pourside backup FILE",
        )
    if found.worn_out or (found.life_used_pct or 0) >= WORN_PCT:
        used = "most" if found.life_used_pct is None else f"{found.life_used_pct} %"
        words = f"{found.device}: {used} of its life is used; make a backup and replace it"
        return Result("storage", False, words, "pourside backup FILE")
    if found.kind == "emmc" and found.life_used_pct is not None:
        return Result("storage", True, f"{found.device}: at most {found.life_used_pct} % worn")
    words = {
        "emmc": "eMMC that does not tell its wear",
        "sd": "memory card; a card does not tell its wear, so keep a backup elsewhere",
        "nvme": "solid-state drive; its wear is told by: sudo smartctl -A",
        "disk": "drive; its wear, if it knows it, is told by: sudo smartctl -A",
    }.get(found.kind, "of unknown kind; its wear cannot be read here")
    return Result("storage", True, f"{found.device or found.mounted_at}: {words}")


def _supply(root: Path) -> list[Result]:
    weak = machine.undervolted(root)
    if weak is None:
        return []
    if not weak:
        return [Result("supply", True, "has held since the start")]
    return [
        Result(
            "supply",
            False,
            "the supply fell too low: readings and the card suffer",
            "use the supply meant for this board and a short cable, then: sudo reboot",
        )
    ]


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
        with closing(connection.open_writer(config.store_path)) as con:
            # A transaction alone says nothing: of a file it may not write, SQLite only reads.
            con.execute("BEGIN IMMEDIATE")
            settings.put(con, "check", "", 0.0)
            con.execute("ROLLBACK")
    except StoreError as error:
        return _bad_store(config.store_path, str(error), error.__cause__)
    except sqlite3.Error as error:
        words = f"{config.store_path} cannot be written ({error})"
        return _bad_store(config.store_path, words, error)
    return Result("store", True, f"{config.store_path} opens and can be written")


def _bad_store(path: Path, words: str, cause: BaseException | None) -> Result:
    if not isinstance(cause, sqlite3.Error):
        return Result("store", False, words)  # the words themselves say what to do
    if trouble.kind(cause) == "damaged":
        return Result("store", False, words, "pourside restore FILE --yes")
    if trouble.kind(cause) in ("full", "busy"):
        return Result("store", False, words, trouble.advice(cause))
    owner = _user_name(path.parent.stat().st_uid)
    mend = f"sudo chown -R {owner}: {path.parent}; sudo chmod u+rw {path}"
    return Result("store", False, words, mend)


def _pins(config: Config, root: Path) -> list[Result]:
    """The pins that the config names: on the header, each for one thing, and ours to use."""
    wanted = {"lamp or buzzer": [pin for one in config.channels if one.kind == "lamp"
                                 for pin in (one.lamp_pin, one.buzzer_pin) if pin]}  # fmt: skip
    if config.node.source == "dht22":
        wanted["sensor"] = [config.node.pin]
    named = [(use, pin, machine.gpio_number(pin)) for use, pins in wanted.items() for pin in pins]
    if not named:
        return []
    for use, pin, number in named:
        if number is None:
            words = f"{pin!r} for the {use} is no pin of the header; D4 is GPIO 4, header pin 7"
            return [Result("pins", False, words, "name another under [node] or [[channels]]")]
    numbers = [number for _, _, number in named]
    twice = [number for number in numbers if numbers.count(number) > 1]
    if twice:
        words = f"GPIO {twice[0]} is named for two things"
        return [
            Result("pins", False, words, "give each a pin of its own, as in hardware/README.md")
        ]
    chips = machine.gpio_chips(root)
    if not chips:
        return [
            Result(
                "pins",
                False,
                "this machine shows no pins (no /dev/gpiochip*)",
                'set source = "simulated" under [node], or move the sensor to a board with pins',
            )
        ]
    ours = [chip for chip in chips if os.access(chip, os.R_OK | os.W_OK)]
    if not ours:
        group, us = _group_name(chips[0].stat().st_gid), _user_name(os.geteuid())
        return [
            Result(
                "pins",
                False,
                f"{us} may not use {chips[0]}, which is for the group {group}",
                f"sudo usermod -a -G {group} {us}, then log in anew",
            )
        ]
    listed = ", ".join(f"GPIO {number} for the {use}" for use, _, number in named)
    return [Result("pins", True, f"{listed}; {ours[0].name} can be used")]


def _group_name(number: int) -> str:
    try:
        return grp.getgrgid(number).gr_name
    except KeyError:
        return str(number)


def _sensor(config: Config) -> Result:
    if config.node.source == "none":
        return Result("sensor", True, "no sensor on this machine (node.source is 'none')")
    if config.node.source == "dht22" and _service_runs("pourside-node"):
        words = "the service pourside-node reads it; to try it here: sudo systemctl stop"
        return Result("sensor", True, f"{words} pourside-node")
    try:
        source = node_role.source_of(
            config, node_clock.Clock(node_role.start_s(config), config.clock.speed)
        )
        try:
            sample = _read(source)
        finally:
            if isinstance(source, Closable):
                source.close()
    except (SensorFault, NodeError, OSError, ValueError) as error:
        return Result("sensor", False, f"{config.node.source}: {error}", "see hardware/README.md")
    humidity = "" if sample.humidity_pct is None else f", {sample.humidity_pct:.1f} %RH"
    return Result("sensor", True, f"{config.node.source} reads {sample.temp_c:.1f} °C{humidity}")


def _read(source: Source) -> Sample:
    """One reading; a sensor that now and then garbles one is asked again."""
    for _ in range(TRIES - 1):
        try:
            return source.read()
        except SensorFault as fault:
            if fault.permanent:
                raise
        threading.Event().wait(BETWEEN_S)
    return source.read()


def _service_runs(name: str) -> bool:
    tool = shutil.which("systemctl")
    if tool is None:
        return False
    asked = subprocess.run([tool, "is-active", "--quiet", name], check=False, capture_output=True)
    return asked.returncode == 0


def _page(config: Config) -> Result:
    if config.dashboard.host in LOOPBACK:
        return Result("page", True, "reachable from this machine only")
    return Result(
        "page",
        True,
        f"anyone on the network can open port {config.dashboard.port} and log marks; "
        "keep it on a network you trust",
    )
