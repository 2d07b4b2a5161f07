"""How far a room follows the weather outside, learnt from what the forecast missed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from monitor.core.room.habits import LEADS_H
from monitor.core.room.hourly import HOUR_S
from monitor.core.room.learnt import Lesson
from monitor.core.vocabulary import FloatArray, RoomSeries

DOUBT = 10.0 * 12.0  # rows: ten days of lessons halve the doubt that the room follows at all
NEEDED = 60  # rows with weather known on both sides


def outdoor_pull(lesson: Lesson, outdoor: RoomSeries, now_s: float) -> Lesson:
    """The lesson with the part that the coming weather explains taken up.

    For each lead: past errors against the change of the outdoor mean over the lead's last
    day from the day before the origin. Leads that the outdoor series does not reach stay.
    """
    if outdoor.at_s.size < 2:
        return lesson
    total = np.concatenate(
        ([0.0], np.cumsum(np.diff(outdoor.at_s) * (outdoor.temp_c[1:] + outdoor.temp_c[:-1]) / 2))
    )

    def day_mean(end_s: FloatArray) -> FloatArray:
        begin_s = end_s - 24.0 * HOUR_S
        inside = (begin_s >= outdoor.at_s[0]) & (end_s <= outdoor.at_s[-1] + HOUR_S)
        upper = np.interp(end_s, outdoor.at_s, total)
        lower = np.interp(begin_s, outdoor.at_s, total)
        return np.where(inside, (upper - lower) / (24.0 * HOUR_S), np.nan)

    origin_s = now_s - HOUR_S * (lesson.origins[-1] - lesson.origins)
    before = day_mean(origin_s)
    middle, errors = lesson.middle.copy(), lesson.errors.copy()
    for k, lead in enumerate(LEADS_H):
        change = day_mean(origin_s + lead * HOUR_S) - before
        known = np.isfinite(change) & np.isfinite(errors[:, k])
        if np.count_nonzero(known) < NEEDED or not np.isfinite(change[-1]):
            continue
        weight, seen = lesson.weight[known], change[known]
        doubt = DOUBT * float(weight.mean() * np.mean(seen**2))
        follow = float(weight @ (seen * errors[known, k])) / (float(weight @ seen**2) + doubt)
        middle[k] += follow * change[-1]
        errors[known, k] -= follow * seen
    return replace(lesson, middle=middle, errors=errors)
