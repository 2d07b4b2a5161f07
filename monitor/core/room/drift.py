"""A humidity that marches one way for weeks while the air holds its temperature.

One sensor alone cannot tell drift from weather; this speaks only where the march is far
steadier than weather is, and it is a warning: the readings stay in use.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from monitor.core.vocabulary import FloatArray

BoolArray = npt.NDArray[np.bool_]

DAY_S = 86_400.0
SPAN_DAYS = 21
MARCH_PCT = 12.0  # over the span
STEADY = 0.93  # part of the days' variance the straight line explains
HELD_C = 1.5  # temperature's daily mean stays within this


def drifting(at_s: FloatArray, temp_c: FloatArray, humidity_pct: FloatArray) -> BoolArray:
    """Rows (n,) inside a span of 21 days whose daily mean humidity marches one way."""
    found = np.zeros(at_s.shape, dtype=bool)
    if at_s.size < SPAN_DAYS:
        return found
    day = ((at_s - at_s.min()) // DAY_S).astype(np.int64)
    if day.max() > 10_000:
        return found
    count = np.bincount(day).astype(np.float64)
    with np.errstate(invalid="ignore"):
        humid = np.bincount(day, humidity_pct) / count
        warm = np.bincount(day, temp_c) / count
    x = np.arange(SPAN_DAYS, dtype=np.float64)
    x -= x.mean()
    wrong = np.zeros(count.size, dtype=bool)
    for start in range(count.size - SPAN_DAYS + 1):
        h, t = humid[start : start + SPAN_DAYS], warm[start : start + SPAN_DAYS]
        if not np.isfinite(h).all() or np.ptp(t) > 2.0 * HELD_C:
            continue
        slope = float(x @ h / (x @ x))
        spread = float(np.sum((h - h.mean()) ** 2))
        if abs(slope) * SPAN_DAYS >= MARCH_PCT and slope**2 * float(x @ x) >= STEADY * spread:
            wrong[start : start + SPAN_DAYS] = True
    return np.asarray(wrong[day])
