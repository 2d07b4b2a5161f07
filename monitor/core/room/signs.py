"""What a forecast looks at: past values that foretell the value `lead` hours on.

All are differences from the present value, so a forecast shifts with the sensor and a sign
that is not known yet is 0, which says 'as now'.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from monitor.core.room.hourly import NAN, same_hour_mean, trailing
from monitor.core.vocabulary import FloatArray

Rows = npt.NDArray[np.intp]

FULL = (
    "same hour, last day",
    "same hour, 2 days",
    "same hour, 7 days",
    "this hour, 7 days",
    "24 h ago",
    "mean of 1 day",
    "mean of 3 days",
    "mean of 7 days",
    "1 h ago",
    "3 h ago",
    "6 h ago",
    "12 h ago",
    "18 h ago",
    "mean of 28 days",
    "mean of 6 h, a day ago",
    "dew point, from its 7 days",
    "dew point, in a day",
    "dew point, its day from its 7 days",
    "dew point, in 6 h",
)
FEW = [0, 2, 3, 4, 5, 7, 8, 9]  # the columns that a room can learn by itself
SHAPE = 0.75  # of a day's swing carries on
PULL_FROM_H, PULL_A_DAY, PULL_MOST = 18, 0.15, 0.4  # chosen with whole houses left out


@dataclass(frozen=True)
class History:
    """One quantity by the hour and its running means, each (n,), the last entry now."""

    value: FloatArray
    over_2: FloatArray
    over_3: FloatArray
    over_7: FloatArray
    mean_6_h: FloatArray
    mean_1_d: FloatArray
    mean_3_d: FloatArray
    mean_7_d: FloatArray
    mean_28_d: FloatArray


def history(values: FloatArray) -> History:
    """The running means that the signs are made of."""
    return History(
        values,
        *(same_hour_mean(values, days) for days in (2, 3, 7)),
        *(trailing(values, hours) for hours in (6, 24, 72, 168, 672)),
    )


def at_rows(values: FloatArray, rows: Rows) -> FloatArray:
    return np.where(rows >= 0, values[np.maximum(rows, 0)], NAN)


def back_to_pattern(lead: int) -> int:
    """Hours from now back to the newest known hour at the clock time of now + lead."""
    return 24 * -(-lead // 24) - lead


def signs(of: History, other: History, rows: Rows, lead: int) -> FloatArray:
    """Signs (rows, columns of FULL) for `lead` hours after each of `rows`.

    `other` is the dew point beside the temperature, or the temperature beside a dew point.
    """
    now = of.value[rows]
    back = rows - back_to_pattern(lead)
    columns = [
        at_rows(of.value, back),
        at_rows(of.over_2, back),
        at_rows(of.over_7, back),
        at_rows(of.over_7, rows - 24),
        at_rows(of.value, rows - 24),
        of.mean_1_d[rows],
        of.mean_3_d[rows],
        of.mean_7_d[rows],
        *(at_rows(of.value, rows - ago) for ago in (1, 3, 6, 12, 18)),
        of.mean_28_d[rows],
        at_rows(of.mean_6_h, rows - 24),
    ]
    out = [column - now for column in columns]
    out += [
        other.value[rows] - other.mean_7_d[rows],
        other.value[rows] - at_rows(other.value, rows - 24),
        other.mean_1_d[rows] - other.mean_7_d[rows],
        other.value[rows] - at_rows(other.value, rows - 6),
    ]
    return np.nan_to_num(np.stack(out, axis=1), nan=0.0)


def pattern(of: History, rows: Rows, lead: int) -> FloatArray:
    """The three-day mean at the clock time of now + lead, from now; 0 where unknown."""
    return np.nan_to_num(at_rows(of.over_3, rows - back_to_pattern(lead)) - of.value[rows], nan=0.0)


def simple(lead: int) -> FloatArray:
    """Weights (columns of FULL) of a forecast that no room need teach.

    The day's shape of the week, from the present departure from it; from a day on a part of
    that departure is let go, which grows with lead. Other houses' weights mislead at a day
    ahead, this does not.
    """
    weights = np.zeros(len(FULL))
    there, here = FULL.index("same hour, 7 days"), FULL.index("this hour, 7 days")
    let_go = min(PULL_MOST, PULL_A_DAY * lead / 24.0) if lead >= PULL_FROM_H else 0.0
    if lead % 24 == 0:
        weights[there] = let_go  # there is here
    else:
        weights[there], weights[here] = SHAPE, let_go - SHAPE
    return weights
