"""By how much diffusion delays the late stages: sanding, demoulding, full cure.

Reckoned for a few pour starts and laid between them: it changes slowly with the start.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from monitor.core.cure.label import LabelClock
from monitor.core.cure.plan_grid import DAY_SLOTS, SLOT_S, IntArray, Laid
from monitor.core.cure.progress import cured_age
from monitor.core.physics.aging import ZERO_C_IN_K
from monitor.core.physics.kinetics import CureLaw
from monitor.core.physics.master import master_curve
from monitor.core.vocabulary import FloatArray

WITH_DIFFUSION = ("sandable", "demouldable", "full_cure")
STARTS = (0, DAY_SLOTS + DAY_SLOTS // 2, 3 * DAY_SLOTS)

_HOUR_SLOTS = int(3600.0 / SLOT_S)
_AT_H = np.concatenate((np.arange(0.0, 48.0, 2.0), np.arange(48.0, 14 * 24 + 1.0, 6.0)))
_NEVER_H = 1e5


def lags(
    law: CureLaw, label: LabelClock, age_h: Laid, warmth: Laid, starts: IntArray, seen: int
) -> Mapping[str, FloatArray]:
    """Slots by which each late stage is delayed, (paths, starts); huge: never.

    `seen` is how many slots there are in sight. All starts of all paths run together, on
    hours since the pour.
    """
    at_h = _AT_H[: np.searchsorted(_AT_H, (seen - int(starts[-1])) / _HOUR_SLOTS)]
    at = (starts[:, None] + (_HOUR_SLOTS * at_h).astype(np.int64)).ravel()
    shape = (-1, starts.size, at_h.size)
    at_age_h = age_h.at(at).reshape(shape)
    paths = at_age_h.shape[0]
    aged_h = (at_age_h - at_age_h[:, :, :1]).reshape(-1, at_h.size)
    spans = _HOUR_SLOTS * np.diff(at_h)
    mean_c = np.diff(warmth.at(at).reshape(shape), axis=2).reshape(-1, at_h.size - 1) / spans
    cured_h = cured_age(law, at_h, aged_h, mean_c + ZERO_C_IN_K)
    curve = master_curve(law)
    found = {}
    for stage in WITH_DIFFUSION:
        if stage not in label.keys:
            continue
        need = label.need_of(stage)
        need_h = float(curve.age_at(need)) if need < law.alpha_max else math.inf
        late_h = _reached(cured_h, at_h, need_h, _NEVER_H)
        late_h -= _reached(aged_h, at_h, label.age_of(stage), float(at_h[-1]))
        found[stage] = _HOUR_SLOTS * np.maximum(late_h, 0.0).reshape(paths, starts.size)
    return found


def _reached(age_h: FloatArray, at_h: FloatArray, target_h: float, never_h: float) -> FloatArray:
    """Hours at which rising ages (paths, n) come to a target, on straight lines, (paths,)."""
    right = np.count_nonzero(age_h <= target_h, axis=1)
    inside = np.clip(right, 1, at_h.size - 1)
    path = np.arange(age_h.shape[0])
    before_h, after_h = age_h[path, inside - 1], age_h[path, inside]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (target_h - before_h) / (after_h - before_h)
    hours = at_h[inside - 1] + share * (at_h[inside] - at_h[inside - 1])
    found = np.where(right >= at_h.size, never_h, hours)
    found[age_h[:, -1] == target_h] = at_h[-1]
    return np.asarray(found)
