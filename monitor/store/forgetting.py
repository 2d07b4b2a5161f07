"""Making room: sensors that were junk or are gone, with their readings."""

from __future__ import annotations

import sqlite3

from monitor.store import intake_rows, readings
from monitor.store.errors import NotThere, StoreError
from monitor.store.moments import seconds
from monitor.store.readings import Sensor

# A sensor with fewer readings than this, or none for a day, may be forgotten.
FEW_READINGS = 10
DAY_S = 86400.0
# A refusal older than this is no longer going on.
GOES_ON_S = 3600.0


def forgettable(con: sqlite3.Connection, now_s: float) -> list[Sensor]:
    """Sensors that no layer names, and that were hardly ever or long not heard."""
    named = {
        key for (key,) in con.execute("SELECT sensor FROM layers UNION SELECT probe FROM layers")
    }
    free = [one for one in readings.sensors(con, now_s) if one.key not in named]
    return [one for one in free if _long_silent(one, now_s) or _hardly_heard(con, one.key)]


def _long_silent(sensor: Sensor, now_s: float) -> bool:
    at_s = sensor.last_at_s
    return at_s is None or not -readings.AHEAD_S <= now_s - at_s <= DAY_S


def _hardly_heard(con: sqlite3.Connection, key: str) -> bool:
    few = con.execute(
        "SELECT count(*) FROM (SELECT 1 FROM readings JOIN sensors ON sensors.id = sensor_id "
        "WHERE key = ? LIMIT ?)",
        (key, FEW_READINGS),
    ).fetchone()
    return int(few[0]) < FEW_READINGS


def forget(con: sqlite3.Connection, key: str, now_s: float) -> None:
    """Take a sensor off the list, with its readings and all that was made of them.

    Its board goes with its last sensor; the journal of alarms stays. Within a transaction.
    Raises NotThere, and StoreError where a layer names it or it was heard lately.
    """
    row = con.execute(
        "SELECT sensors.id, nodes.id, site, node FROM sensors JOIN nodes ON nodes.id = node_id "
        "WHERE key = ?",
        (key,),
    ).fetchone()
    if row is None:
        raise NotThere(f"there is no sensor {key!r} to forget; reload the page")
    if key not in {one.key for one in forgettable(con, now_s)}:
        raise StoreError(
            f"the sensor {key!r} cannot be forgotten: a layer names it, or it was heard within a "
            "day. Delete the piece, or unplug the sensor and wait a day"
        )
    sensor, node_id, site, node = row
    for table in ("readings", "rollups", "corrections"):
        con.execute(f"DELETE FROM {table} WHERE sensor_id = ?", (sensor,))
    for table in ("forecasts", "past_forecasts"):
        con.execute(f"DELETE FROM {table} WHERE sensor_key = ?", (key,))
    con.execute("DELETE FROM settings WHERE key IN (?, ?)", (f"sensor_check:{key}", f"away:{key}"))
    con.execute("DELETE FROM sensors WHERE id = ?", (sensor,))
    gone = [f"room:{key}"]
    if not con.execute("SELECT 1 FROM sensors WHERE node_id = ?", (node_id,)).fetchone():
        intake_rows.forget_node(con, node_id)
        gone.append(f"node:{site}/{node}")
    for subject in gone:
        # Nobody would judge it any more, so it would stand for ever.
        con.execute("DELETE FROM alarm_states WHERE subject = ?", (subject,))


def crowded(con: sqlite3.Connection, now_s: float) -> str | None:
    """What to say while readings are refused because the house is full; None where none are."""
    last_ms = con.execute(
        "SELECT max(last_ms) FROM refusals WHERE reason IN (?, ?)",
        (intake_rows.SENSORS_FULL, intake_rows.NODES_FULL),
    ).fetchone()[0]
    if last_ms is None or not intake_rows.full(con):
        return None
    if not -readings.AHEAD_S <= now_s - seconds(last_ms) <= GOES_ON_S:
        return None
    most = intake_rows.MOST_SENSORS
    return (
        f"No new sensor is taken: {most} are known already. Forget those that are gone in Settings."
    )
