"""The latest forecast of each sensor's room, as bands for a chart."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

import numpy as np

from monitor.core.vocabulary import FloatArray, RoomPaths
from monitor.store.moments import ms
from monitor.store.packing import pack, unpack


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
    """Keep the bands of one sensor's forecast in place of the last."""
    t10, t50, t90 = np.quantile(paths.temp_c, (0.1, 0.5, 0.9), axis=0)
    h10, h50, h90 = np.quantile(paths.humidity_pct, (0.1, 0.5, 0.9), axis=0)
    bands = RoomBands(as_of_s, paths.at_s, t10, t50, t90, h10, h50, h90, paths.why)
    con.execute(
        "INSERT INTO forecasts VALUES (?, ?, ?) ON CONFLICT (sensor_key) DO UPDATE "
        "SET as_of_ms = excluded.as_of_ms, bands = excluded.bands",
        (key, ms(as_of_s), pack(bands)),
    )


def latest(con: sqlite3.Connection, key: str) -> RoomBands | None:
    """The latest bands, or None before the first forecast."""
    row = con.execute("SELECT bands FROM forecasts WHERE sensor_key = ?", (key,)).fetchone()
    return None if row is None else unpack(row[0], RoomBands)
