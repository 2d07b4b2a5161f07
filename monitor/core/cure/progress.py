"""Cure along many rooms at once, with diffusion: how far each path has really come.

State is the position on the master curve, an age [h] that runs at most as fast as the
equivalent age A: d(age)/dA = 1/(1 + q), q = chemical speed / diffusion speed. So a cold
room can delay or forbid, never hasten. Within an interval ln q is nearly straight in age,
and the interval is solved in closed form up to one Halley iteration: stable at any length,
where an explicit rule would need steps of minutes once the piece vitrifies.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from monitor.core.physics.aging import rate_factor
from monitor.core.physics.kinetics import CureLaw
from monitor.core.physics.master import master_curve
from monitor.core.vocabulary import FloatArray

_NEGLIGIBLE = math.log(1e-5)  # below this share diffusion moves nothing that a page shows
_LEAST_H = 1e-12  # an interval this short cures nothing, and has a logarithm
_TABLE_NODES = 8192
_FLATTEST = 1e-9  # slopes of the table's far end, kept above 0
_BENT = 0.5  # growth of ln q over one interval beyond which its slope cannot stay the same
_DEEP_K = 18.0  # how far below its glass transition a stalling resin is


def cured_age(
    law: CureLaw, at_h: FloatArray, clock_age_h: FloatArray, temp_k: FloatArray
) -> FloatArray:
    """Position on the master curve [h] of each path at each instant, (paths, n).

    Every interval is one step. With ten-minute intervals, degree of cure is good to 1e-4
    even where a heater lifts the room by 4 K within one of them.

    Parameters
    ----------
    at_h
        Hours since the pour, rising, (n,), starting at 0.
    clock_age_h
        Equivalent age times the path's own speed [h], (paths, n).
    temp_k
        Mean temperature of the resin in each interval [K], (paths, n - 1).
    """
    if math.isinf(law.diffusion_s) or at_h.size < 2:
        return clock_age_h
    # By time first: each step then reads whole rows. A copy: one path's turn is a view.
    age_h = np.array(clock_age_h.T, order="C")
    gained_h = np.maximum(np.diff(age_h, axis=0), _LEAST_H)
    resin_k = _mobile_mean_k(law, temp_k.T)
    log_pace = np.log(gained_h / np.diff(at_h)[:, None]) - math.log(law.diffusion_s)
    start = _first_slowed(law, age_h, resin_k, log_pace)
    table = _table(law)
    here_h = age_h[start]
    for step in range(start, gained_h.shape[0]):
        log_q, slope = table.slowing(law, here_h, resin_k[step])
        q = np.exp(log_pace[step] + log_q)
        growth = _growth(slope * gained_h[step], q)
        if float(growth.max()) > _BENT:
            # ln q bends over so long a step: the slope of the chord instead of the tangent's.
            reach_h = growth / slope
            log_q_then, _ = table.slowing(law, here_h + reach_h, resin_k[step])
            slope = np.maximum((log_q_then - log_q) / reach_h, _FLATTEST)
            growth = _growth(slope * gained_h[step], q)
        here_h = here_h + growth / slope
        age_h[step + 1] = here_h
    # What rounding in the last place adds or takes must not make cure fall.
    np.maximum.accumulate(age_h, axis=0, out=age_h)
    return np.minimum(age_h.T, clock_age_h, order="C")


def clock_age(
    law: CureLaw,
    span_h: FloatArray,
    temp_k: FloatArray,
    speed: FloatArray | float = 1.0,
    ea_j_mol: FloatArray | float | None = None,
) -> FloatArray:
    """Equivalent age times the path's own speed [h] at each instant, (paths, n), from 0.

    `span_h` (n - 1,) and `temp_k` (paths, n - 1) are the intervals' lengths and mean
    temperatures; `speed` and `ea_j_mol` one for all or (paths, 1), the law's where not given.
    """
    gained_h = rate_factor(temp_k, law.ref_k, law.ea_j_mol if ea_j_mol is None else ea_j_mol)
    gained_h *= speed
    gained_h *= span_h
    return summed(gained_h)


def summed(gained: FloatArray) -> FloatArray:
    """Running total from 0 of what each interval gains: (paths, n - 1) to (paths, n)."""
    total = np.zeros((gained.shape[0], gained.shape[1] + 1))
    np.cumsum(gained, axis=1, out=total[:, 1:])
    return total


def _growth(chemical: FloatArray, q: FloatArray) -> FloatArray:
    """Root w of w + q (e^w - 1) = chemical: by how much ln q grows over one interval.

    One Halley step from above, on a convex function: good to 1e-3 of a long hot interval,
    to 1e-6 of a usual one.
    """
    root = np.minimum(chemical / (1.0 + q), np.log1p(chemical / q))
    grown = q * np.exp(root)
    excess = root + grown - (q + chemical)
    steepness = 1.0 + grown
    return np.asarray(root - excess / (steepness - 0.5 * excess * grown / steepness))


def _mobile_mean_k(law: CureLaw, temp_k: FloatArray) -> FloatArray:
    """The one temperature of each interval (n, paths) that lets the chains move as far.

    Mobility is nearly exponential in temperature: where the room ramps by d within an
    interval it gains ln(sinh z / z) / k over the mean, z = k d / 2 (here to 15 %).
    """
    moved_k = np.array(temp_k, order="C")
    if moved_k.shape[0] < 3:
        return moved_k
    per_k = law.wlf_c1 * law.wlf_c2_k / (law.wlf_c2_k + _DEEP_K) ** 2
    half = np.abs(moved_k[2:] - moved_k[:-2]) * (per_k / 4.0)
    moved_k[1:-1] += half * half / (half + 6.0) / per_k
    return moved_k


@dataclass(frozen=True, eq=False)
class _Table:
    """Columns of `rows` (nodes, 5), closest together at age 0: age [h], glass transition
    [K] and its slope [K/h], ln(k1 + k2 a^m) and its slope [1/h].
    """

    rows: FloatArray
    first_h: float
    per_log: float

    def slowing(
        self, law: CureLaw, age_h: FloatArray, resin_k: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """ln q at pace 1 and its slope in age [1/h], from the nearest node, each (paths,)."""
        place = (np.log1p(age_h / self.first_h) * self.per_log + 0.5).astype(np.intp)
        node_h, tg_k, tg_slope, log_speed, speed_slope = self.rows.take(
            place, axis=0, mode="clip"
        ).T
        past_h = age_h - node_h
        above_k = resin_k - tg_k - tg_slope * past_h
        distance_k = np.abs(above_k) + law.wlf_c2_k
        log_q = log_speed + speed_slope * past_h - law.wlf_c1 * above_k / distance_k
        slope = tg_slope * (law.wlf_c1 * law.wlf_c2_k / (distance_k * distance_k)) + speed_slope
        return log_q, slope


@lru_cache(maxsize=64)
def _table(law: CureLaw) -> _Table:
    """One law's curve on even steps of log age, to be read without a search."""
    curve = master_curve(law)
    first_h = float(curve.age_at(0.01 * law.alpha_max))
    per_log = (_TABLE_NODES - 1) / math.log1p(float(curve.age_h[-1]) / first_h)
    age_h = first_h * np.expm1(np.arange(_TABLE_NODES) / per_log)
    columns = [age_h]
    for values in (curve.tg_k, curve.log_speed):
        column = np.interp(age_h, curve.age_h, values)
        columns += [column, np.maximum(np.gradient(column, age_h), _FLATTEST)]
    return _Table(np.stack(columns, axis=1), first_h, per_log)


