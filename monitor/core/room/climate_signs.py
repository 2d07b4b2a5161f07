"""What the net of climate.py sees of a log: shape, trend, dryness and how restless it is."""

from __future__ import annotations

import numpy as np

from monitor.core.room.hourly import trailing
from monitor.core.room.signs import History, Rows, at_rows
from monitor.core.vocabulary import FloatArray

AGO_H = (1, 2, 3, *range(6, 49, 3), 72, 96, 120, 144, 168)
CLOCK_H = range(0, 24, 3)
LATELY_H = 28 * 24
WEEK_H = 7 * 24
LEAST_C = 0.05  # a usual change smaller than this is the sensor's own ...
LEAST_OF_SWING = 0.2  # ... and smaller than this part of the week's spread, a clockwork's
MOST_USUAL = 6.0  # what is further off than so many usual changes says no more than this
USUAL_C, USUAL_DRY_C = 15.0, 5.0  # near the middle of what the net was taught


def inputs(of: History, other: History, rows: Rows) -> tuple[FloatArray, FloatArray]:
    """What the net sees (rows, columns), in usual changes in a day; and that change [K]."""
    value, now = of.value, of.value[rows]
    week = of.mean_7_d[rows]
    every = np.arange(value.size)
    swing = np.sqrt(np.maximum(trailing(value**2, WEEK_H)[rows] - week**2, 0.0))
    change = trailing(np.abs(value - at_rows(value, every - 24)), LATELY_H)[rows]
    change = np.where(np.isfinite(change), change, 0.5 * swing)
    usual_c = np.nan_to_num(np.maximum(change, LEAST_OF_SWING * swing)) + LEAST_C
    columns = [at_rows(value, rows - ago) - now for ago in AGO_H]
    columns += [
        mean[rows] - now
        for mean in (of.mean_6_h, of.mean_1_d, of.mean_3_d, of.mean_7_d, of.mean_28_d)
    ]
    columns += [at_rows(of.over_7, rows - ago) - now for ago in CLOCK_H]
    columns += [
        of.mean_1_d[rows] - at_rows(of.mean_1_d, rows - 24),
        other.value[rows] - other.mean_7_d[rows],
        other.value[rows] - at_rows(other.value, rows - 6),
        other.value[rows] - at_rows(other.value, rows - 24),
        other.mean_1_d[rows] - other.mean_7_d[rows],
    ]
    seen = np.nan_to_num(np.stack(columns, axis=1) / usual_c[:, None])
    dry = trailing(value - other.value, WEEK_H)[rows] / USUAL_DRY_C - 1.0
    place = np.stack(
        [
            np.clip(np.nan_to_num(dry), -3.0, 5.0),
            np.clip(np.nan_to_num(swing / usual_c), 0.0, 5.0) - 1.5,
            np.clip(np.log(usual_c), -3.0, 2.0),
            np.nan_to_num((week - USUAL_C) / 10.0),
        ],
        axis=1,
    )
    return np.concatenate((np.clip(seen, -MOST_USUAL, MOST_USUAL), place), axis=1), usual_c
