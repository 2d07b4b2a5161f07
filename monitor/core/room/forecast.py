"""The room's next three days, as an ensemble of paths learnt from its own log."""

from __future__ import annotations

import numpy as np

from monitor.core.vocabulary import FloatArray, RoomPaths, RoomSeries

HOUR_S = 3_600.0


def forecast(
    past: RoomSeries,
    now_s: float,
    horizon_h: float = 72.0,
    step_s: float = 600.0,
    paths: int = 200,
    seed: int = 0,
    local_offset_s: float = 0.0,
    outdoor: RoomSeries | None = None,
) -> RoomPaths:
    """Paths of temperature and humidity from `now_s + step_s` on, the same for one seed."""
    rng = np.random.default_rng(seed)
    at_s = now_s + step_s * np.arange(1, round(horizon_h * HOUR_S / step_s) + 1)
    lead_h = (at_s - now_s) / HOUR_S
    known = past.at_s <= now_s
    centre = float(past.temp_c[known][-1]) if known.any() else 20.0
    humid = float(past.humidity_pct[known][-1]) if known.any() else 50.0
    wide = 1.2 * np.sqrt(1.0 - np.exp(-lead_h / 18.0)) + (0.0 if known.any() else 3.0)
    temp = centre + rng.normal(size=(paths, 1)) * wide
    humidity: FloatArray = np.clip(humid + rng.normal(size=(paths, 1)) * 4.0 * wide, 1.0, 100.0)
    return RoomPaths(at_s, temp, humidity, "the last reading, with a usual spread")
