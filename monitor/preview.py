"""What a pour would do, now or later: answered on the spot, before anything is poured."""

from __future__ import annotations

import sqlite3

import numpy as np

from monitor import beliefs, rooms
from monitor.core.cure import belief
from monitor.core.cure import outlook as cure
from monitor.core.room import forecast
from monitor.core.vocabulary import (
    Base,
    FloatArray,
    Layer,
    Outlook,
    ResinProfile,
    RoomPaths,
    RoomSeries,
)
from monitor.store import forecasts

PATHS = 60


def preview(
    con: sqlite3.Connection,
    resin: ResinProfile,
    now_s: float,
    poured_at_s: float,
    *,
    depth_mm: float | None = None,
    area_cm2: float | None = None,
    volume_ml: float | None = None,
    base: Base = "wood",
    pour_temp_c: float | None = None,
    sensor: str | None = None,
) -> Outlook:
    """The outlook of a layer that is not there (its id is 0), by the monitor's last forecast."""
    layer = Layer(
        id=0,
        piece_id=0,
        name="preview",
        resin=resin,
        poured_at_s=poured_at_s,
        depth_mm=depth_mm,
        area_cm2=area_cm2,
        volume_ml=volume_ml,
        base=base,
        pour_temp_c=pour_temp_c,
    )
    key = sensor or beliefs.first_sensor(con)
    if key is None:
        empty = np.empty(0)
        past = RoomSeries(empty, empty.copy(), empty.copy())
        future = forecast.forecast(past, now_s, paths=PATHS)
    else:
        past = rooms.past(con, key, min(poured_at_s, now_s) - 3600.0, now_s)
        future = _kept_future(con, key, now_s) or forecast.forecast(past, now_s, paths=PATHS)
    draws = belief.draws(beliefs.of_resin(con, resin, now_s), PATHS)
    return cure.outlook(layer, past, future, draws, (), now_s)


def _kept_future(con: sqlite3.Connection, key: str, now_s: float) -> RoomPaths | None:
    """Paths that keep their place within the monitor's bands: quick, and as wide."""
    bands = forecasts.latest(con, key)
    if bands is None or now_s > bands.at_s[-1]:
        return None
    places = (np.arange(PATHS) + 0.5) / PATHS
    # Within the band on a straight line, beyond it at the band's own slope.
    share = np.interp(places, (0.1, 0.5, 0.9), (-1.0, 0.0, 1.0))
    share += np.where(places < 0.1, (places - 0.1) / 0.4, 0.0)
    share += np.where(places > 0.9, (places - 0.9) / 0.4, 0.0)
    # Warm and damp do not go together in one room, nor against each other: shuffle one.
    other = share[np.random.default_rng(0).permutation(PATHS)]

    temp_c = _spread(bands.temp_p10_c, bands.temp_p50_c, bands.temp_p90_c, share)
    humidity = _spread(
        bands.humidity_p10_pct, bands.humidity_p50_pct, bands.humidity_p90_pct, other
    )
    return RoomPaths(bands.at_s, temp_c, np.clip(humidity, 1.0, 100.0), bands.why)


def _spread(
    low: FloatArray, middle: FloatArray, high: FloatArray, places: FloatArray
) -> FloatArray:
    """Paths (p, m) that keep their places: -1 on the low line, 0 on the middle, 1 on the high."""
    below, above = np.minimum(places, 0.0)[:, None], np.maximum(places, 0.0)[:, None]
    paths: FloatArray = middle + below * (middle - low) + above * (high - middle)
    return paths
