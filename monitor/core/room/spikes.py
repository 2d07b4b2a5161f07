"""Single values that leave their neighbours and come straight back, and two rooms in turn."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from monitor.core.vocabulary import FloatArray

BoolArray = npt.NDArray[np.bool_]

SPIKE_C, SPIKE_PCT = 1.5, 8.0  # a bit error moves more; a room's air does not return so fast
OF_NOISE = 8.0  # times the usual step between neighbours here
RETURN = 0.35  # the neighbours agree with each other to this part of the excursion
NEAR_STEPS, NEAR_S = 4.0, 7_200.0  # neighbours further apart say nothing
NEWEST = 2.0  # an unconfirmed newest value must leap this much further
MIXED_WINDOW, MIXED_LEAPS = 24, 8
MIXED_C, MIXED_PCT = 1.0, 5.0


def _near_s(at_s: FloatArray) -> float:
    gaps = np.abs(np.diff(at_s))
    return max(NEAR_S, NEAR_STEPS * float(np.median(gaps))) if gaps.size else NEAR_S


def _noise(values: FloatArray) -> FloatArray:
    """Usual step between neighbours, a median over blocks of 48 rows, shape (n,)."""
    steps = np.abs(np.diff(values, prepend=values[:1]))
    block = 48
    padded = np.full(-(-steps.size // block) * block, np.nan)
    padded[: steps.size] = np.nan_to_num(steps)
    return np.repeat(np.nanmedian(padded.reshape(-1, block), axis=1), block)[: steps.size]


def spikes(at_s: FloatArray, temp_c: FloatArray, humidity_pct: FloatArray) -> BoolArray:
    """Rows (n,) that are spikes in either channel; a NaN humidity is not judged."""
    near_s = _near_s(at_s)
    found = _channel(at_s, temp_c, SPIKE_C, near_s)
    rows = np.flatnonzero(np.isfinite(humidity_pct))
    found[rows] |= _channel(at_s[rows], humidity_pct[rows], SPIKE_PCT, near_s)
    return found


def _channel(at_s: FloatArray, values: FloatArray, floor: float, near_s: float) -> BoolArray:
    found = np.zeros(values.shape, dtype=bool)
    if values.size < 3:
        return found
    limit = np.maximum(floor, OF_NOISE * _noise(values))
    for width, times in ((1, 1.0), (2, 2.0)):
        if values.size < width + 2:
            break
        left, right = values[: -width - 1], values[width + 1 :]
        near = np.abs(at_s[width + 1 :] - at_s[: -width - 1]) <= near_s
        out = np.full(left.shape, np.inf)
        for inside in range(1, width + 1):
            value = values[inside : values.size - width - 1 + inside]
            above = np.minimum(value - left, value - right)
            below = np.minimum(left - value, right - value)
            out = np.minimum(out, np.maximum(above, below))
        hit = near & (out > times * limit[1:-width]) & (np.abs(right - left) < RETURN * out)
        for inside in range(1, width + 1):
            found[inside : values.size - width - 1 + inside] |= hit
    leap = abs(float(values[-1] - values[-2]))
    if at_s[-1] - at_s[-2] <= near_s and leap > NEWEST * limit[-1]:
        found[-1] = True
    return found


def two_rooms(at_s: FloatArray, temp_c: FloatArray, humidity_pct: FloatArray) -> BoolArray:
    """Rows (n,) where values leap to and fro between two levels, again and again."""
    return _to_and_fro(temp_c, MIXED_C) | _to_and_fro(humidity_pct, MIXED_PCT)


def _to_and_fro(values: FloatArray, floor: float) -> BoolArray:
    mixed = np.zeros(values.shape, dtype=bool)
    steps = np.diff(values)
    leaps = np.flatnonzero(np.abs(steps) > floor)
    if leaps.size < MIXED_LEAPS:
        return mixed
    sizes = steps[leaps]
    # A leap that undoes the one before it, near enough in size and in time.
    undone = (sizes[1:] * sizes[:-1] < 0.0) & (
        np.abs(sizes[1:] + sizes[:-1]) < 0.5 * np.abs(sizes[1:])
    )
    undone &= np.diff(leaps) <= MIXED_WINDOW // 2
    marks = np.zeros(values.size)
    marks[leaps[1:][undone]] = 1.0
    total = np.cumsum(np.concatenate(([0.0], marks)))
    for start in np.flatnonzero(
        total[np.minimum(np.arange(values.size) + MIXED_WINDOW, values.size)] - total[: values.size]
        >= MIXED_LEAPS - 1
    ):
        mixed[start : start + MIXED_WINDOW + 1] = True
    return mixed
