"""How wrong a forecast is before its room has shown it: errors of a usual room."""

from __future__ import annotations

import numpy as np

from monitor.core.vocabulary import FloatArray

QUICK_K, QUICK_H = 0.55, 4.0  # doors, sun, a heater: comes and is gone within hours
SLOW_K, SLOW_H = 1.15, 40.0  # weather and habits: wanders over days
# Both fitted by eye to the errors of the Belgian rooms at 6..72 h (0.65, 0.95, 1.2 K).
UNSEEN_DAY_K = 1.5  # before a full day is seen, its swing is unknown


def usual_spread(lead_h: FloatArray, days: float) -> FloatArray:
    """Standard deviation [K] at each lead, with `days` of log."""
    quick = QUICK_K**2 * -np.expm1(-lead_h / QUICK_H)
    slow = SLOW_K**2 * -np.expm1(-lead_h / SLOW_H)
    unseen = (UNSEEN_DAY_K * max(0.0, 1.0 - days)) ** 2 * -np.expm1(-lead_h / QUICK_H)
    return np.asarray(np.sqrt(quick + slow + unseen))


def usual_errors(
    lead_h: FloatArray, days: float, paths: int, rng: np.random.Generator
) -> FloatArray:
    """Errors (paths, leads) [K] that grow and stay alike from lead to lead.

    Drawn in opposite pairs and brought to the stated spread, so that few paths still have
    the right middle and width.
    """
    half = -(-paths // 2)
    gaps = np.diff(lead_h, prepend=0.0)
    errors = np.zeros((half, lead_h.size))
    for spread, fade_h in ((QUICK_K, QUICK_H), (SLOW_K, SLOW_H)):
        state = np.zeros(half)
        for k, gap in enumerate(gaps):
            keep = np.exp(-gap / fade_h)
            state = keep * state + spread * np.sqrt(1.0 - keep**2) * rng.normal(size=half)
            errors[:, k] += state
    both = np.concatenate((errors, -errors))[:paths]
    have = np.sqrt(np.mean(both**2, axis=0)) + 1e-9
    return np.asarray(both * (usual_spread(lead_h, days) / have))
