"""Will this cure finish in this room, and what least warmth would finish it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from monitor.core.cure.progress import isothermal_hours, slowing
from monitor.core.physics.aging import ZERO_C_IN_K
from monitor.core.physics.kinetics import CureLaw
from monitor.core.physics.master import master_curve
from monitor.core.vocabulary import Remedy

JUDGED_AT_H = 7.0 * 24.0
PATIENCE_H = 24.0  # a warm cupboard for a day is something a person can do
LONGEST_H = 10.0 * 24.0
_SHORT = 1e-3


@dataclass(frozen=True)
class Stall:
    """Where the cure levels off in this room: its degree of cure, and the warmth to finish."""

    alpha: float
    remedy: Remedy | None


def stall(
    law: CureLaw,
    pace: float,
    age_h: float,
    elapsed_h: float,
    full_cure_at_h: float,
    need_alpha: float,
    room_c: float,
    warm_limit_c: float,
) -> Stall | None:
    """A cure that levels off short of `need_alpha` in a room of `room_c`; None where it won't.

    Judged seven days after the pour, or half as long again as this resin takes at this
    temperature (`full_cure_at_h`) where that is later. Being slow is no stall: only where
    diffusion, not chemistry, holds it back by then.
    """
    curve = master_curve(law)
    room_k = room_c + ZERO_C_IN_K
    taken_h = isothermal_hours(law, room_k, pace)
    begun_h = float(np.interp(age_h, curve.age_h, taken_h))
    wait_h = max(max(JUDGED_AT_H, 1.5 * full_cure_at_h) - max(elapsed_h, 0.0), 0.0)
    then_h = float(np.interp(begun_h + wait_h, taken_h, curve.age_h))
    alpha = float(curve.alpha_at(then_h))
    if need_alpha > law.alpha_max or alpha >= need_alpha - _SHORT:
        return None
    slowed = slowing(law, room_k, pace)
    if float(np.interp(then_h, curve.age_h, slowed)) < 1.0:
        return None
    # Warmth is for a piece gone hard, whenever its maker gets round to it from then on.
    hard_h = float(curve.age_h[int(np.argmax(slowed >= 1.0))])
    from_h = min(max(age_h, hard_h), then_h)
    return Stall(alpha, _least_warmth(law, pace, from_h, need_alpha, room_c, warm_limit_c))


def _least_warmth(
    law: CureLaw, pace: float, age_h: float, need_alpha: float, room_c: float, limit_c: float
) -> Remedy | None:
    """The coolest whole degree that finishes within a day; else the quickest allowed."""
    temps_c = np.arange(math.floor(room_c) + 1.0, math.floor(limit_c) + 1.0)
    if not temps_c.size:
        return None
    curve = master_curve(law)
    taken_h = isothermal_hours(law, temps_c + ZERO_C_IN_K, pace)
    goal_h = float(curve.age_at(need_alpha))
    hours = np.array(
        [
            np.interp(goal_h, curve.age_h, row) - np.interp(age_h, curve.age_h, row)
            for row in taken_h
        ]
    )
    soon = np.flatnonzero(hours <= PATIENCE_H)
    best = int(soon[0]) if soon.size else int(np.argmin(hours))
    if hours[best] > LONGEST_H:
        return None
    return Remedy(float(temps_c[best]), float(max(math.ceil(hours[best]), 1)))
