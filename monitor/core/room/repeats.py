"""Values that repeat too long: a frozen sensor, a humidity nailed to one value.

A steady room repeats too, above all at a resolution of 0.1. What counts as too long is
therefore a multiple of the longest runs this room usually shows.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from monitor.core.vocabulary import FloatArray

BoolArray = npt.NDArray[np.bool_]

FROZEN_ROWS = 15
FROZEN_S = 7_200.0
HABIT = 4.0  # times the run length that 99 in 100 runs of this room stay under
FEW_RUNS = 150  # with fewer runs than this the habit is not known, so be slow to judge
COARSE = 0.4  # share of repeats beyond which the resolution hides the room: be slower still
FLOOR_PCT, CEILING_PCT = 1.0, 99.9
ENTRY_JUMP_PCT = 8.0  # fog creeps up to 99.9; a fault leaps there
CREEP_S = 3 * 86_400.0  # and fog lifts
STUCK_S = 6 * 3_600.0
STUCK_SWING_C = 2.0  # temperature moved this much and humidity not at all


def run_bounds(same: BoolArray) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """First and one-past-last row of each run, `same[i]` saying row i repeats row i-1."""
    starts = np.flatnonzero(~same)
    return starts, np.append(starts[1:], same.size)


def frozen(at_s: FloatArray, temp_c: FloatArray, humidity_pct: FloatArray) -> BoolArray:
    """Rows (n,) of runs in which both channels repeat to the last digit for too long."""
    same = np.zeros(at_s.shape, dtype=bool)
    same[1:] = (np.diff(temp_c) == 0.0) & (np.diff(humidity_pct) == 0.0)
    starts, ends = run_bounds(same)
    lengths = ends - starts
    need_rows, need_s = _too_long(lengths)
    long = (lengths >= need_rows) & (np.abs(at_s[ends - 1] - at_s[starts]) >= need_s)
    return np.repeat(long, lengths)


def _too_long(lengths: npt.NDArray[np.intp]) -> tuple[float, float]:
    usual = float(np.quantile(lengths, 0.99)) if lengths.size else 1.0
    if lengths.size < FEW_RUNS:
        return max(2.0 * FROZEN_ROWS, HABIT * float(np.quantile(lengths, 0.9))), 2.0 * FROZEN_S
    repeats = 1.0 - lengths.size / max(1.0, float(lengths.sum()))
    habit = HABIT * (2.0 if repeats > COARSE else 1.0)
    return max(FROZEN_ROWS, habit * usual), FROZEN_S


def humidity_stuck(at_s: FloatArray, temp_c: FloatArray, humidity_pct: FloatArray) -> BoolArray:
    """Rows (n,) with humidity at an end of its scale by fault, or held while the room moved."""
    high = humidity_pct >= CEILING_PCT
    return (
        (humidity_pct <= FLOOR_PCT)
        | _leapt_high(at_s, humidity_pct, high)
        | _held(at_s, temp_c, humidity_pct)
    )


def _leapt_high(at_s: FloatArray, humidity_pct: FloatArray, high: BoolArray) -> BoolArray:
    if not high.any():
        return high
    same = np.zeros(high.shape, dtype=bool)
    same[1:] = high[1:] == high[:-1]
    starts, ends = run_bounds(same)
    before = np.where(starts > 0, humidity_pct[starts - 1], 100.0)
    after = np.where(ends < high.size, humidity_pct[np.minimum(ends, high.size - 1)], 100.0)
    leap = (100.0 - np.minimum(before, after)) > ENTRY_JUMP_PCT
    lasting = np.abs(at_s[ends - 1] - at_s[starts]) >= CREEP_S
    return np.repeat((leap | lasting) & high[starts], ends - starts)


def _held(at_s: FloatArray, temp_c: FloatArray, humidity_pct: FloatArray) -> BoolArray:
    same = np.zeros(at_s.shape, dtype=bool)
    same[1:] = np.diff(humidity_pct) == 0.0
    starts, ends = run_bounds(same)
    lengths = ends - starts
    need_rows, _ = _too_long(lengths)
    long = (lengths >= 2.0 * need_rows) & (np.abs(at_s[ends - 1] - at_s[starts]) >= STUCK_S)
    long &= humidity_pct[starts] < CEILING_PCT
    for run in np.flatnonzero(long):
        inside = temp_c[starts[run] : ends[run]]
        long[run] = float(np.ptp(inside)) >= STUCK_SWING_C
    return np.repeat(long, lengths)
