"""The config file, read once at the edge. Every fault is told in one go."""

from __future__ import annotations

import difflib
import os
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from monitor.errors import SettingsError


class ConfigError(SettingsError):
    """The config cannot be used; `faults` holds one line for each thing to mend."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = faults


@dataclass(frozen=True)
class BrokerConfig:
    """Where the broker is, or which one to start ourselves."""

    run: str = "none"
    host: str = "127.0.0.1"
    port: int = 1883
    username: str = ""
    password: str = field(default="", repr=False)


@dataclass(frozen=True)
class NodeConfig:
    """The sensor node on this machine; `source` "none" where there is none."""

    name: str = "bench"
    sensor: str = "air"
    source: str = "none"
    interval_s: float = 10.0
    pin: str = "D4"
    pulse: str = "auto"
    file: str = ""
    seed: int = 1
    outbox: str = ""
    announce_to: str = ""


@dataclass(frozen=True)
class MonitorConfig:
    """How often the monitor thinks, and when silence is too long."""

    tick_s: float = 2.0
    silent_after_s: float = 900.0
    surface_offset_c: float = 0.0
    resins: str = ""


@dataclass(frozen=True)
class DashboardConfig:
    """Where the page listens."""

    host: str = "127.0.0.1"
    port: int = 8080
    base_url: str = ""


@dataclass(frozen=True)
class ClockConfig:
    """A virtual clock for replays; the wall clock where `start` is empty."""

    start: str = ""
    speed: float = 1.0

    @property
    def start_s(self) -> float | None:
        """The virtual start, seconds since 1970."""
        return None if self.start in ("", "replay") else _epoch(self.start)


@dataclass(frozen=True)
class ForeignConfig:
    """Somebody else's sensor: a topic and the JSON fields to take from it."""

    topic: str = ""
    node: str = ""
    sensor: str = "air"
    temperature: str = "temperature"
    humidity: str = "humidity"
    unit: str = "C"


@dataclass(frozen=True)
class ChannelConfig:
    """One way to reach a person."""

    name: str = ""
    kind: str = "webhook"
    url: str = field(default="", repr=False)
    url_env: str = ""
    host: str = ""
    port: int = 25
    sender: str = ""
    to: str = ""
    username: str = ""
    password: str = field(default="", repr=False)
    security: str = "starttls"
    lamp_pin: str = ""
    buzzer_pin: str = ""
    priority: str = "soon"


@dataclass(frozen=True)
class Config:
    """Everything the config file says, checked."""

    site: str = "home"
    data_dir: Path = Path("pourside-data")
    time_zone: str = ""
    broker: BrokerConfig = BrokerConfig()
    node: NodeConfig = NodeConfig()
    monitor: MonitorConfig = MonitorConfig()
    dashboard: DashboardConfig = DashboardConfig()
    clock: ClockConfig = ClockConfig()
    foreign: tuple[ForeignConfig, ...] = ()
    channels: tuple[ChannelConfig, ...] = ()

    @property
    def store_path(self) -> Path:
        """The one SQLite file."""
        return self.data_dir / "pourside.db"

    @property
    def outbox_path(self) -> Path:
        """Where the node's readings wait."""
        return Path(self.node.outbox) if self.node.outbox else self.data_dir / "outbox.db"


