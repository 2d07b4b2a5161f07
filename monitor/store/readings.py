"""Reading what was measured: sensors, raw readings, and samples of any span for a chart.

`raw` and `minutes` give what was measured; what is shown (`sensors`, `sampled`) is corrected
on the way out.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from monitor.core.vocabulary import FloatArray
from monitor.store import corrections, rollups
from monitor.store.errors import NotThere
from monitor.store.moments import maybe_seconds, ms, seconds


@dataclass(frozen=True)
class Sensor:
    """A sensor, when it was last heard, and its last reading, corrected."""

    key: str
    site: str
    node: str
    name: str
    first_at_s: float | None
    last_at_s: float | None
    last_temp_c: float | None
    last_humidity_pct: float | None
    count: int
    last_heard_s: float | None
    status: str


@dataclass(frozen=True)
class RawReadings:
    """Readings as measured, each (n,), in time order; NaN where there is no humidity sensor."""

    at_s: FloatArray
    temp_c: FloatArray
    humidity_pct: FloatArray
    flags: npt.NDArray[np.int64]
    received_s: FloatArray


@dataclass(frozen=True)
class Sampled:
    """A span in at most as many steps as asked for; the extremes of each step are kept."""

    at_s: FloatArray
    temp_min_c: FloatArray
    temp_c: FloatArray
    temp_max_c: FloatArray
    humidity_min_pct: FloatArray
    humidity_pct: FloatArray
    humidity_max_pct: FloatArray
    count: FloatArray
    step_s: float


@dataclass(frozen=True)
class Refusal:
    """Why messages or records were not believed, how often, and one example."""

    reason: str
    count: int
    last_at_s: float
    example: str


# So far ahead of the hour it came a reading may be, by a clock that is a little off.
AHEAD_S = 600.0


def later(one_s: float | None, other_s: float | None, now_s: float) -> float | None:
    """The later of two moments; one that lies in the future counts only beside none."""
    known = [at_s for at_s in (one_s, other_s) if at_s is not None]
    return max(known, key=lambda at_s: (at_s <= now_s + AHEAD_S, at_s), default=None)


def sensors(con: sqlite3.Connection, now_s: float | None = None) -> list[Sensor]:
    """Every sensor ever heard, by key.

    The last reading is the last by `now_s` (or, without it, by when its node was last heard):
    a clock that was once ahead leaves readings in the future, and they are not news. Only
    where there are no others is one of them the last.
    """
    rows = con.execute(
        "SELECT sensors.id, sensors.key, site, node, sensors.name, heard_ms, status "
        "FROM sensors JOIN nodes ON nodes.id = node_id ORDER BY sensors.key"
    ).fetchall()
    found = []
    for id_, key, site, node, name, heard, status in rows:
        first = con.execute(
            "SELECT taken_ms FROM readings WHERE sensor_id = ? ORDER BY taken_ms LIMIT 1", (id_,)
        ).fetchone()
        by_s = maybe_seconds(heard) if now_s is None else now_s
        last = _last(con, id_, by_s) or _last(con, id_, None)
        temp_c = humidity_pct = None
        if last is not None:
            holds = corrections.at(corrections.corrections(con, key), seconds(last[0]))
            temp_c = last[1] / 100 + holds.temp_offset_c
            if last[2] is not None:
                humidity_pct = min(max(last[2] / 10 + holds.humidity_offset_pct, 0.0), 100.0)
        # Day summaries count what is trusted; cheap however long the log has grown.
        count = con.execute(
            "SELECT coalesce(sum(count), 0) FROM rollups WHERE sensor_id = ? AND step_s = ?",
            (id_, rollups.DAY_S),
        ).fetchone()[0]
        found.append(
            Sensor(
                key=key,
                site=site,
                node=node,
                name=name,
                first_at_s=None if first is None else seconds(first[0]),
                last_at_s=None if last is None else seconds(last[0]),
                last_temp_c=temp_c,
                last_humidity_pct=humidity_pct,
                count=int(count),
                last_heard_s=maybe_seconds(heard),
                status=status,
            )
        )
    return found


def _last(
    con: sqlite3.Connection, sensor_id: int, by_s: float | None
) -> tuple[int, int, int | None] | None:
    """The last reading of a sensor that does not lie in the future of `by_s`, or of all."""
    until_ms = 2**62 if by_s is None else ms(by_s + AHEAD_S)
    found: tuple[int, int, int | None] | None = con.execute(
        "SELECT taken_ms, temp_centi_c, humidity_deci_pct FROM readings "
        "WHERE sensor_id = ? AND taken_ms <= ? ORDER BY taken_ms DESC LIMIT 1",
        (sensor_id, until_ms),
    ).fetchone()
    return found


def rename_sensor(con: sqlite3.Connection, key: str, name: str, at_s: float) -> None:
    """Call a sensor what the person calls its place."""
    if con.execute("UPDATE sensors SET name = ? WHERE key = ?", (name, key)).rowcount == 0:
        raise NotThere(f"there is no sensor {key!r} to rename; reload the page and try again")


def _sensor_id(con: sqlite3.Connection, key: str) -> int | None:
    row = con.execute("SELECT id FROM sensors WHERE key = ?", (key,)).fetchone()
    return None if row is None else int(row[0])


def raw(con: sqlite3.Connection, key: str, from_s: float, to_s: float) -> RawReadings:
    """Readings as measured, from <= taken <= to."""
    rows = con.execute(
        "SELECT taken_ms, temp_centi_c, humidity_deci_pct, flags, received_ms FROM readings "
        "WHERE sensor_id = ? AND taken_ms BETWEEN ? AND ? ORDER BY taken_ms",
        (_sensor_id(con, key), ms(from_s), ms(to_s)),
    ).fetchall()
    table = np.array(rows, dtype=np.float64).reshape(-1, 5)
    return RawReadings(
        at_s=table[:, 0] / 1000,
        temp_c=table[:, 1] / 100,
        humidity_pct=table[:, 2] / 10,
        flags=table[:, 3].astype(np.int64),
        received_s=table[:, 4] / 1000,
    )


def minutes(con: sqlite3.Connection, key: str, from_s: float, to_s: float) -> RawReadings:
    """Minute means from <= start <= to, shaped as readings: a long past at small cost."""
    rows = con.execute(
        "SELECT start_s, temp_mean_centi_c, humidity_mean_deci_pct FROM rollups "
        "WHERE sensor_id = ? AND step_s = ? AND start_s BETWEEN ? AND ? ORDER BY start_s",
        (_sensor_id(con, key), rollups.MINUTE_S, int(from_s), int(to_s)),
    ).fetchall()
    table = np.array(rows, dtype=np.float64).reshape(-1, 3)
    return RawReadings(
        at_s=table[:, 0],
        temp_c=table[:, 1] / 100,
        humidity_pct=table[:, 2] / 10,
        flags=np.zeros(len(table), dtype=np.int64),
        received_s=table[:, 0],
    )


def set_flags(
    con: sqlite3.Connection, key: str, at_s: FloatArray, flags: npt.NDArray[np.int64]
) -> int:
    """Mark readings as doubtful (or trusted again); returns how many changed."""
    sensor = _sensor_id(con, key)
    changed = []
    for at, flag in zip(at_s, flags, strict=True):
        cursor = con.execute(
            "UPDATE readings SET flags = ? WHERE sensor_id = ? AND taken_ms = ? AND flags <> ?",
            (int(flag), sensor, ms(float(at)), int(flag)),
        )
        if cursor.rowcount:
            changed.append(int(at))
    if sensor is not None and changed:
        rollups.refresh(con, sensor, changed)
    return len(changed)


# The chart's step is the smallest of these that gives few enough points.
_STEPS_S = (
    10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200,
    86400, 172800, 604800, 1209600, 2592000,
)  # fmt: skip
_GROUPED = """
SELECT start_s / :step * :step AS bucket, sum(count),
  min(temp_min_centi_c) / 100.0, sum(temp_mean_centi_c * count) / sum(count) / 100.0,
  max(temp_max_centi_c) / 100.0, min(humidity_min_deci_pct) / 10.0,
  sum(humidity_mean_deci_pct * count) / sum(count) / 10.0, max(humidity_max_deci_pct) / 10.0
