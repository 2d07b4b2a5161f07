"""The only reader of the clock. A virtual clock may start elsewhere and run faster."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Clock:
    """Wall time, or a virtual time for replays and the demo.

    `start_s` is the virtual time at construction (None: the wall clock as it is);
    `speed` is how many virtual seconds pass in a real one.
    """

    start_s: float | None = None
    speed: float = 1.0
    _anchor_s: float = field(default_factory=time.monotonic, repr=False)

    def now_s(self) -> float:
        """Seconds since 1970, UTC."""
        if self.start_s is None:
            return time.time()
        return self.start_s + (time.monotonic() - self._anchor_s) * self.speed

    def monotonic_s(self) -> float:
        """Real seconds that never step; for waiting and for watching over others."""
        return time.monotonic()

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """Wait at most so many real seconds for the event; True if it came."""
        return event.wait(max(seconds, 0.0))
