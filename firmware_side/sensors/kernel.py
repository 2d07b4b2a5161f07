"""A thermometer that the kernel shows as a file, such as a 1-wire probe on a surface.

The kernel's drivers give thousandths of a degree Celsius as text. A 1-wire probe that has just
got its supply says 85.000 until its first conversion, and one whose answer was garbled gives an
empty file; its range is -55 to 125 degC (data sheet of the DS18B20, from memory).
"""

from __future__ import annotations

from pathlib import Path

from firmware_side.sensors.base import Sample, SensorFault

RANGE_C = (-55.0, 125.0)
_JUST_STARTED = 85_000


class KernelThermometer:
    """Reads one file at each sample; it measures no humidity."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def read(self) -> Sample:
        """The temperature now. `SensorFault` where the file is away, empty or out of range."""
        try:
            text = self._path.read_text(encoding="ascii").strip()
        except FileNotFoundError as error:
            raise SensorFault(
                f"there is no {self._path}; is the probe plugged in and its bus switched on?",
                permanent=True,
            ) from error
        except (OSError, UnicodeDecodeError) as error:
            raise SensorFault(f"{self._path} cannot be read: {error}") from error
        try:
            thousandths = int(text)
        except ValueError as error:
            raise SensorFault(
                f"{self._path} says {text[:20]!r}; expected thousandths of a degree"
            ) from error
        temp_c = thousandths / 1000.0
        if thousandths == _JUST_STARTED or not RANGE_C[0] <= temp_c <= RANGE_C[1]:
            raise SensorFault(f"{self._path} says {temp_c:.3f} degC, which is no measurement")
        return Sample(temp_c, None)
