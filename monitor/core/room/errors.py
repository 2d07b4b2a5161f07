"""How wrong the forecast may be: the errors it would have made at past moments of this log.

Whole stretches are drawn, so that errors grow with lead and stay alike from hour to hour,
and temperature and dew point err together. Each is brought from the size usual when it
arose to the size usual lately, which keeps the band as wide as it says through calm and
restless weeks. A thin log borrows the errors of a usual room.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from monitor.core.room.cold import usual_errors, usual_spread
from monitor.core.room.habits import LEADS_H
from monitor.core.room.learnt import EVERY_H, Lesson
from monitor.core.vocabulary import FloatArray

LEADS = np.array(LEADS_H, dtype=np.float64)
ENOUGH = 12  # past errors; with fewer all are borrowed
BORROW_DAYS = 2.0  # with this much log, half the paths carry a usual room's errors
WIDER = 0.3  # errors seen while learning flatter: widened by 1 + this / sqrt(days) ...
FEW_STRETCHES = 0.5  # ... and by this / how many stretches as long as the lead the log holds
FADE_H = 60 * 24.0
LATELY_H = 14 * 24
DOUBT = 24 // EVERY_H  # rows: a day of usual errors beside what lately tells


def drawn_errors(
    warm: Lesson, moist: Lesson, days: float, paths: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Errors (paths, leads) of temperature and dew point, drawn together, median zero.

    `days` of log are known. A path's own errors come from one past moment.
    """
    whole = np.flatnonzero(np.isfinite(warm.errors + moist.errors).all(axis=1))
    own = round(paths * days / (days + BORROW_DAYS)) if whole.size >= ENOUGH else 0
    picked = whole[_drawn(_weight(warm, whole), own, rng)] if own else whole[:0]
    known_days = max(days, 1.0)
    few = FEW_STRETCHES * np.maximum(LEADS, 12.0) / 24.0 / known_days
    wider = 1.0 + WIDER / np.sqrt(known_days) + few
    out = []
    for lesson in (warm, moist):
        seen = lesson.errors[picked] * wider * _to_lately(lesson, picked)
        lent = usual_errors(LEADS, days, paths - own, rng) * _restless(lesson, days)
        both = np.concatenate((seen, lent))
        out.append(both - np.median(both, axis=0))  # so the median path is the fitted middle
    return out[0], out[1]


def _weight(lesson: Lesson, rows: npt.NDArray[np.intp]) -> FloatArray:
    """Weight of past errors: a restless month says more of the next than last season."""
    ago_h = (lesson.origins[-1] - lesson.origins[rows]).astype(np.float64)
    return np.asarray(lesson.weight[rows] * np.exp(-ago_h / FADE_H))


def _drawn(weight: FloatArray, count: int, rng: np.random.Generator) -> npt.NDArray[np.intp]:
    """`count` rows by weight, evenly spread over the log: less chance than plain drawing."""
    total = np.cumsum(weight)
    marks = (np.arange(count) + rng.random()) / count * total[-1]
    return np.asarray(np.minimum(np.searchsorted(total, marks), weight.size - 1))


def _to_lately(lesson: Lesson, rows: npt.NDArray[np.intp]) -> FloatArray:
    """Factors (rows, leads): the mean error lately over that known when each error arose."""
    size = np.abs(lesson.errors)
    none = np.zeros((1, LEADS.size))
    total = np.concatenate((none, np.cumsum(np.nan_to_num(size), axis=0)))
    count = np.concatenate((none, np.cumsum(np.isfinite(size), axis=0)))
    then = lesson.origins[np.append(rows, lesson.origins.size - 1)]
    out = np.ones((rows.size, LEADS.size))
    for k, lead in enumerate(LEADS_H):
        upper = np.searchsorted(lesson.origins, then - lead, side="right")
        lower = np.searchsorted(lesson.origins, then - lead - LATELY_H, side="right")
        ever = total[-1, k] / max(count[-1, k], 1.0)
        seen = total[upper, k] - total[lower, k] + DOUBT * ever
        mean = seen / (count[upper, k] - count[lower, k] + DOUBT) + 1e-6
        out[:, k] = mean[-1] / mean[:-1]
    return out


def _restless(lesson: Lesson, days: float) -> float:
    """This room's errors over a usual room's, as far as the log shows them."""
    usual = 0.8 * usual_spread(LEADS, days)  # mean error of a bell curve is 0.8 of its spread
    ratio, told = 0.0, 0.0
    for k in range(LEADS.size):
        seen = lesson.errors[:, k]
        seen = seen[np.isfinite(seen)]
        if seen.size >= 4:
            ratio += seen.size * float(np.mean(np.abs(seen))) / float(usual[k])
            told += seen.size
    return (1.25 * 30.0 + ratio) / (30.0 + told)
