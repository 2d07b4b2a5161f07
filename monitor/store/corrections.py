"""Dated corrections of a sensor: applied on the way out, never to the raw reading."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from monitor.store.errors import StoreError
from monitor.store.moments import ms, seconds


@dataclass(frozen=True)
class Correction:
    """What to add to a sensor's readings from a moment on."""

    from_s: float
    temp_offset_c: float
    humidity_offset_pct: float
    note: str


def add(con: sqlite3.Connection, key: str, correction: Correction) -> None:
    """Keep a correction beside the sensor."""
    row = con.execute("SELECT id FROM sensors WHERE key = ?", (key,)).fetchone()
    if row is None:
        raise StoreError(f"there is no sensor {key!r} to correct; it must report once first")
    con.execute(
        "INSERT INTO corrections "
        "(sensor_id, from_ms, temp_offset_c, humidity_offset_pct, note) VALUES (?, ?, ?, ?, ?)",
        (
            row[0],
            ms(correction.from_s),
            correction.temp_offset_c,
            correction.humidity_offset_pct,
            correction.note,
        ),
    )


def corrections(con: sqlite3.Connection, key: str) -> list[Correction]:
    """A sensor's corrections, oldest first."""
    rows = con.execute(
        "SELECT from_ms, temp_offset_c, humidity_offset_pct, note FROM corrections "
        "JOIN sensors ON sensors.id = sensor_id WHERE key = ? ORDER BY from_ms, corrections.id",
        (key,),
    )
    return [Correction(seconds(at), *rest) for at, *rest in rows]
