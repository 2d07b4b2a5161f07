"""Risk that the surface turns soft, greasy or cloudy while it is open.

The program's own index, engineering judgement and no published source: no threshold of
temperature, humidity and time for carbamation ("amine blush") was found in the open
literature. While the surface is open, hazard is damp x cold, and the index is its integral
over the label's tack-free time. The 3 K above the dew point is painting practice
(ISO 8502-4 guidance, borrowed here for resin).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from monitor.core.physics.aging import kelvin
from monitor.core.physics.air import dew_margin, surface_humidity
from monitor.core.vocabulary import FloatArray, SurfaceRisk

DAMP_FROM_PCT = 60.0
DAMP_SPAN_PCT = 25.0
COLD_FROM_C = 25.0
COLD_SPAN_C = 15.0
COLD_LEAST = 0.2
DEW_MARGIN_K = 3.0
MEDIUM_FROM = 0.2
HIGH_ABOVE = 0.7
FORCED_RISK = 0.8

AFTERCARE = (
    "Once it is hard, wash the surface with warm water and a pad, dry it, and look at it "
    "sideways: if it stays greasy or dull, scuff it and pour one thin coat in drier, warmer air."
)


@dataclass(frozen=True)
class SurfaceIndex:
    """`index` from 0 up; `least_margin_k` above the dew point; hours at hazard, damp and cold."""

    index: float
    least_margin_k: float
    damp_h: float
    cold_h: float


def hazard(air_c: FloatArray, humidity_pct: FloatArray, surface_c: FloatArray) -> FloatArray:
    """Hazard 0..1 of an open surface in this air; 1 where dew settles. Shapes broadcast."""
    wet_pct = surface_humidity(kelvin(air_c), humidity_pct, kelvin(surface_c))
    damp = np.clip((wet_pct - DAMP_FROM_PCT) / DAMP_SPAN_PCT, 0.0, 1.0)
    cold = np.clip((COLD_FROM_C - surface_c) / COLD_SPAN_C, COLD_LEAST, 1.0)
    dew = dew_margin(kelvin(air_c), humidity_pct, kelvin(surface_c)) <= 0.0
    return np.asarray(np.where(dew, 1.0, damp * cold))


def surface_index(
    span_h: FloatArray,
    air_c: FloatArray,
    humidity_pct: FloatArray,
    surface_c: FloatArray,
    label_tack_free_h: float,
) -> SurfaceIndex:
    """Accumulate the hazard over intervals of `span_h` hours, all shapes (n,).

    Give only the intervals in which the surface is open; with none, nothing accumulates.
    """
    if not span_h.size:
        return SurfaceIndex(0.0, float("inf"), 0.0, 0.0)
    danger = hazard(air_c, humidity_pct, surface_c)
    margin = dew_margin(kelvin(air_c), humidity_pct, kelvin(surface_c))
    return SurfaceIndex(
        index=float(np.sum(danger * span_h) / label_tack_free_h),
        least_margin_k=float(np.min(margin)),
        damp_h=float(np.sum(span_h[danger > 0.0])),
        cold_h=float(np.sum(span_h[surface_c < COLD_FROM_C - COLD_SPAN_C / 2.0])),
    )


def surface_risk(
    found: SurfaceIndex, open_until_s: float | None, label_tack_free_h: float, open_h: float
) -> SurfaceRisk:
    """The index as a level with its reasons in words.

    A margin below 3 K at any time while open forces the level to high.
    """
    forced = found.least_margin_k < DEW_MARGIN_K
    risk = min(found.index, 1.0)
    if forced:
        risk = max(risk, FORCED_RISK)
    level: Literal["low", "medium", "high"] = (
        "high" if risk > HIGH_ABOVE else "medium" if risk >= MEDIUM_FROM else "low"
    )
    reasons = []
    if forced:
        reasons.append(
            f"The surface comes within {max(found.least_margin_k, 0.0):.1f} °C of the dew point; "
            "painting practice keeps 3 °C."
        )
    if found.damp_h >= 0.5 and level != "low":
        reasons.append(f"{found.damp_h:.0f} h of damp air while it is open.")
    if found.cold_h >= 0.5 and level != "low":
        reasons.append(f"{found.cold_h:.0f} h in the cold, where hardener lies open longer.")
    if open_h > 1.3 * label_tack_free_h and level != "low":
        reasons.append(
            f"It stays open {open_h:.0f} h; the label assumes {label_tack_free_h:.0f} h."
        )
    return SurfaceRisk(risk, level, tuple(reasons), open_until_s)
