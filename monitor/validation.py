"""Which records of a message to believe. Pure: bytes in, samples and counted reasons out."""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from firmware_side import senml
from monitor.store.intake_rows import Arrival, Handled

# What the sensor can measure (AM2302 data sheet: -40..80 degrees, 0..100 %RH).
TEMP_RANGE_C = (-40.0, 80.0)
HUMIDITY_RANGE_PCT = (0.0, 100.0)
# A reading from before this program could exist comes from a clock that is not set; one
# from ahead of now by more than a slow clock explains, from a clock that is wrong.
EARLIEST_S = 946_684_800.0  # 2000-01-01
AHEAD_S = 600.0
MAX_RECORDS = 5_000

_PART = re.compile(r"[A-Za-z0-9_.:\-]{1,96}\Z")


@dataclass(frozen=True)
class Verdict:
    """What one message came to: samples to keep, numbers dealt with, reasons counted."""

    arrivals: tuple[Arrival, ...] = ()
    handled: tuple[Handled, ...] = ()
    lows: Mapping[str, int] = field(default_factory=dict)
    refused: Mapping[str, int] = field(default_factory=dict)
    example: str = ""


@dataclass(frozen=True)
class Fields:
    """Where a stranger's JSON keeps its numbers; a dot goes one level deeper."""

    sensor: str
    temperature: str = "temperature"
    humidity: str = "humidity"
    fahrenheit: bool = False


def senml_message(site: str, node: str, payload: bytes, now_s: float) -> Verdict:
    """Judge an RFC 8428 message; a bad record does not cost the good ones beside it."""
    handled, lows, fault = _numbers(payload)
    if fault:
        return _refusal("low above seq", fault)
    records, faults = senml.read(payload, now_s, MAX_RECORDS)
    refused: Counter[str] = Counter(fault.partition(":")[0] for fault in faults)
    first = faults[0] if faults else ""
    samples: dict[tuple[str, float], dict[str, senml.SenmlRecord]] = {}
    for record in records:
        sensor, quantity, fault = _place(site, node, record)
        if fault:
            refused[fault.partition(":")[0]] += 1
            first = first or f"{fault}: {record.name} = {record.value} {record.unit}"
            continue
        fault = _fault(quantity, record.value, record.at_s, now_s)
        if fault:
            refused[fault] += 1
            first = first or f"{fault}: {record.name} = {record.value} {record.unit}"
            continue
        samples.setdefault((sensor, record.at_s), {})[quantity] = record
    arrivals = []
    for (sensor, at_s), found in samples.items():
        temperature = found.get("temperature")
        if temperature is None:
            refused["humidity without a temperature beside it"] += 1
            first = first or f"humidity without a temperature beside it: {sensor}"
            continue
        humidity = found.get("humidity")
        arrivals.append(
            Arrival(
                sensor=sensor,
                taken_at_s=at_s,
                temp_c=temperature.value,
                humidity_pct=None if humidity is None else humidity.value,
                boot=temperature.boot,
                seq=temperature.seq,
            )
        )
    return Verdict(tuple(arrivals), handled, lows, dict(refused), first)


def _place(site: str, node: str, record: senml.SenmlRecord) -> tuple[str, str, str]:
    """The sensor's key and the quantity of a record, or what is wrong with its name or unit."""
    head, _, quantity = record.name.replace(":", "/").rpartition("/")
    if quantity not in ("temperature", "humidity"):
        return "", "", "not a room quantity"
    expected = senml.TEMPERATURE_UNIT if quantity == "temperature" else senml.HUMIDITY_UNIT
    if record.unit != expected:
        return "", "", f"wrong unit for {quantity}"
    sensor = record.name[: len(head)].strip("/:") or "air"
    sensor = sensor.removeprefix(f"{node}/").replace("/", ".") or "air"
    if not _PART.match(sensor):
        return "", "", "wrong name"
    return f"{site}/{node}/{sensor}", quantity, ""


def _fault(quantity: str, value: float, at_s: float, now_s: float) -> str:
    low, high = TEMP_RANGE_C if quantity == "temperature" else HUMIDITY_RANGE_PCT
    if not math.isfinite(value) or not low <= value <= high:
        return f"{quantity} outside {low:g} to {high:g}"
    if at_s < EARLIEST_S:
        return "time before 2000: the sender's clock is not set"
    if at_s > now_s + AHEAD_S:
        return "time in the future: the sender's clock is wrong"
    return ""


def _numbers(payload: bytes) -> tuple[tuple[Handled, ...], dict[str, int], str]:
    """Every sample number a message carries, believed or not, so that none is sent for ever.

    Or what is wrong with the numbers: then none of them means anything, and none is dealt with.
    """
    if len(payload) > senml.MAX_BYTES:
        return (), {}, ""
    try:
        pack = json.loads(payload)
    except (ValueError, RecursionError):
        return (), {}, ""
    handled: dict[Handled, None] = {}
    lows: dict[str, int] = {}
    for record in pack if isinstance(pack, list) else []:
        if not isinstance(record, dict):
            continue
        boot, seq = record.get("boot"), _whole(record.get("seq"))
        if not isinstance(boot, str) or not 0 < len(boot) <= 64 or not boot.isprintable():
            continue
        if seq is not None:
            low = _whole(record.get("low")) or 0
            if low > seq:
                # Believed, it would have the node delete samples that never came here.
                said = f"a record of boot {boot!r} has seq {seq} and low {low}"
                return (), {}, f"{said}; a node keeps what it sends, so low is at most seq"
            handled[Handled(boot, seq)] = None
            lows[boot] = max(lows.get(boot, 0), low)
    return tuple(handled), lows, ""


def _whole(value: Any) -> int | None:
    if isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 2**53:
        return value
    return None


def foreign_message(site: str, node: str, fields: Fields, payload: bytes, now_s: float) -> Verdict:
    """Judge a stranger's JSON object by the fields that the config names."""
    if len(payload) > 65536:
        return _refusal("message too large", f"{len(payload)} bytes from {node}")
    try:
        found = json.loads(payload, parse_constant=lambda text: None)
    except (ValueError, RecursionError):
        return _refusal("not JSON", payload[:80].decode("utf-8", "replace"))
    temperature = _dig(found, fields.temperature)
    humidity = _dig(found, fields.humidity) if fields.humidity else None
    if temperature is None:
        return _refusal(f"no number under {fields.temperature!r}", str(found)[:120])
    temp_c = (temperature - 32.0) / 1.8 if fields.fahrenheit else temperature
    refused: Counter[str] = Counter()
    fault = _fault("temperature", temp_c, now_s, now_s)
    if fault:
        return _refusal(fault, str(found)[:120])
    if humidity is not None:
        fault = _fault("humidity", humidity, now_s, now_s)
        if fault:
            refused[fault] += 1
            humidity = None
    arrival = Arrival(f"{site}/{node}/{fields.sensor}", now_s, temp_c, humidity)
    return Verdict((arrival,), refused=dict(refused), example=str(found)[:120])


def _dig(found: Any, path: str) -> float | None:
    for step in path.split("."):
        found = found.get(step) if isinstance(found, dict) else None
    if isinstance(found, bool) or not isinstance(found, int | float):
        return None
    try:
        value = float(found)
    except OverflowError:
        return None
    return value if math.isfinite(value) else None


def _refusal(reason: str, example: str) -> Verdict:
    return Verdict(refused={reason: 1}, example=f"{reason}: {example}")
