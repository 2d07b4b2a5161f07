"""The only reader of the clock on the node: real time, or time that runs faster.

A board without a battery does not know the time when it starts; `Clock.is_set` tells.
"""

from __future__ import annotations

import contextlib
import ctypes
import threading
import time
from pathlib import Path
from typing import Protocol

# No reading of ours can be older than the program: 2024-01-01.
EARLIEST_S = 1_704_067_200.0
_SYNCHRONISED = Path("/run/systemd/timesync/synchronized")
_HARDWARE_CLOCK = Path("/sys/class/rtc/rtc0/since_epoch")
_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
_STA_UNSYNC = 0x40  # linux/timex.h
_STATUS_OFFSET = 5 * ctypes.sizeof(ctypes.c_long)  # of `status` in struct timex
_RTC_AGREES_S = 60.0


class NodeClock(Protocol):
    """What the node asks of a clock."""

    def now_s(self) -> float:
        """Seconds since 1970, UTC."""

    def monotonic_s(self) -> float:
        """Seconds since some fixed moment; never steps."""

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Wait until the event or for the seconds of this clock; True if the event came."""


class Clock:
    """Real time, or from `start_s` onward at `speed` times real time."""

    def __init__(self, start_s: float | None = None, speed: float = 1.0) -> None:
        if not 0.0 < speed <= 1e6:
            raise ValueError(f"speed is {speed}, expected more than 0 and at most 1000000")
        self.speed = speed
        self.virtual = start_s is not None or speed != 1.0
        self._began_s = time.time() if start_s is None else start_s
        self._began_monotonic_s = real_monotonic_s()

    def now_s(self) -> float:
        """Seconds since 1970, UTC."""
        return self._began_s + self.monotonic_s() if self.virtual else time.time()

    def monotonic_s(self) -> float:
        """Seconds of this clock since it was made."""
        return (real_monotonic_s() - self._began_monotonic_s) * self.speed

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Wait until the event or for `seconds` of this clock; True if the event came."""
        return event.wait(max(0.0, seconds) / self.speed)

    def is_set(self) -> bool:
        """Whether `now_s` can be believed; made-up time always can."""
        return self.virtual or system_clock_is_set(self.now_s())

    wall = now_s
    monotonic = monotonic_s


def real_monotonic_s() -> float:
    """Seconds since the machine started, sleep included; never steps, never sped up."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


def machine_start() -> str | None:
    """A name for this start of the machine, the same until it is started again."""
    with contextlib.suppress(OSError):
        return _BOOT_ID.read_text().strip() or None
    return None


def system_clock_is_set(now_s: float) -> bool:
    """Whether the system's time is right: synchronised, or kept by a hardware clock."""
    if now_s < EARLIEST_S:
        return False
    return _SYNCHRONISED.exists() or _kernel_says_synchronised() or _hardware_agrees(now_s)


def _kernel_says_synchronised() -> bool:
    timex = ctypes.create_string_buffer(512)  # larger than struct timex; modes 0 only reads
    try:
        failed = ctypes.CDLL(None).adjtimex(timex) < 0
    except (AttributeError, OSError):
        return False
    status = ctypes.c_int.from_buffer(timex, _STATUS_OFFSET).value
    return not failed and not status & _STA_UNSYNC


def _hardware_agrees(now_s: float) -> bool:
    # A hardware clock without a battery starts in 1970 while the system's time is guessed
    # from a saved file, so the two disagree until the time is known.
    with contextlib.suppress(OSError, ValueError):
        return abs(float(_HARDWARE_CLOCK.read_text()) - now_s) < _RTC_AGREES_S
    return False
