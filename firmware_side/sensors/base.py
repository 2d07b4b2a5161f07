"""What every source of readings is: one method, one value, one fault.

To add a sensor write a file beside this one with a class whose `read` returns a `Sample` or
raises `SensorFault`; `kernel.py` is a small one to copy. `hardware/README.md`, "Another kind
of sensor", goes through it line by line.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, runtime_checkable


@dataclass(frozen=True)
class Sample:
    """One measurement. `at_s` is set only where the source knows the time (a replay)."""

    temp_c: float
    humidity_pct: float | None
    at_s: float | None = None


class SensorFault(Exception):
    """No trustworthy value this time. `permanent` means that a person must act."""

    def __init__(self, message: str, permanent: bool = False) -> None:
        super().__init__(message)
        self.permanent = permanent


class Source(Protocol):
    """Anything that can be read for temperature and humidity."""

    def read(self) -> Sample:
        """One trustworthy sample, or `SensorFault`."""


@runtime_checkable
class Timetable(Protocol):
    """A source that says itself when its next sample is due (a replay)."""

    def next_at_s(self) -> float | None:
        """When the next sample is due on the node's clock; `None` when there is none."""


@runtime_checkable
class Closable(Protocol):
    """A source that holds something of the machine's (a pin, a bus) until it is closed."""

    def close(self) -> None:
        """Let go of it. The node calls this once, at its end, whatever ended it."""
