"""RFC 8428 (SenML) in JSON: the node's messages, in and out.

Pure: bytes and an instant in, values out. Fields of base records, relative times, the
name's character set and must-understand labels follow RFC 8428, sections 4 and 5.
Beside the standard's labels our records carry `seq`, `boot` and `low` (see `SenmlRecord`);
the standard lets a reader that does not know them pass over them (section 4.4).
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

MEDIA_TYPE = "application/senml+json"
TEMPERATURE_UNIT = "Cel"
HUMIDITY_UNIT = "%RH"

# RFC 8428 section 4.5.3: smaller times are relative to the moment of reading.
RELATIVE_BELOW_S = 2.0**28
# RFC 8428 section 4.4: the version that the document defines.
VERSION = 10
MAX_RECORDS = 10_000
MAX_BYTES = 1_000_000
MAX_NAME = 200

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*\Z")
_VALUE_LABELS = ("v", "vs", "vb", "vd")


class SenmlError(ValueError):
    """A message that cannot be read; the text starts with a short reason and a colon."""


@dataclass(frozen=True)
class Resolved:
    """One record with its base fields worked in and its time absolute."""

    name: str
    unit: str | None
    value: float | str | bool | None
    at_s: float
    sum: float | None = None


@dataclass(frozen=True)
class SenmlRecord:
    """One number measured, as our messages carry it.

    `seq` counts the samples of one start of the node, `boot` names that start, and `low`
    is the lowest `seq` of that boot that the node still keeps. `None` where the sender
    does not number its readings.
    """

    name: str
    unit: str
    value: float
    at_s: float
    seq: int | None = None
    boot: str | None = None
    low: int | None = None


def encode(
    records: Iterable[SenmlRecord], base_name: str = "", *, relative_to_s: float | None = None
) -> bytes:
    """Write records as one message.

    `base_name` is taken off the front of every name. With `relative_to_s` the records'
    `at_s` are of the same (unset) clock and go out relative to it, without a base time.
    Raises `SenmlError` for a name outside `base_name` or outside the allowed characters.
    """
    out: list[dict[str, Any]] = []
    base_s = 0.0
    for record in records:
        _checked_name(record.name, "record")
        if not record.name.startswith(base_name):
            raise SenmlError(f"wrong name: '{record.name}' does not start with '{base_name}'")
        entry: dict[str, Any] = {}
        if not out:
            if base_name:
                entry["bn"] = base_name
            if relative_to_s is None:
                base_s = float(math.floor(record.at_s))
                entry["bt"] = int(base_s)
        if len(record.name) > len(base_name):
            entry["n"] = record.name[len(base_name) :]
        entry["u"] = record.unit
        since_s = round(record.at_s - (base_s if relative_to_s is None else relative_to_s), 3)
        if since_s:
            entry["t"] = int(since_s) if since_s == int(since_s) else since_s
        entry["v"] = record.value
        for label, extra in (("seq", record.seq), ("boot", record.boot), ("low", record.low)):
            if extra is not None:
                entry[label] = extra
        out.append(entry)
    return json.dumps(out, separators=(",", ":"), allow_nan=False).encode()


def resolve(payload: bytes, now_s: float) -> list[Resolved]:
    """All records of a message, resolved (RFC 8428 section 4.6); any fault refuses it all.

    `now_s` dates relative times. Raises `SenmlError`.
    """
    resolver = _Resolver(now_s)
    return [resolver.next(i, raw) for i, raw in enumerate(_records(payload, MAX_RECORDS), start=1)]


def read(
    payload: bytes, now_s: float, max_records: int = MAX_RECORDS
) -> tuple[list[SenmlRecord], list[str]]:
    """The numbers of a message, and what was wrong with the rest; never raises.

    A bad record does not cost the good ones beside it, but a message that is not SenML, is
    too large or holds a must-understand label is refused whole, as the standard demands.
    Each fault reads `reason: detail`, where the reason is one of a few fixed phrases, so
    that faults can be counted by it.
    """
    good: list[SenmlRecord] = []
    faults: list[str] = []
    try:
        raw_records = _records(payload, max_records)
    except SenmlError as fault:
        return [], [str(fault)]
    resolver = _Resolver(now_s)
    for number, raw in enumerate(raw_records, start=1):
        try:
            good.append(_numbered(raw, resolver.next(number, raw), number))
        except SenmlError as fault:
            faults.append(str(fault))
    return good, faults


def _records(payload: bytes, max_records: int) -> list[Any]:
    """The JSON array of a message, its pack-wide rules checked."""
    if len(payload) > MAX_BYTES:
        raise SenmlError(f"message too large: {len(payload)} bytes, at most {MAX_BYTES}")
    try:
        # float() keeps NaN and Infinity readable here, to be refused record by record.
        pack = json.loads(payload.decode("utf-8"), parse_constant=float)
    except RecursionError:
        raise SenmlError("not JSON: nested too deeply") from None
    except ValueError as error:
        raise SenmlError(f"not JSON: {str(error)[:120]}") from None
    if not isinstance(pack, list):
        raise SenmlError(f"not SenML: a JSON array of records was expected, got {_kind(pack)}")
    if not pack:
        raise SenmlError("not SenML: the array holds no record")
    if len(pack) > max_records:
        raise SenmlError(f"too many records: {len(pack)}, at most {max_records}")
    for number, raw in enumerate(pack, start=1):
        if isinstance(raw, dict):
            _refuse_foreign(raw, number)
    return pack


def _refuse_foreign(raw: Mapping[str, Any], number: int) -> None:
    for label in raw:
        if label.endswith("_"):
            raise SenmlError(
                f"must-understand label: '{label[:40]}' in record {number} is not known here"
            )
    version = raw.get("bver", VERSION)
    if isinstance(version, bool) or not isinstance(version, int) or not 1 <= version <= VERSION:
        raise SenmlError(
            f"unknown version: bver in record {number} is {_show(version)}, expected 1 to {VERSION}"
        )


class _Resolver:
    """Carries the base fields from record to record.

    A base field that cannot be read spoils the records that lean on it, until it is
    replaced: better no value than one with the wrong name, time or size.
    """

    def __init__(self, now_s: float) -> None:
        self._now_s = now_s
        self._base: dict[str, Any] = {"bn": "", "bt": 0.0, "bu": None, "bv": None, "bs": None}
        self._spoilt: dict[str, int] = {}

    def next(self, number: int, raw: Any) -> Resolved:
        if not isinstance(raw, dict):
            raise SenmlError(f"not a record: record {number} is {_kind(raw)}, expected an object")
        self._take_base(raw, number)
        for label, before in self._spoilt.items():
            if before != number:
                raise SenmlError(
                    f"base field unreadable: record {number} leans on '{label}' of record {before}"
                )
        where = f"record {number}"
        own_name = _text(raw, "n", where) or ""
        name = _checked_name(self._base["bn"] + own_name, where)
        where = f"record {number} ('{name[:60]}')"
        unit = _text(raw, "u", where) or self._base["bu"]
        at_s = self._base["bt"] + (_number(raw, "t", where) or 0.0)
        if at_s < RELATIVE_BELOW_S:
            at_s += self._now_s
        total = _number(raw, "s", where)
        if total is not None or self._base["bs"] is not None:
            total = (total or 0.0) + (self._base["bs"] or 0.0)
        return Resolved(name, unit, self._value(raw, where, total), at_s, total)

    def _take_base(self, raw: Mapping[str, Any], number: int) -> None:
        for label in ("bn", "bt", "bu", "bv", "bs"):
            if label not in raw:
                continue
            try:
                reader = _text if label in ("bn", "bu") else _number
                self._base[label] = reader(raw, label, f"record {number}")
                self._spoilt.pop(label, None)
            except SenmlError:
                self._spoilt[label] = number
                raise

    def _value(
        self, raw: Mapping[str, Any], where: str, total: float | None
    ) -> float | str | bool | None:
        given = [label for label in _VALUE_LABELS if label in raw]
        if len(given) > 1:
            raise SenmlError(f"more than one value: {where} has {', '.join(given)}")
        if given in ([], ["v"]):
            value = _number(raw, "v", where)
            base = self._base["bv"]
            if value is None and base is None and total is None:
                raise SenmlError(f"no value: {where} has none of {', '.join(_VALUE_LABELS)}, s")
            return None if value is None and base is None else (value or 0.0) + (base or 0.0)
        if given == ["vb"]:
            truth = raw["vb"]
            if not isinstance(truth, bool):
                raise SenmlError(f"wrong type: vb of {where} is {_kind(truth)}, expected a boolean")
            return truth
        return _text(raw, given[0], where)


def _numbered(raw: Mapping[str, Any], record: Resolved, number: int) -> SenmlRecord:
    where = f"record {number} ('{record.name[:60]}')"
    if isinstance(record.value, bool) or not isinstance(record.value, float):
        raise SenmlError(f"not a number: {where} holds {_kind(record.value)}")
    if record.unit is None:
        raise SenmlError(f"no unit: {where} has neither u nor bu")
    boot = _text(raw, "boot", where)
    if boot is not None and not 1 <= len(boot) <= 64:
        raise SenmlError(f"wrong type: boot of {where} has {len(boot)} characters, expected 1..64")
    if boot is not None and not boot.isprintable():
        raise SenmlError(f"wrong type: boot of {where} is {_show(boot)}, expected plain text")
    return SenmlRecord(
        record.name,
        record.unit,
        record.value,
        record.at_s,
        _count(raw, "seq", where),
        boot,
        _count(raw, "low", where),
    )


def _number(raw: Mapping[str, Any], label: str, where: str) -> float | None:
    if label not in raw:
        return None
    value = raw[label]
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise SenmlError(f"wrong type: {label} of {where} is {_kind(value)}, expected a number")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise SenmlError(f"not a finite number: {label} of {where} is {_show(value)}")
    return number


def _text(raw: Mapping[str, Any], label: str, where: str) -> str | None:
    value = raw.get(label)
    if value is None and label not in raw:
        return None
    if not isinstance(value, str):
        raise SenmlError(f"wrong type: {label} of {where} is {_kind(value)}, expected a string")
    return value


def _count(raw: Mapping[str, Any], label: str, where: str) -> int | None:
    value = raw.get(label)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 2**53:
        raise SenmlError(
            f"wrong type: {label} of {where} is {_show(value)}, expected a whole number from 0"
        )
    return value


def _checked_name(name: str, where: str) -> str:
    if not name:
        raise SenmlError(f"no name: {where} has neither n nor bn")
    if len(name) > MAX_NAME or not _NAME.match(name):
        raise SenmlError(
            f"wrong name: {where} is called {_show(name)}; letters, digits and - : . / _ are "
            f"allowed, a letter or digit first, at most {MAX_NAME}"
        )
    return name


def _kind(value: Any) -> str:
    names = {dict: "an object", list: "an array", str: "a string", bool: "a boolean"}
    return "null" if value is None else names.get(type(value), "a number")


def _show(value: Any) -> str:
    # A whole number of thousands of digits may not even be turned into text.
    if isinstance(value, int) and abs(value) >= 2**64:
        return "a huge number"
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
