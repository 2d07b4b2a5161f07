"""Cure along many rooms at once, with diffusion: how far each path has really come.

State is the position on the master curve, an age [h] that runs at most as fast as the
equivalent age A: d(age)/dA = 1/(1 + q), q = chemical speed / diffusion speed. So a cold
room can delay or forbid, never hasten. Within a step ln q is nearly straight in age,
and the step is solved in closed form up to one Newton iteration: stable at any length,
where an explicit rule would need steps of minutes once the piece vitrifies.
"""

from __future__ import annotations

import math

import numpy as np

from monitor.core.physics.aging import rate_factor
from monitor.core.physics.kinetics import CureLaw
from monitor.core.physics.master import MasterCurve, master_curve
from monitor.core.vocabulary import FloatArray

_NEGLIGIBLE = math.log(1e-6)  # below this share diffusion moves nothing that a page shows
_LOG_LOW, _LOG_HIGH = -60.0, 60.0
_NEWTON_STEPS = 4
_DEEP_K = 18.0  # how far below its glass transition a stalling resin is


def cured_age(
    law: CureLaw,
    at_h: FloatArray,
    clock_age_h: FloatArray,
    temp_k: FloatArray,
    step_at_h: FloatArray,
) -> FloatArray:
    """Position on the master curve [h] of each path at each instant, (paths, n).

    Parameters
    ----------
    at_h
        Hours since the pour, rising, (n,), starting at 0.
    clock_age_h
        Equivalent age times the path's own speed [h], (paths, n).
    temp_k
        Temperature of the resin in each interval [K], (paths, n - 1).
    step_at_h
        Instants at which the slowing is recomputed; between them it is interpolated.
    """
    if math.isinf(law.diffusion_s) or at_h.size < 2:
        return clock_age_h
    curve = master_curve(law)
    nodes = np.unique(np.clip(np.searchsorted(at_h, step_at_h), 0, at_h.size - 1))
    nodes = np.unique(np.concatenate(([0], nodes, [at_h.size - 1])))
    spans_h = np.diff(at_h[nodes])
    gained_h = np.diff(clock_age_h[:, nodes], axis=1)
    mean_k = _mobile_mean_k(law, temp_k, np.diff(at_h), nodes, spans_h)
    with np.errstate(divide="ignore"):
        log_pace = np.log(gained_h / spans_h)
    start = _first_slowed(law, curve, clock_age_h[:, nodes[1:]], mean_k, log_pace)
    if start >= spans_h.size:
        return clock_age_h
    lag_h = np.zeros((clock_age_h.shape[0], nodes.size))
    age_h = clock_age_h[:, nodes[start]].copy()
    for step in range(start, spans_h.size):
        age_h = age_h + _advance(
            law, curve, age_h, gained_h[:, step], mean_k[:, step], log_pace[:, step]
        )
        lag_h[:, step + 1] = clock_age_h[:, nodes[step + 1]] - age_h
    before = np.clip(
        np.searchsorted(nodes, np.arange(at_h.size), side="right") - 1, 0, nodes.size - 2
    )
    share = (at_h - at_h[nodes[before]]) / spans_h[before]
    lag = lag_h[:, before] * (1.0 - share) + lag_h[:, before + 1] * share
    # The lag is straight between its nodes while the clock is not; age must not fall.
    return np.asarray(np.maximum.accumulate(clock_age_h - np.maximum(lag, 0.0), axis=1))


def _mobile_mean_k(
    law: CureLaw, temp_k: FloatArray, lengths_h: FloatArray, nodes: np.ndarray, spans_h: FloatArray
) -> FloatArray:
    """The one temperature of each step that lets the chains move as far as its parts do.

    Mobility is nearly exponential in temperature, so a warm hour counts for more than its
    share of the mean.
    """
    per_k = law.wlf_c1 * law.wlf_c2_k / (law.wlf_c2_k + _DEEP_K) ** 2
    base_k = temp_k.mean(axis=1, keepdims=True)
    moved = np.exp(per_k * (temp_k - base_k)) * lengths_h
    return np.asarray(base_k + np.log(np.add.reduceat(moved, nodes[:-1], axis=1) / spans_h) / per_k)