FROM rollups WHERE sensor_id = :sensor AND step_s = :level
  AND start_s >= :from AND start_s <= :to
GROUP BY bucket ORDER BY bucket
"""
_GROUPED_RAW = """
SELECT taken_ms / (:step * 1000) * :step AS bucket, count(*),
  min(temp_centi_c) / 100.0, avg(temp_centi_c) / 100.0, max(temp_centi_c) / 100.0,
  min(humidity_deci_pct) / 10.0, avg(humidity_deci_pct) / 10.0, max(humidity_deci_pct) / 10.0
FROM readings WHERE sensor_id = :sensor AND flags = 0
  AND taken_ms >= :from * 1000 AND taken_ms <= :to * 1000
GROUP BY bucket ORDER BY bucket
"""


def sampled(con: sqlite3.Connection, key: str, from_s: float, to_s: float, points: int) -> Sampled:
    """The span in at most about `points` steps, read from the summaries; peaks survive.

    Corrected on the way out; a step in whose middle a correction begins has it whole.
    """
    want = max(float(to_s) - float(from_s), 1.0) / max(points, 1)
    step = next((step for step in _STEPS_S if step >= want), _STEPS_S[-1])
    if step < rollups.MINUTE_S:
        level, sql = 0, _GROUPED_RAW
    else:
        levels = (rollups.DAY_S, rollups.HOUR_S, rollups.MINUTE_S)
        level = next(level for level in levels if step % level == 0)
        sql = _GROUPED
    values: dict[str, Any] = {
        "sensor": _sensor_id(con, key),
        "step": step,
        "level": level,
        "from": int(from_s) // step * step,
        "to": int(to_s),
    }
    table = np.array(con.execute(sql, values).fetchall(), dtype=np.float64).reshape(-1, 8)
    # A step is drawn at its middle, but never after the end of the span.
    at_s = np.minimum(table[:, 0] + step / 2, to_s)
    warmer, damper = (offset[:, None] for offset in corrections.offsets(con, key, at_s))
    temps, damps = table[:, 2:5] + warmer, np.clip(table[:, 5:8] + damper, 0.0, 100.0)
    return Sampled(
        at_s=at_s,
        count=table[:, 1],
        temp_min_c=temps[:, 0],
        temp_c=temps[:, 1],
        temp_max_c=temps[:, 2],
        humidity_min_pct=damps[:, 0],
        humidity_pct=damps[:, 1],
        humidity_max_pct=damps[:, 2],
        step_s=float(step),
    )


def refusals(con: sqlite3.Connection) -> list[Refusal]:
    """What was not believed, most frequent first."""
    rows = con.execute(
        "SELECT reason, count, last_ms, example FROM refusals ORDER BY count DESC, reason"
    )
    return [Refusal(reason, count, seconds(at), example) for reason, count, at, example in rows]
