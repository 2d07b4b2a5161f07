"""What every source of readings is: one method, one value, one fault.

To add a sensor write a file beside this one with a class whose `read` returns a `Sample`
or raises `SensorFault`. A complete one, for a thermometer that the kernel shows as a file:

    class KernelThermometer:
        def __init__(self, path: Path) -> None:
            self._path = path

        def read(self) -> Sample:
            try:
                return Sample(int(self._path.read_text()) / 1000.0, None)
            except (OSError, ValueError) as error:
                raise SensorFault(f"{self._path} gave no temperature: {error}") from error
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
