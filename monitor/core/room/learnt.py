"""What a room has taught: the middle of its future and how wrong that has been.

Two forecasts with different appetites are averaged: one that looks at many signs and leans
on other rooms, one that looks at few and follows this room. Each lead is fitted by itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from monitor.core.room.habits import LEADS_H, Habits
from monitor.core.room.lean import fit
from monitor.core.room.signs import FEW, History, Rows, pattern, signs
from monitor.core.vocabulary import FloatArray

TEACH_H = 90 * 24  # older than this teaches nothing: the season has changed
EVERY_H = 2
FADE_H = 45 * 24.0  # a day's weight falls by e in this time
SAME_HOUR_H, ANY_HOUR = 3.0, 0.3  # morning teaches the morning; other hours count this much
LEAN_FULL, LEAN_FEW = 150.0, 30.0  # a room needs so many days to outweigh the others
FIRST_LESSON_H = 12
LESSONS = 24


@dataclass(frozen=True)
class Lesson:
    """`middle` (leads,) from now; `errors` (m, leads) of m past origins, `weight` (m,)."""

    middle: FloatArray
    errors: FloatArray
    weight: FloatArray
    origins: npt.NDArray[np.intp]


def learn(of: History, other: History | None, habits: Habits) -> Lesson:
    """Fit every lead on the log's own past; rows still lacking their future hold NaN errors."""
    last = of.value.size - 1
    first = max(min(FIRST_LESSON_H, last), last - TEACH_H)
    origins: Rows = np.arange(last, first - 1, -EVERY_H)[::-1]
    origins = origins[np.isfinite(of.value[origins])]
    ago = (last - origins).astype(np.float64)
    off = np.abs((ago + 12.0) % 24.0 - 12.0)
    weight = np.exp(-ago / FADE_H) * (ANY_HOUR + np.exp(-0.5 * (off / SAME_HOUR_H) ** 2))
    middle = np.zeros(len(LEADS_H))
    errors = np.full((origins.size, len(LEADS_H)), np.nan)
    for k, lead in enumerate(LEADS_H):
        sight = signs(of, other, origins, lead)
        future = origins + lead
        target = of.value[np.minimum(future, last)] - of.value[origins]
        known = (future <= last) & np.isfinite(target)
        few = FEW
        guess = np.zeros(origins.size)
        for columns, start, days in (
            (tuple(range(sight.shape[1])), habits.full[k][: sight.shape[1]], LEAN_FULL),
            (few, habits.few[k], LEAN_FEW),
        ):
            one = sight[:, columns]
            b = _lesson(one[known], target[known], weight[known], start, days)
            guess += 0.5 * (one @ b)
        errors[known, k] = target[known] - guess[known]
        middle[k] = guess[-1]
    return Lesson(middle, errors, weight, origins)


def _lesson(
    sight: FloatArray, target: FloatArray, weight: FloatArray, start: FloatArray, days: float
) -> FloatArray:
    if target.size < LESSONS:
        return start
    scale = float(np.mean(np.abs(target - sight @ start))) + 0.02
    sight, target = sight / scale, target / scale
    lean = days * (sight.T @ sight / target.size + 0.02 * np.eye(sight.shape[1]))
    return fit(sight, target, weight * EVERY_H / 24.0, start, lean)


def shape(of: History) -> FloatArray:
    """The recent daily pattern at each hour 1..72 from now, relative to now."""
    last = np.array([of.value.size - 1])
    hours = range(1, LEADS_H[-1] + 1)
    return np.array([float(pattern(of, last, hour)[0]) for hour in hours])