_TABLES: Mapping[str, type[Any]] = {
    "broker": BrokerConfig,
    "node": NodeConfig,
    "monitor": MonitorConfig,
    "dashboard": DashboardConfig,
    "clock": ClockConfig,
}
_LISTS: Mapping[str, type[Any]] = {"foreign": ForeignConfig, "channels": ChannelConfig}
# What stands in topics and keys, as node and intake take it.
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.\-]{0,39}\Z")
_IN_TOPICS = ("node", "sensor")
_SECRETS = {"password": "password_env", "url": "url_env"}
_NUMBERS: Mapping[str, tuple[float, float]] = {
    "broker.port": (1, 65535),
    "channels.port": (1, 65535),
    "dashboard.port": (1, 65535),
    "node.interval_s": (2, 86400),
    "monitor.tick_s": (0.1, 3600),
    "monitor.silent_after_s": (10, 864000),
    "monitor.surface_offset_c": (-20, 20),
    "clock.speed": (0.001, 1_000_000),
}
_CHOICES: Mapping[str, tuple[str, ...]] = {
    "broker.run": ("none", "mosquitto", "embedded"),
    "node.source": ("none", "dht22", "kernel", "simulated", "replay"),
    "node.pulse": ("auto", "pulse", "bitbang"),
    "foreign.unit": ("C", "F"),
    "channels.kind": ("webhook", "mail", "library", "lamp"),
    "channels.security": ("none", "starttls", "tls"),
    "channels.priority": ("urgent", "soon", "note"),
}


def load(path: Path) -> Config:
    """Read and check a config file. Raises ConfigError with every fault."""
    try:
        with path.open("rb") as file:
            return read(tomllib.load(file), os.environ)
    except FileNotFoundError:
        raise ConfigError(
            [f"there is no config file {path}; copy hardware/pourside.toml and edit it"]
        ) from None
    except tomllib.TOMLDecodeError as error:
        raise ConfigError([f"{path} is not TOML: {error}"]) from None
    except RecursionError:
        raise ConfigError([f"{path} is not TOML: nested too deeply"]) from None
    except (OSError, UnicodeDecodeError) as error:
        raise ConfigError([f"{path} cannot be read: {error}"]) from None


def read(table: Mapping[str, Any], environ: Mapping[str, str]) -> Config:
    """Check a parsed config. Secrets may be named by an environment variable instead."""
    faults: list[str] = []
    values: dict[str, Any] = {}
    simple = {"site": "home", "data_dir": "pourside-data", "time_zone": ""}
    for key, given in table.items():
        if key in simple:
            if not isinstance(given, str):
                faults.append(f"{key} = {given!r}: expected text in quotes")
            elif key != "data_dir":
                values[key] = given
            elif (folder := _folder(given)) is None:
                faults.append(f"data_dir = {given!r}: expected a folder that there can be")
            else:
                values[key] = folder
        elif key in _TABLES:
            values[key] = _section(key, _TABLES[key], given, environ, faults)
        elif key in _LISTS:
            items = given if isinstance(given, list) else [given]
            values[key] = tuple(_section(key, _LISTS[key], item, environ, faults) for item in items)
        else:
            faults.append(_unknown("", key, [*simple, *_TABLES, *_LISTS]))
    zone = values.get("time_zone", "")
    if zone and not _is_zone(zone):
        faults.append(f"time_zone = {zone!r}: no such zone; expected a name like 'Europe/Lisbon'")
    if not faults:
        config = Config(**values)
        faults = _cross_faults(config)
        if not faults:
            return config
    raise ConfigError(faults)


def _section(
    name: str, kind: type[Any], given: Any, environ: Mapping[str, str], faults: list[str]
) -> Any:
    if not isinstance(given, dict):
        faults.append(f"{name} = {given!r}: expected a table, [{name}]")
        return kind()
    known = {field_: type(default) for field_, default in vars(kind()).items()}
    values: dict[str, Any] = {}
    for key, value in given.items():
        full = f"{name}.{key}"
        secret = next((s for s, variable in _SECRETS.items() if variable == key), None)
        if secret is not None and secret in known:
            values[secret] = environ.get(str(value), "")
            if not values[secret]:
                faults.append(f"{full} = {value!r}: that environment variable is not set")
        elif key not in known:
            faults.append(_unknown(name, key, list(known)))
        else:
            fault = _fault(full, value, known[key])
            if fault:
                faults.append(fault)
            else:
                values[key] = float(value) if known[key] is float else value
    return kind(**values)