def _first_slowed(
    law: CureLaw, age_h: FloatArray, resin_k: FloatArray, log_pace: FloatArray
) -> int:
    """The first interval in which any path could feel diffusion, judged by its worst case."""
    curve = master_curve(law)
    tg_k = np.interp(age_h[1:].max(axis=1), curve.age_h, curve.tg_k)
    above_k = resin_k.min(axis=1) - tg_k
    mobility = law.wlf_c1 * above_k / (law.wlf_c2_k + np.abs(above_k))
    felt = log_pace.max(axis=1) + curve.log_speed[-1] - mobility > _NEGLIGIBLE
    return int(np.argmax(felt)) if felt.any() else felt.size


def isothermal_hours(law: CureLaw, temp_k: FloatArray | float, pace: float = 1.0) -> FloatArray:
    """Hours at a constant temperature to reach each node of the master curve.

    `temp_k` of any shape (...); `pace` is the resin's own speed; result (..., nodes).
    """
    slowed = slowing(law, temp_k, pace)
    steps = np.diff(master_curve(law).age_h) * (1.0 + (slowed[..., 1:] + slowed[..., :-1]) / 2.0)
    hours = np.zeros(slowed.shape)
    np.cumsum(steps, axis=-1, out=hours[..., 1:])
    temperature = np.asarray(temp_k, dtype=np.float64)[..., None]
    return np.asarray(hours / (pace * rate_factor(temperature, law.ref_k, law.ea_j_mol)))


def slowing(law: CureLaw, temp_k: FloatArray | float, pace: float = 1.0) -> FloatArray:
    """Chemical speed over diffusion speed at each node of the master curve, (..., nodes).

    Above 1, diffusion rules. Shapes as in `isothermal_hours`.
    """
    curve = master_curve(law)
    temperature = np.asarray(temp_k, dtype=np.float64)[..., None]
    if math.isinf(law.diffusion_s):
        return np.zeros((*temperature.shape[:-1], curve.age_h.size))
    above_k = temperature - curve.tg_k
    mobility = law.wlf_c1 * above_k / (law.wlf_c2_k + np.abs(above_k))
    quickness = pace * rate_factor(temperature, law.ref_k, law.ea_j_mol)
    return np.asarray(np.exp(curve.log_speed - mobility) * (quickness / law.diffusion_s))
