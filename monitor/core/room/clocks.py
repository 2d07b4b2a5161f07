"""Readings whose time cannot be believed: unset clocks, steps back, an hour stamped twice."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from monitor.core.room.flags import Flag
from monitor.core.vocabulary import FloatArray

BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]

EARLIEST_S = 978_220_800.0  # 2000-12-31: boards without a battery wake in 1970 or 2000
AHEAD_S = 300.0  # a reading may seem this much later than its arrival: clocks differ
TWIN_S = 1.5  # a DHT22 gives no new value sooner than 2 s
FEW_ROWS = 6  # an unset clock is soon set; longer overlaps are two logs joined, neither wrong
MAX_STEPS_BACK = 500  # beyond this the log is shuffled, not mis-stamped: sorting mends it


def judge_clock(
    at_s: FloatArray,
    temp_c: FloatArray,
    humidity_pct: FloatArray,
    received_s: FloatArray | None = None,
) -> IntArray:
    """Flags (n,) of times that cannot be right; rows are in order of arrival.

    With `received_s` late rows are no fault (an outbox empties after an outage); a row
    ahead of its own arrival is. Without it, time running back is the evidence.
    """
    flags = np.zeros(at_s.shape, dtype=np.int64)
    unset = ~np.isfinite(at_s) | (np.nan_to_num(at_s, nan=0.0) < EARLIEST_S)
    flags[unset] |= Flag.CLOCK
    if received_s is not None:
        ahead = np.isfinite(received_s) & ~unset & (at_s > received_s + AHEAD_S)
        flags[ahead] |= Flag.CLOCK
        return flags
    rows = np.flatnonzero(~unset & ~_delivered_before(at_s, temp_c, humidity_pct))
    flags[rows] |= _steps_back(at_s[rows])
    return flags


def _delivered_before(at_s: FloatArray, temp_c: FloatArray, humidity_pct: FloatArray) -> BoolArray:
    """Rows (n,) that repeat an earlier row, time and values: sent twice, harmless."""
    repeat = np.zeros(at_s.shape, dtype=bool)
    if not np.any(np.diff(at_s) < 0.0):
        return repeat
    order = np.lexsort((np.arange(at_s.size), at_s, humidity_pct, temp_c))
    twin = (np.diff(temp_c[order]) == 0.0) & (np.diff(humidity_pct[order]) == 0.0)
    twin &= np.abs(np.diff(at_s[order])) <= TWIN_S
    repeat[np.maximum(order[1:], order[:-1])[twin]] = True
    return repeat


def _steps_back(at_s: FloatArray) -> IntArray:
    flags = np.zeros(at_s.shape, dtype=np.int64)
    gaps = np.diff(at_s)
    backs = np.flatnonzero(gaps < 0.0) + 1
    if not 0 < backs.size <= MAX_STEPS_BACK:
        return flags
    step_s = float(np.median(gaps[gaps > 0.0])) if np.any(gaps > 0.0) else 60.0
    for back in backs:
        if flags[back]:
            continue
        newest = float(at_s[back - 1])
        before = int(back)
        while before > 0 and at_s[before - 1] >= at_s[back]:
            before -= 1
        after = int(back)
        while after < at_s.size and at_s[after] <= newest:
            after += 1
        first, second = slice(before, back), slice(back, after)
        lead_in_s = float(at_s[before] - at_s[before - 1]) if before > 0 else 0.0
        _judge_overlap(flags, first, second, newest - float(at_s[back]), lead_in_s, step_s)
    return flags


def _judge_overlap(
    flags: IntArray,
    first: slice,
    second: slice,
    step_back_s: float,
    lead_in_s: float,
    step_s: float,
) -> None:
    """Which of two stretches that claim one span of time is the wrong one."""
    ahead_s = lead_in_s - step_s
    an_hour = abs(ahead_s - 3600.0) <= 600.0
    if an_hour and step_back_s <= ahead_s + step_s:
        # The stamps jumped an hour ahead and then back: the stretch between is wrong.
        flags[first] |= Flag.DUPLICATE_HOUR
    elif abs(step_back_s + step_s - 3600.0) <= 900.0:
        # No jump ahead: which copy is right cannot be told.
        flags[first] |= Flag.DUPLICATE_HOUR
        flags[second] |= Flag.DUPLICATE_HOUR
    elif first.stop - first.start < min(second.stop - second.start, FEW_ROWS + 1):
        flags[first] |= Flag.CLOCK
    elif second.stop - second.start <= FEW_ROWS:
        flags[second] |= Flag.CLOCK
