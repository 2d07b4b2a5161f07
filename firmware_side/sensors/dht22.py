"""The DHT22 through its library, with the library's traps closed.

What the library lets through and this file does not: a value of the reading before, an
all-zero frame, values outside the sensor's range, clones that count below zero in two's
complement, and frames whose errors cancel in the checksum (two readings must agree). What
it does to the process is undone: it replaces the handler of the stop signal, and asks on a
terminal whether it may run pip.
"""

from __future__ import annotations

import logging
import math
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from statistics import median
from typing import Any, Literal

from firmware_side.clock import Clock, NodeClock
from firmware_side.config import no_install_prompt
from firmware_side.sensors.base import Sample, SensorFault

log = logging.getLogger(__name__)

Method = Literal["auto", "pulse", "bitbang"]

# Datasheet: at most one reading in 2 s. The library returns the old value within 2 s.
MIN_INTERVAL_S = 2.1
RANGE_C = (-40.0, 80.0)
# Datasheet repeatability is 0.2 K and 1 %RH: two readings differ by twice that at most.
AGREE_K = 0.5
AGREE_PCT = 3.0
# What a room does at most in a minute, for a lone reading to follow the one before.
ROOM_K_MIN = 1.0
ROOM_PCT_MIN = 6.0
_REMEMBER_S = 600.0
_TRANSIENT = ("Checksum", "full buffer", "check wiring", "unplausible")
_HELPER = "libgpiod_pulsein"

Pair = tuple[float, float]


class Dht22:
    """One DHT22 on one pin, for the life of the process; `close` lets go of the pin.

    Each `read` takes `readings` good frames 2.1 s apart, at most `attempts`, and gives the
    middle of those that agree. A sensor's answer is its conversion of the call before, so
    after a pause the first frame is old: the middle of three does not follow it.
    """

    def __init__(
        self,
        pin: str = "D4",
        *,
        method: Method = "auto",
        readings: int = 3,
        attempts: int = 6,
        clock: NodeClock | None = None,
        stop: threading.Event | None = None,
        opener: Callable[[str, Method], Any] | None = None,
    ) -> None:
        if not 1 <= readings <= attempts:
            raise ValueError(f"readings is {readings}, expected 1 to attempts ({attempts})")
        self._pin = pin
        self._method = method
        self._readings = readings
        self._attempts = attempts
        self._clock = clock or Clock()
        self._stop = stop or threading.Event()
        self._opener = opener or open_driver
        self._called_s = -math.inf
        self._accepted: tuple[float, Pair] | None = None
        # Now, not at the first reading: a missing library is said at the start.
        self._driver: Any = self._opener(pin, method)

    def close(self) -> None:
        """Let go of the pin and end the library's helper process."""
        if self._driver is not None:
            with suppress(Exception):
                self._driver.exit()
            self._driver = None

    def read(self) -> Sample:
        """The middle of the readings that agree; `SensorFault` where fewer than two do."""
        good: list[Pair] = []
        last = "no answer"
        for _ in range(self._attempts):
            self._wait_turn()
            try:
                good.append(self._frame())
            except SensorFault as fault:
                if fault.permanent:
                    raise
                last = str(fault)
                continue
            agreeing = _agreeing(good)
            enough = len(good) >= self._readings
            if enough and (len(agreeing) >= 2 or self._follows(good)):
                return self._accept(agreeing if len(agreeing) >= 2 else good)
        if self._follows(good):
            return self._accept(good)
        agreeing = _agreeing(good)
        if len(agreeing) >= 2:
            return self._accept(agreeing)
        if good:
            last = f"readings disagree: {', '.join(f'{t:.1f} degC {h:.1f} %' for t, h in good)}"
        raise SensorFault(f"DHT22 on {self._pin}: {last}")

    def _accept(self, pairs: Sequence[Pair]) -> Sample:
        value = (median(t for t, _ in pairs), median(h for _, h in pairs))
        self._accepted = (self._clock.monotonic_s(), value)
        return Sample(round(value[0], 2), round(value[1], 2))

    def _follows(self, good: Sequence[Pair]) -> bool:
        """Whether a lone reading is where the last accepted one can have gone since."""
        if len(good) != 1 or self._accepted is None:
            return False
        then_s, (temp_c, humidity_pct) = self._accepted
        minutes = (self._clock.monotonic_s() - then_s) / 60.0
        return (
            minutes * 60.0 <= _REMEMBER_S
            and abs(good[0][0] - temp_c) <= AGREE_K + ROOM_K_MIN * minutes
            and abs(good[0][1] - humidity_pct) <= AGREE_PCT + ROOM_PCT_MIN * minutes
        )

    def _wait_turn(self) -> None:
        rest_s = self._called_s + MIN_INTERVAL_S - self._clock.monotonic_s()
        if rest_s > 0 and self._clock.wait(self._stop, rest_s):
            raise SensorFault(f"DHT22 on {self._pin}: stopped while reading")
        self._called_s = self._clock.monotonic_s()

    def _frame(self) -> Pair:
        """One frame off the wire, judged on its own."""
        if self._driver is None:
            self._driver = self._opener(self._pin, self._method)
        driver = self._driver
        # A call that does not reach the wire, or fails, leaves these at None: nothing old
        # can come back.
        driver._temperature = driver._humidity = None
        try:
            driver.measure()
            temp_c, humidity_pct = driver.temperature, driver.humidity
        except RuntimeError as error:
            raise self._explained(error) from error
        except OSError as error:
            self.close()
            raise SensorFault(f"DHT22 on {self._pin}: {error}", permanent=True) from error
        if temp_c is None or humidity_pct is None:
            raise SensorFault(f"DHT22 on {self._pin}: no fresh value")
        return judged(float(temp_c), float(humidity_pct))

    def _explained(self, error: RuntimeError) -> SensorFault:
        words = str(error)
        if any(known in words for known in _TRANSIENT):
            return SensorFault(f"DHT22 on {self._pin}: {words}")
        # The helper process is gone or the pin is not ours: begin anew at the next reading.
        self.close()
        return SensorFault(f"DHT22 on {self._pin}: {words}{_left_over()}", permanent=True)


