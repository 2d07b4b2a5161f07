"""What a room has taught: the middle of its future and how wrong that has been.

Forecasts with different appetites are averaged: one looks at many signs and leans on other
rooms, one looks at few and leans on nothing but `signs.simple`, and, for temperature, one is
the weather's own way (climate.py), which no room need teach. They err for different reasons,
so their mean errs less than any of them. Each lead is fitted by itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from monitor.core.room.habits import LEADS_H
from monitor.core.room.hourly import HOUR_S
from monitor.core.room.lean import fit
from monitor.core.room.signs import FEW, FULL, History, Rows, pattern, signs, simple
from monitor.core.vocabulary import FloatArray

TEACH_H = 90 * 24  # older than this teaches nothing: the season has changed
EVERY_H = 2
FADE_H = 45 * 24.0  # a day's weight falls by e in this time
SAME_HOUR_H, ANY_HOUR = 3.0, 0.3  # morning teaches the morning; other hours count this much
LEAN_FULL, LEAN_FEW = 300.0, 120.0  # a room needs so many days to outweigh its start, 72 h on
LEAN_GROWS, LEAN_LEAST_H = 1.5, 6  # ... and days ~ lead ** this: near, its own ways show sooner
FIRST_LESSON_H = 12
LESSONS = 24
OTHER_DAYS = 0.6
WEEKEND_SEEN_H = 21 * 24.0  # three weekends: before that a weekend is not told from weather
ALL = list(range(len(FULL)))
# A usual change within the sensor's repeatability (0.2 K) is noise, and noise foretells nothing.
STEADY_ALL_C, STEADY_NONE_C = 0.15, 0.3
GENERAL = 0.5  # part of what is lent in the mean, unless it misses this room's past ...
MISFIT_FROM, MISFIT_TO = 1.25, 1.6  # ... by so many times the error of the room's own fit
STILL_FROM, STILL_TO = 1.05, 1.2  # the starts' error in this room, over that of 'as now'


@dataclass(frozen=True)
class Lesson:
    """`middle` (leads,) from now; `errors` (m, leads) of m past origins, `weight` (m,).

    `still` (leads,) is 1 where the room is best foretold as it is now, else less.
    """

    middle: FloatArray
    errors: FloatArray
    weight: FloatArray
    origins: npt.NDArray[np.intp]
    still: FloatArray


def learn(
    of: History,
    other: History,
    habits: FloatArray,
    local_now_s: float | None = None,
    lent: Callable[[History, History, Rows], FloatArray] | None = None,
) -> Lesson:
    """Fit every lead on the log's own past; rows still lacking their future hold NaN errors.

    `lent` foretells changes (rows, leads) by itself; it is half of the mean where it fits.
    """
    last = of.value.size - 1
    first = max(min(FIRST_LESSON_H, last), last - TEACH_H)
    origins: Rows = np.arange(last, first - 1, -EVERY_H)[::-1]
    origins = origins[np.isfinite(of.value[origins])]
    ago = (last - origins).astype(np.float64)
    off = np.abs((ago + 12.0) % 24.0 - 12.0)
    weight = np.exp(-ago / FADE_H) * (ANY_HOUR + np.exp(-0.5 * (off / SAME_HOUR_H) ** 2))
    middle = np.zeros(len(LEADS_H))
    still = np.zeros(len(LEADS_H))
    errors = np.full((origins.size, len(LEADS_H)), np.nan)
    general = None if lent is None else lent(of, other, origins)
    for k, lead in enumerate(LEADS_H):
        sight = signs(of, other, origins, lead)
        future = origins + lead
        taught = weight * _day_kind(ago, lead, local_now_s)
        target = of.value[np.minimum(future, last)] - of.value[origins]
        known = (future <= last) & np.isfinite(target)
        share = (max(lead, LEAN_LEAST_H) / LEADS_H[-1]) ** LEAN_GROWS
        guess = np.zeros(origins.size)
        starts = np.zeros(origins.size)
        for columns, start, days in (
            (ALL, habits[k], LEAN_FULL * share),
            (FEW, simple(lead)[FEW], LEAN_FEW * share),
        ):
            one = sight[:, columns]
            b = _lesson(one[known], target[known], taught[known], start, days)
            guess += 0.5 * (one @ b)
            starts += 0.5 * (one @ start)
        still[k] = _stillness(target[known], starts[known], taught[known])
        if general is not None:
            part = GENERAL * _fits(target[known], general[known, k], guess[known], taught[known])
            guess += part * (general[:, k] - guess)
        guess *= 1.0 - still[k]
        errors[known, k] = target[known] - guess[known]
        middle[k] = guess[-1]
    return Lesson(middle, errors, weight, origins, still)


def _day_kind(ago: FloatArray, lead: int, local_now_s: float | None) -> FloatArray | float:
    """Less weight for weekdays where a weekend is to be foretold, and the other way round."""
    if local_now_s is None or ago[0] < WEEKEND_SEEN_H:
        return 1.0
    weekend = _weekend(local_now_s + HOUR_S * (lead - np.append(ago, 0.0)))
    return np.where(weekend[:-1] == weekend[-1], 1.0, OTHER_DAYS)


def _weekend(local_s: FloatArray) -> npt.NDArray[np.bool_]:
    return np.asarray((local_s // 86_400.0 + 3.0) % 7.0 >= 5.0)  # 1970 began on a Thursday


def _lesson(
    sight: FloatArray, target: FloatArray, weight: FloatArray, start: FloatArray, days: float
) -> FloatArray:
    if target.size < LESSONS:
        return start
    scale = float(np.median(np.abs(target - sight @ start))) + 0.02
    sight, target = sight / scale, target / scale
    lean = days * (sight.T @ sight / target.size + 0.02 * np.eye(sight.shape[1]))
    return fit(sight, target, weight * EVERY_H / 24.0, start, lean)


def _stillness(target: FloatArray, starts: FloatArray, weight: FloatArray) -> float:
    """How far (0..1) this room is one where 'as now' beats what the fits start from."""
    if target.size < LESSONS:
        return 0.0
    usual_c = float(np.median(np.abs(target)))
    steady = (STEADY_NONE_C - usual_c) / (STEADY_NONE_C - STEADY_ALL_C)
    as_now = float(weight @ np.abs(target)) + 1e-9
    worse = float(weight @ np.abs(target - starts)) / as_now
    return float(np.clip(max(steady, (worse - STILL_FROM) / (STILL_TO - STILL_FROM)), 0.0, 1.0))


def _fits(target: FloatArray, lent: FloatArray, own: FloatArray, weight: FloatArray) -> float:
    """1 where what is lent has erred little more than the room's own fit, falling to 0."""
    if target.size < LESSONS:
        return 1.0
    worse = float(weight @ np.abs(target - lent)) / (float(weight @ np.abs(target - own)) + 1e-9)
    return float(np.clip((MISFIT_TO - worse) / (MISFIT_TO - MISFIT_FROM), 0.0, 1.0))


def shape(of: History, hours: int) -> FloatArray:
    """The recent daily pattern at each hour 0..hours from now, relative to now."""
    last = np.array([of.value.size - 1])
    ahead = [float(pattern(of, last, hour)[0]) for hour in range(1, hours + 1)]
    return np.array([0.0, *ahead])
