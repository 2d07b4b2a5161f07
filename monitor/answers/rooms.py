"""A sensor's log as the core wants it: judged, corrected, and in minutes where it is old."""

from __future__ import annotations

import math
import sqlite3

import numpy as np

from monitor.core.room import probe as probing
from monitor.core.room import quality
from monitor.core.vocabulary import FloatArray, RoomPaths, RoomSeries
from monitor.store import away, corrections, readings

# Raw readings this far back; before that minute means, which cost a fraction and lose nothing
# that a cure would feel.
RAW_S = 36 * 3600.0


def judge_recent(con: sqlite3.Connection, key: str, now_s: float) -> int:
    """Flag the doubtful among the recent readings; returns how many flags changed.

    Writes: call within a transaction.
    """
    recent = readings.raw(con, key, now_s - RAW_S, now_s + 600.0)
    if len(recent.at_s) == 0:
        return 0
    flags = quality.judge(
        recent.at_s, recent.temp_c, _known_humidity(recent.humidity_pct), recent.received_s
    )
    moved = flags != recent.flags
    return readings.set_flags(con, key, recent.at_s[moved], flags[moved])


def past(con: sqlite3.Connection, key: str, from_s: float, now_s: float) -> RoomSeries:
    """The trusted log of one sensor from a moment to now, corrected."""
    split_s = max(from_s, now_s - RAW_S)
    recent = readings.raw(con, key, split_s, now_s)
    trusted = recent.flags == 0
    dropped = _dropped(recent.flags)
    at_s, temp_c = recent.at_s[trusted], recent.temp_c[trusted]
    humidity_pct = recent.humidity_pct[trusted]
    if from_s < split_s:
        older = readings.minutes(con, key, from_s, split_s - 60.0)
        at_s = np.concatenate([older.at_s + 30.0, at_s])
        temp_c = np.concatenate([older.temp_c, temp_c])
        humidity_pct = np.concatenate([older.humidity_pct, humidity_pct])
    there = np.ones(len(at_s), dtype=bool)
    for left_s, back_s in away.stretches(con, key):
        there &= (at_s < left_s) | (at_s > (math.inf if back_s is None else back_s))
    if not there.all():
        dropped["away from its room"] = int((~there).sum())
    at_s, temp_c, humidity_pct = at_s[there], temp_c[there], humidity_pct[there]
    temp_c, humidity_pct = _corrected(con, key, at_s, temp_c, humidity_pct)
    return RoomSeries(at_s, temp_c, _known_humidity(humidity_pct), dropped)


def as_piece_meets(
    con: sqlite3.Connection,
    probe: str | None,
    series: RoomSeries,
    future: RoomPaths,
    now_s: float,
) -> tuple[RoomSeries, RoomPaths]:
    """A room's log and futures at the piece itself, where a probe on the piece is named."""
    if probe is None or len(series.at_s) == 0:
        return series, future
    felt = past(con, probe, float(series.at_s[0]) - 600.0, now_s)
    return probing.at_piece(series, felt), probing.ahead_of_piece(future, series, felt)


def log_at_piece(
    con: sqlite3.Connection, probe: str | None, series: RoomSeries, now_s: float
) -> RoomSeries:
    """The log half of `as_piece_meets`."""
    if probe is None or len(series.at_s) == 0:
        return series
    return probing.at_piece(series, past(con, probe, float(series.at_s[0]) - 600.0, now_s))


def has_humidity(con: sqlite3.Connection, key: str, now_s: float) -> bool:
    """Whether this sensor measures humidity at all."""
    recent = readings.raw(con, key, now_s - RAW_S, now_s)
    return bool(np.isfinite(recent.humidity_pct).any())


def _dropped(flags: np.typing.NDArray[np.int64]) -> dict[str, int]:
    return {
        ", ".join(quality.reason_words(int(flag))): int((flags == flag).sum())
        for flag in np.unique(flags[flags != 0])
    }


def _corrected(
    con: sqlite3.Connection,
    key: str,
    at_s: FloatArray,
    temp_c: FloatArray,
    humidity_pct: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    temp_offset, humidity_offset = np.zeros_like(at_s), np.zeros_like(at_s)
    for correction in corrections.corrections(con, key):
        since = at_s >= correction.from_s
        temp_offset[since] = correction.temp_offset_c
        humidity_offset[since] = correction.humidity_offset_pct
    return temp_c + temp_offset, np.clip(humidity_pct + humidity_offset, 0.0, 100.0)


# What a thermometer alone leaves open; rules about damp do not speak where this stands in.
ASSUMED_HUMIDITY_PCT = 50.0


def _known_humidity(humidity_pct: FloatArray) -> FloatArray:
    known = np.isfinite(humidity_pct)
    if known.all():
        return humidity_pct
    if not known.any():
        return np.full_like(humidity_pct, ASSUMED_HUMIDITY_PCT)
    where = np.arange(len(humidity_pct))
    return np.interp(where, where[known], humidity_pct[known])
