"""The forecasts of each sensor's room, as bands: the latest whole, past ones thinned."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

import numpy as np

from monitor.core.vocabulary import FloatArray, RoomPaths
from monitor.store.moments import ms
from monitor.store.packing import pack, unpack

# Four a day, a point every six hours: enough to hold against what happened, a few MB a year.
KEEP_EVERY_S = 6 * 3600.0
KEEP_FOR_S = 400 * 86400.0


@dataclass(frozen=True)
class PastForecast:
    """What the room was said to become; arrays of shape (m,)."""

    as_of_s: float
    at_s: FloatArray
    temp_p10_c: FloatArray
    temp_p50_c: FloatArray
    temp_p90_c: FloatArray


@dataclass(frozen=True)
class RoomBands:
    """A forecast's 10, 50 and 90 per cent lines, each of shape (m,)."""

    as_of_s: float
    at_s: FloatArray
    temp_p10_c: FloatArray
    temp_p50_c: FloatArray
    temp_p90_c: FloatArray
    humidity_p10_pct: FloatArray
    humidity_p50_pct: FloatArray
    humidity_p90_pct: FloatArray
    why: str


def save(con: sqlite3.Connection, key: str, as_of_s: float, paths: RoomPaths) -> None:
    """Keep the bands of one sensor's forecast in place of the last, and every sixth hour's."""
    t10, t50, t90 = np.quantile(paths.temp_c, (0.1, 0.5, 0.9), axis=0)
    h10, h50, h90 = np.quantile(paths.humidity_pct, (0.1, 0.5, 0.9), axis=0)
    bands = RoomBands(as_of_s, paths.at_s, t10, t50, t90, h10, h50, h90, paths.why)
    con.execute(
        "INSERT INTO forecasts VALUES (?, ?, ?) ON CONFLICT (sensor_key) DO UPDATE "
        "SET as_of_ms = excluded.as_of_ms, bands = excluded.bands",
        (key, ms(as_of_s), pack(bands)),
    )
    last = con.execute(
        "SELECT max(as_of_ms) FROM past_forecasts WHERE sensor_key = ? AND as_of_ms <= ?",
        (key, ms(as_of_s)),
    ).fetchone()[0]
    if last is None or ms(as_of_s) - last >= ms(KEEP_EVERY_S):
        _keep(con, key, bands)


def _keep(con: sqlite3.Connection, key: str, bands: RoomBands) -> None:
    wanted = np.arange(bands.as_of_s + KEEP_EVERY_S, float(bands.at_s[-1]) + 1.0, KEEP_EVERY_S)
    lines = [
        np.round(np.interp(wanted, bands.at_s, line), 2)
        for line in (bands.temp_p10_c, bands.temp_p50_c, bands.temp_p90_c)
    ]
    con.execute(
        "INSERT OR IGNORE INTO past_forecasts VALUES (?, ?, ?)",
        (key, ms(bands.as_of_s), pack(PastForecast(bands.as_of_s, wanted, *lines))),
    )
    con.execute(
        "DELETE FROM past_forecasts WHERE sensor_key = ? AND as_of_ms < ?",
        (key, ms(bands.as_of_s - KEEP_FOR_S)),
    )


def past(con: sqlite3.Connection, key: str, from_s: float) -> list[PastForecast]:
    """Forecasts made since a moment, oldest first."""
    rows = con.execute(
        "SELECT bands FROM past_forecasts WHERE sensor_key = ? AND as_of_ms >= ? ORDER BY as_of_ms",
        (key, ms(from_s)),
    )
    return [unpack(text, PastForecast) for (text,) in rows]


def latest(con: sqlite3.Connection, key: str) -> RoomBands | None:
    """The latest bands, or None before the first forecast."""
    row = con.execute("SELECT bands FROM forecasts WHERE sensor_key = ?", (key,)).fetchone()
    return None if row is None else unpack(row[0], RoomBands)
