"""A log of any step, with gaps, as hourly values counted back from now."""

from __future__ import annotations

import numpy as np

from monitor.core.vocabulary import FloatArray

HOUR_S = 3_600.0
MEAN_S = 1_200.0  # each hourly value is the mean of its last 20 minutes: less noise, little lag
GAP_H = 6  # a gap this long is bridged by a straight line; a longer one stays a gap
JUMP_C = 2.5  # a step no less than this ...
JUMP_OF_USUAL = 2.5  # ... and so many times the room's largest usual change in three hours
SAME_LEVEL = 0.5  # of the step: nearer to habit than this, the step is taken back
LAST_H = 6
TRIM_FROM = 3
NAN = float("nan")


def hourly(at_s: FloatArray, values: FloatArray, now_s: float, hours: int) -> FloatArray:
    """Means (n,) at now - (n-1) h ... now; NaN in gaps. n <= `hours`, as the log reaches back."""
    if not at_s.size:
        return np.empty(0)
    reach = min(hours, int((now_s - at_s[0]) // HOUR_S) + 1)
    ends = now_s - HOUR_S * np.arange(reach - 1, -1, -1)
    total = np.concatenate(([0.0], np.cumsum(values)))
    upper = np.searchsorted(at_s, ends, side="right")
    out = np.full(reach, NAN)
    for window_s in (HOUR_S, MEAN_S):  # the narrow window where it has readings
        lower = np.searchsorted(at_s, ends - window_s, side="right")
        count = upper - lower
        some = count > 0
        out[some] = (total[upper[some]] - total[lower[some]]) / count[some]
    return bridged(out)


def bridged(values: FloatArray) -> FloatArray:
    """`values` with NaN runs of up to `GAP_H` filled by straight lines; the newest value held."""
    known = np.flatnonzero(np.isfinite(values))
    if known.size in (0, values.size):
        return values
    index = np.arange(values.size)
    filled = np.interp(index, known, values[known])
    after = np.searchsorted(known, index)
    left = known[np.maximum(after - 1, 0)]
    right = known[np.minimum(after, known.size - 1)]
    hole = ~np.isfinite(values) & (right - left > GAP_H)
    filled[hole | (index < known[0])] = NAN
    filled[known[-1] :] = values[known[-1]]
    return filled


def levelled(values: FloatArray) -> FloatArray:
    """History shifted to today's level where the sensor was moved: a step out of all habit.

    Not where the present level is the one from before the step: a night without heating, and
    the heater that ended it, moved nothing.
    """
    if values.size < 6:
        return values
    change = np.abs(values[3:] - values[:-3])
    change = change[np.isfinite(change)]
    if change.size < 3:
        return values
    limit = max(JUMP_C, JUMP_OF_USUAL * float(np.quantile(change, 0.97)))
    steps = np.nan_to_num(np.diff(values))
    out = values.copy()
    at = values.size - 1
    while at >= 1:
        low = max(0, at - 2)
        span = float(values[at] - values[low]) if np.isfinite(values[[at, low]]).all() else 0.0
        if abs(span) > limit:
            where = low + int(np.argmax(np.abs(steps[low:at]))) + 1
            if abs(_off_habit(out, where)) > SAME_LEVEL * abs(span):
                out[:where] += span
            at = low - 1
        else:
            at -= 1
    return out


def _off_habit(values: FloatArray, where: int) -> float:
    """How far the last hours lie from the same hours of the week before `where`."""
    recent = np.arange(max(where, values.size - LAST_H), values.size)
    back = recent - 24 * -(-(values.size - where) // 24)
    days = [back - 24 * day for day in range(7)]
    before = np.array([np.where(rows >= 0, values[np.maximum(rows, 0)], NAN) for rows in days])
    known = before[np.isfinite(before)]
    if not known.size:
        before, known = values[:where][None], values[:where][np.isfinite(values[:where])]
    if not known.size or not np.isfinite(values[recent]).any():
        return 0.0
    return float(np.nanmedian(values[recent]) - np.median(known))


def trailing(values: FloatArray, hours: int) -> FloatArray:
    """Mean (n,) of the last `hours` known values at each hour; NaN where too few are known."""
    known = np.isfinite(values)
    total = np.concatenate(([0.0], np.cumsum(np.where(known, values, 0.0))))
    count = np.concatenate(([0], np.cumsum(known)))
    end = np.arange(1, values.size + 1)
    start = np.maximum(end - hours, 0)
    many = count[end] - count[start]
    mean = (total[end] - total[start]) / np.maximum(many, 1)
    return np.where(many >= max(1, min(hours, 24) // 3), mean, NAN)


def same_hour_mean(values: FloatArray, days: int) -> FloatArray:
    """Mean (n,) of the values at this hour on the last `days` days, this one included.

    The lowest and the highest are left out where at least `TRIM_FROM` are known: one night
    without heating is no habit.
    """
    total, count = np.zeros(values.size), np.zeros(values.size)
    low, high = np.full(values.size, np.inf), np.full(values.size, -np.inf)
    for day in range(days):
        if 24 * day >= values.size:
            break
        shifted = values[: values.size - 24 * day]
        known = np.isfinite(shifted)
        total[24 * day :] += np.where(known, shifted, 0.0)
        count[24 * day :] += known
        low[24 * day :] = np.where(known, np.minimum(low[24 * day :], shifted), low[24 * day :])
        high[24 * day :] = np.where(known, np.maximum(high[24 * day :], shifted), high[24 * day :])
    trim = count >= TRIM_FROM
    total = total - np.where(trim, low, 0.0) - np.where(trim, high, 0.0)
    count -= 2.0 * trim
    return np.where(count > 0, total / np.maximum(count, 1), NAN)
