"""Stage times of an ensemble, and the band they make."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from monitor.core.cure.label import LabelClock
from monitor.core.physics.kinetics import CureLaw
from monitor.core.physics.master import master_curve
from monitor.core.vocabulary import FloatArray

LEVELS = (0.1, 0.5, 0.9)


@dataclass(frozen=True)
class Band:
    """When a stage comes: one in ten by `p10_s`, nine in ten by `p90_s`; None: not in sight."""

    p10_s: float | None
    p50_s: float | None
    p90_s: float | None


def stage_times(
    clock: LabelClock,
    law: CureLaw | None,
    at_s: FloatArray,
    clock_h: FloatArray,
    cured_h: FloatArray,
) -> FloatArray:
    """When each path comes to each stage, (paths, stages), rising; infinite: not in sight.

    A stage has come when the clock has come to its place and the cure to its demand.
    """
    needed_h = clock.age_h
    if law is not None:
        curve = master_curve(law)
        needed_h = np.where(clock.needs < law.alpha_max, curve.age_at(clock.needs), math.inf)
    times_s = np.empty((clock_h.shape[0], clock.age_h.size))
    for row in range(clock_h.shape[0]):
        by_clock = np.interp(clock.age_h, clock_h[row], at_s, right=math.inf)
        by_cure = np.interp(needed_h, cured_h[row], at_s, right=math.inf)
        times_s[row] = np.maximum(by_clock, by_cure)
    return np.asarray(np.maximum.accumulate(times_s, axis=1))


def bands(times_s: FloatArray) -> tuple[Band, ...]:
    """One band a stage from times (paths, stages); a level that falls on infinity is None."""
    ranked = np.sort(times_s, axis=0)
    last = ranked.shape[0] - 1
    found = []
    for column in ranked.T:
        levels = []
        for level in LEVELS:
            place = level * last
            low, high = column[math.floor(place)], column[math.ceil(place)]
            value = low if low == high else low + (high - low) * (place - math.floor(place))
            levels.append(float(value) if math.isfinite(value) else None)
        found.append(Band(*levels))
    return tuple(found)
