"""Sums over time on slots of ten minutes; past the last slot laid, the last day repeats.

So a forecast of three days and a day more say all that there is to say of four weeks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from monitor.core.vocabulary import FloatArray

IntArray = npt.NDArray[np.int64]
Side = Literal["left", "right"]

SLOT_S = 600.0
DAY_SLOTS = 144

_MOST_DAYS = 1000  # far beyond any grid


@dataclass(frozen=True, eq=False)
class Laid:
    """What was gained before each slot: `total` (paths, laid), never falling.

    At least a day and a slot are laid.
    """

    total: FloatArray

    @property
    def laid(self) -> int:
        """How many slots are laid; from there on each is like the one a day before."""
        return int(self.total.shape[1])

    @property
    def a_day(self) -> FloatArray:
        """What a repeated day gains, (paths, 1)."""
        return np.asarray(self.total[:, -1:] - self.total[:, -1 - DAY_SLOTS : -DAY_SLOTS])

    def at(self, slots: IntArray) -> FloatArray:
        """What was gained before each of these slots, (paths, slots)."""
        here, days = folded(slots, self.laid)
        found = self.total.take(here, axis=1)
        if days.any():
            found += days * self.a_day
        return found

    def each(self, begin: int, end: int) -> FloatArray:
        """What each slot of a stretch gains, (paths, slots)."""
        return np.asarray(np.diff(self.at(np.arange(begin, end + 1)), axis=1))

    def first(self, target: FloatArray, side: Side) -> IntArray:
        """First slot at which a path has come to (side "right": past) a target, (paths, n)."""
        days = np.zeros(target.shape)
        ahead = target - self.total[:, -1:]
        if (ahead > 0.0).any():
            a_day = np.maximum(self.a_day, 1e-300)
            with np.errstate(over="ignore"):
                days = np.clip(np.ceil(ahead / a_day), 0.0, _MOST_DAYS)
            target = target - days * self.a_day
        found = np.empty(target.shape, dtype=np.int64)
        for path in range(target.shape[0]):
            found[path] = self.total[path].searchsorted(target[path], side=side)
        found += DAY_SLOTS * days.astype(np.int64)
        return found


def folded(slots: IntArray, laid: int) -> tuple[IntArray, IntArray]:
    """For slots past what is laid: the slot of the last day laid like it, and the days between."""
    days = np.maximum((slots - laid) // DAY_SLOTS + 1, 0)
    return slots - DAY_SLOTS * days, days


def lay(gained: FloatArray, line_s: FloatArray, at_s: FloatArray) -> Laid:
    """Sum what each interval (paths, n - 1) of a line of instants (n,) gains, up to each slot."""
    total = np.zeros((gained.shape[0], gained.shape[1] + 1))
    np.cumsum(gained, axis=1, out=total[:, 1:])
    left = np.clip(np.searchsorted(line_s, at_s, side="right") - 1, 0, line_s.size - 2)
    share = np.clip((at_s - line_s[left]) / (line_s[left + 1] - line_s[left]), 0.0, 1.0)
    table = gained.take(left, axis=1)
    table *= share
    table += total.take(left, axis=1)
    return Laid(table)
