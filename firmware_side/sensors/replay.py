"""A recorded log, played back: a CSV of time, temperature and humidity.

Values are passed on as they are recorded, sane or not: judging them is the monitor's work,
and a replay that tidied up would test nothing. Rows without a temperature, or that cannot
be read, are passed over and counted.
"""

from __future__ import annotations

import csv
import gzip
import io
import math
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path

from firmware_side.errors import NodeError
from firmware_side.sensors.base import Sample, SensorFault

_COLUMNS = {
    "time": ("ts", "time", "at", "timestamp"),
    "temperature": ("temp_c", "temperature", "temperature_c"),
    "humidity": ("rh_pct", "humidity", "humidity_pct"),
}


class ReplaySource:
    """The rows of a log, each due at its own time on the node's clock.

    Start a `Clock(first_at_s, speed)` to play it at `speed` times real time. ISO times
    without a zone are read as UTC; numbers are seconds since 1970. Raises `NodeError` for a
    file that cannot be read or holds nothing.
    """

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        self.skipped = 0
        self._samples = list(self._read())
        if not self._samples:
            raise NodeError(
                f"replay {self.path} holds no readable row ({self.skipped} passed over)"
            )
        self.rows = len(self._samples)
        self.first_at_s = self._samples[0].at_s or 0.0
        self.last_at_s = self._samples[-1].at_s or 0.0
        self._next = 0

    def next_at_s(self) -> float | None:
        """When the next row is due; `None` after the last."""
        return self._samples[self._next].at_s if self._next < self.rows else None

    def read(self) -> Sample:
        """The next row."""
        if self._next >= self.rows:
            raise SensorFault(f"the replay of {self.path} is over")
        sample = self._samples[self._next]
        self._next += 1
        return sample

    def _read(self) -> Iterator[Sample]:
        try:
            raw = self.path.read_bytes()
            if raw[:2] == b"\x1f\x8b":
                raw = gzip.decompress(raw)
            text = raw.decode("utf-8-sig")
        except (OSError, EOFError, ValueError) as error:
            raise NodeError(f"replay {self.path} cannot be read: {error}") from error
        rows = csv.DictReader(io.StringIO(text))
        header = rows.fieldnames or []
        time, temperature, humidity = (
            self._column(header, what) for what in ("time", "temperature", "humidity")
        )
        for row in rows:
            try:
                yield Sample(_number(row[temperature]), _number(row[humidity]), _seconds(row[time]))
            except (TypeError, ValueError):
                self.skipped += 1

    def _column(self, header: Sequence[str], what: str) -> str:
        names = [name for name in header if name]
        for name in names:
            if name.strip().lower() in _COLUMNS[what]:
                return name
        raise NodeError(
            f"replay {self.path} has no column for {what}: found {', '.join(names) or 'none'};"
            f" expected one of {', '.join(_COLUMNS[what])}"
        )


def _number(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
    return value


def _seconds(text: str) -> float:
    try:
        return _number(text)
    except ValueError:
        at = datetime.fromisoformat(text.strip())
        return (at if at.tzinfo else at.replace(tzinfo=UTC)).timestamp()