def judged(temp_c: float, humidity_pct: float) -> Pair:
    """The values of one frame, made right or refused with a `SensorFault`.

    The library reads a temperature as sign and magnitude. Clones that count in two's
    complement then come out below -3000 degC; their word is read again.
    """
    if temp_c == 0.0 and humidity_pct == 0.0:
        raise SensorFault("an all-zero frame, as a lost edge or a dead sensor gives")
    if temp_c < RANGE_C[0]:
        word = 0x8000 | round(-temp_c * 10)
        temp_c = (word - 0x10000) / 10
    if not RANGE_C[0] <= temp_c <= RANGE_C[1] or not 0.0 <= humidity_pct <= 100.0:
        raise SensorFault(f"{temp_c:.1f} degC, {humidity_pct:.1f} %RH is outside what it measures")
    return temp_c, humidity_pct


def open_driver(pin: str, method: Method) -> Any:
    """The library's own object for a pin named as the board library names it (`D4`).

    `auto` uses the helper process that captures pulses, and falls back to watching the pin
    from Python. Raises a permanent `SensorFault` that says what to install or set.
    """
    no_install_prompt()
    with _signal_handlers_kept():
        try:
            import adafruit_dht
            import board
        except ImportError as error:
            raise SensorFault(
                f"the DHT22 library is not installed ({error}). Run: pip install"
                ' adafruit-circuitpython-dht gpiod. Without a sensor set source = "simulated".',
                permanent=True,
            ) from error
        except Exception as error:
            raise SensorFault(
                f"the board's pins cannot be used: {str(error).splitlines()[0]}. On a board run:"
                " pip install 'gpiod>=2.2.2,<3'. Without a sensor set source = \"simulated\".",
                permanent=True,
            ) from error
        place = getattr(board, pin, None)
        if place is None:
            raise SensorFault(
                f"this machine ({getattr(board, 'board_id', 'unknown')}) has no pin {pin!r}."
                ' Set pin to one that the board has (D4 is GPIO 4), or source = "simulated".',
                permanent=True,
            )
        try:
            return adafruit_dht.DHT22(place, use_pulseio=method != "bitbang")
        except Exception as error:
            if method != "auto":
                raise SensorFault(
                    f"DHT22 on {pin}: {error}{_left_over()}", permanent=True
                ) from error
            # NameError where the library found no pulse capture at all.
            log.info("no pulse capture here (%s); watching pin %s instead", error, pin)
            return adafruit_dht.DHT22(place, use_pulseio=False)


def _agreeing(good: Sequence[Pair]) -> list[Pair]:
    """The largest group of readings near one of them."""
    groups = (
        [b for b in good if abs(a[0] - b[0]) <= AGREE_K and abs(a[1] - b[1]) <= AGREE_PCT]
        for a in good
    )
    return max(groups, key=len, default=[])


@contextmanager
def _signal_handlers_kept() -> Iterator[None]:
    kept = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        yield
    finally:
        if threading.current_thread() is threading.main_thread():
            for number, handler in kept.items():
                if handler is not None:
                    signal.signal(number, handler)


def _left_over() -> str:
    """Names a helper process of an earlier, killed run that may still hold the pin."""
    found = []
    for comm in Path("/proc").glob("[0-9]*/comm"):
        with suppress(OSError):
            if comm.read_text().startswith(_HELPER[:15]):
                found.append(comm.parent.name)
    return f" (a left-over helper may hold the pin: kill {' '.join(found)})" if found else ""
