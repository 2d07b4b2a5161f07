"""Dated corrections of a sensor: applied on the way out, never to the raw reading."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.core.vocabulary import FloatArray
from monitor.store.errors import NotThere, StoreError
from monitor.store.moments import ms, seconds

WITHDRAWN = "withdrawn"


@dataclass(frozen=True)
class Correction:
    """What to add to a sensor's readings from a moment on, until the next correction."""

    from_s: float
    temp_offset_c: float
    humidity_offset_pct: float
    note: str


NONE = Correction(float("-inf"), 0.0, 0.0, "")


def add(con: sqlite3.Connection, key: str, correction: Correction) -> None:
    """Keep a correction beside the sensor."""
    row = con.execute("SELECT id FROM sensors WHERE key = ?", (key,)).fetchone()
    if row is None:
        raise NotThere(f"there is no sensor {key!r} to correct; it must report once first")
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
    """A sensor's corrections, oldest first; of several from one moment the last holds."""
    rows = con.execute(
        "SELECT from_ms, temp_offset_c, humidity_offset_pct, note FROM corrections "
        "JOIN sensors ON sensors.id = sensor_id WHERE key = ? ORDER BY from_ms, corrections.id",
        (key,),
    )
    return [Correction(seconds(at), *rest) for at, *rest in rows]


def holding(rows: Sequence[Correction]) -> list[Correction]:
    """Those that hold from their moment on, one a moment."""
    return list({one.from_s: one for one in rows}.values())


def at(rows: Sequence[Correction], at_s: float) -> Correction:
    """What holds at a moment, or `NONE`."""
    return next((one for one in reversed(rows) if one.from_s <= at_s), NONE)


def withdraw(con: sqlite3.Connection, key: str, from_s: float) -> None:
    """Undo what holds from a moment on: a new row gives back what held before it.

    Raises StoreError where nothing begins at that moment.
    """
    rows = corrections(con, key)
    ours = [one for one in rows if ms(one.from_s) == ms(from_s)]
    if not ours:
        raise StoreError(f"sensor {key!r} has no correction from that moment; reload the page")
    before = at([one for one in rows if ms(one.from_s) < ms(from_s)], from_s)
    add(
        con,
        key,
        Correction(from_s, before.temp_offset_c, before.humidity_offset_pct, WITHDRAWN),
    )


def offsets(con: sqlite3.Connection, key: str, at_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What to add to temperature [K] and humidity [%RH] at each moment, each (n,)."""
    temp, humidity = np.zeros_like(at_s), np.zeros_like(at_s)
    for one in corrections(con, key):
        since = at_s >= one.from_s
        temp[since] = one.temp_offset_c
        humidity[since] = one.humidity_offset_pct
    return temp, humidity