def isothermal_hours(law: CureLaw, temp_k: FloatArray | float, pace: float = 1.0) -> FloatArray:
    """Hours at a constant temperature to reach each node of the master curve.

    `temp_k` of any shape (...); `pace` is the resin's own speed; result (..., nodes).
    """
    curve = master_curve(law)
    temperature = np.asarray(temp_k, dtype=np.float64)[..., None]
    quickness = pace * rate_factor(temperature, law.ref_k, law.ea_j_mol)
    slowed = np.exp(_log_slowing(law, curve.log_speed, curve.tg_k, temperature, np.log(quickness)))
    steps = np.diff(curve.age_h) * (1.0 + (slowed[..., 1:] + slowed[..., :-1]) / 2.0)
    hours = np.zeros(slowed.shape)
    np.cumsum(steps, axis=-1, out=hours[..., 1:])
    return np.asarray(hours / quickness)


def slowing(law: CureLaw, age_h: float, temp_k: float, pace: float) -> float:
    """Chemical speed over diffusion speed at one point: above 1, diffusion rules."""
    curve = master_curve(law)
    quickness = pace * float(rate_factor(temp_k, law.ref_k, law.ea_j_mol))
    log_speed = np.interp(age_h, curve.age_h, curve.log_speed)
    tg_k = np.interp(age_h, curve.age_h, curve.tg_k)
    return float(
        np.exp(
            _log_slowing(
                law,
                np.asarray(log_speed),
                np.asarray(tg_k),
                np.asarray(temp_k),
                np.asarray(math.log(quickness)),
            )
        )
    )


def _log_slowing(
    law: CureLaw, log_speed: FloatArray, tg_k: FloatArray, temp_k: FloatArray, log_pace: FloatArray
) -> FloatArray:
    if math.isinf(law.diffusion_s):
        return np.full(np.broadcast(log_speed, temp_k).shape, -math.inf)
    above_k = temp_k - tg_k
    mobility = law.wlf_c1 * above_k / (law.wlf_c2_k + np.abs(above_k))
    log_q = log_speed + log_pace - math.log(law.diffusion_s) - mobility
    return np.asarray(np.clip(log_q, _LOG_LOW, _LOG_HIGH))


def _at(
    law: CureLaw, curve: MasterCurve, age_h: FloatArray, temp_k: FloatArray, log_pace: FloatArray
) -> FloatArray:
    log_speed = np.interp(age_h, curve.age_h, curve.log_speed)
    tg_k = np.interp(age_h, curve.age_h, curve.tg_k)
    return _log_slowing(law, log_speed, tg_k, temp_k, log_pace)


def _first_slowed(
    law: CureLaw, curve: MasterCurve, age_h: FloatArray, temp_k: FloatArray, log_pace: FloatArray
) -> int:
    """The first step in which any path could feel diffusion, judged without any lag."""
    felt = np.any(_at(law, curve, age_h, temp_k, log_pace) > _NEGLIGIBLE, axis=0)
    return int(np.argmax(felt)) if felt.any() else felt.size


def _advance(
    law: CureLaw,
    curve: MasterCurve,
    age_h: FloatArray,
    gained_h: FloatArray,
    temp_k: FloatArray,
    log_pace: FloatArray,
) -> FloatArray:
    """Age gained in one step [h]: solves d + integral of q over d = gained.

    ln q is taken straight in age with the slope of the chord over the step itself.
    """
    log_q = _at(law, curve, age_h, temp_k, log_pace)
    q = np.exp(log_q)
    reach_h = np.maximum(gained_h / (1.0 + q), 1e-9)
    for _ in range(2):
        end = _at(law, curve, age_h + reach_h, temp_k, log_pace)
        slope = np.maximum((end - log_q) / reach_h, 1e-9)
        reach_h = np.maximum(_solve(gained_h, q, slope), 1e-12)
    return reach_h


def _solve(gained_h: FloatArray, q: FloatArray, slope: FloatArray) -> FloatArray:
    """Root d of d + q (e^(s d) - 1)/s = gained; Newton from above on a convex function."""
    reach = np.minimum(gained_h / (1.0 + q), np.log1p(gained_h * slope / q) / slope)
    for _ in range(_NEWTON_STEPS):
        growth = np.exp(slope * reach)
        excess = reach + q * (growth - 1.0) / slope - gained_h
        reach = reach - excess / (1.0 + q * growth)
    return np.asarray(np.clip(reach, 0.0, gained_h))