def _fault(full: str, value: Any, kind: type[Any]) -> str:
    if kind in (int, float):
        whole = kind is int
        if isinstance(value, bool) or not isinstance(value, int if whole else (int, float)):
            return f"{full} = {value!r}: expected a {'whole ' if whole else ''}number"
        low, high = _NUMBERS.get(full, (float("-inf"), float("inf")))
        if not low <= value <= high:
            return f"{full} = {value!r}: expected {low:g} to {high:g}"
    elif not isinstance(value, str):
        return f"{full} = {value!r}: expected text in quotes"
    elif full in _CHOICES and value not in _CHOICES[full]:
        return f"{full} = {value!r}: expected one of {', '.join(_CHOICES[full])}"
    elif full == "clock.start" and value not in ("", "replay") and _epoch(value) is None:
        return f"{full} = {value!r}: expected a time like '2026-01-31T18:00:00Z', or 'replay'"
    return ""


def _unknown(section: str, key: str, known: list[str]) -> str:
    full = f"{section}.{key}" if section else key
    near = difflib.get_close_matches(key, known, n=1)
    hint = f"did you mean {near[0]!r}?" if near else f"known: {', '.join(known)}"
    return f"{full}: not a setting; {hint}"


def _cross_faults(config: Config) -> list[str]:
    faults = []
    if config.node.source == "replay" and not config.node.file:
        faults.append("node.file is empty: a replay needs the CSV file to play")
    if config.node.source == "kernel" and not config.node.file:
        faults.append("node.file is empty: name the kernel's file of the thermometer")
    if config.clock.start == "replay" and config.node.source != "replay":
        faults.append("clock.start = 'replay', but node.source is not 'replay'")
    if config.clock.speed != 1.0 and not config.clock.start:
        faults.append("clock.speed without clock.start: a fast clock needs a time to start at")
    names = [
        ("site", config.site),
        ("node.name", config.node.name),
        ("node.sensor", config.node.sensor),
        *((f"foreign.{key}", getattr(one, key)) for one in config.foreign for key in _IN_TOPICS),
    ]
    for place, text in names:
        if text and not _NAME.match(text):
            faults.append(
                f"{place} = {text!r}: expected letters a to z, digits, '-', '_' or '.', "
                "a letter or digit first, 40 at most"
            )
    faults.extend(f"{place} is empty: expected a name" for place, text in names[:3] if not text)
    prefix = config.node.announce_to
    if prefix and (set(prefix) & set("+#\0 ") or "" in prefix.split("/")):
        faults.append(
            f"node.announce_to = {prefix!r}: expected the start of a topic, without '+', '#', "
            "spaces or empty levels; '' announces nothing"
        )
    for channel in config.channels:
        for key in ("lamp_pin", "buzzer_pin"):
            pin = getattr(channel, key)
            if pin and not (pin.isascii() and pin.isdigit() and int(pin) < 28):
                faults.append(
                    f"channels.{key} = {pin!r}: expected a GPIO number like '17' (0 to 27)"
                )
    for number, foreign in enumerate(config.foreign, 1):
        if not foreign.topic or not foreign.node:
            faults.append(f"foreign number {number}: topic and node must both be given")
        elif set(foreign.topic) & set("+#\0"):
            faults.append(
                f"foreign.topic = {foreign.topic!r}: expected one whole topic, without '+' or "
                "'#'; give each sensor a block of its own"
            )
    called = [channel.name for channel in config.channels]
    faults.extend(
        f"channels.name = {name!r}: each channel needs a name of its own"
        for name in sorted({name for name in called if not name or called.count(name) > 1})
    )
    return faults


def _folder(text: str) -> Path | None:
    try:
        return None if "\0" in text else Path(text).expanduser()
    except RuntimeError:  # the home of nobody
        return None


def _is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def _epoch(text: str) -> float | None:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()


def system_zone() -> str:
    """The board's own time zone name, or UTC where it does not say."""
    named = os.environ.get("TZ", "").lstrip(":")
    if named and _is_zone(named):
        return named
    target = Path("/etc/localtime").resolve().as_posix()
    zone = target.partition("zoneinfo/")[2]
    return zone if zone and _is_zone(zone) else "UTC"
