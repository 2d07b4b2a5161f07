"""Writing what arrives: readings, how far each node is committed, and what was refused."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from monitor.store import rollups
from monitor.store.moments import ms


@dataclass(frozen=True)
class Arrival:
    """One sample as it goes into the store. `boot` and `seq` are None for strangers' sensors."""

    sensor: str
    taken_at_s: float
    temp_c: float
    humidity_pct: float | None
    boot: str | None = None
    seq: int | None = None


@dataclass(frozen=True)
class Handled:
    """A sample that is dealt with although it was refused, so that it is not sent again."""

    boot: str
    seq: int


def node_id(con: sqlite3.Connection, site: str, node: str) -> int:
    """The node's row, made on first sight."""
    con.execute("INSERT OR IGNORE INTO nodes (site, node) VALUES (?, ?)", (site, node))
    row = con.execute("SELECT id FROM nodes WHERE site = ? AND node = ?", (site, node)).fetchone()
    return int(row[0])


# A house has a handful; each costs a forecast at every tick, so junk must not add without end.
MOST_SENSORS = 64
SENSORS_FULL = f"more than {MOST_SENSORS} sensors: remove one in Settings"
NODES_FULL = f"more than {MOST_SENSORS} boards: remove their sensors in Settings"


def takes_node(con: sqlite3.Connection, site: str, node: str) -> bool:
    """Whether this node is known or there is room for one more.

    A node that never had a reading taken holds no place against a new one.
    """
    known = con.execute("SELECT 1 FROM nodes WHERE site = ? AND node = ?", (site, node)).fetchone()
    if known is not None or _nodes_held(con) < MOST_SENSORS:
        return True
    bare = con.execute("SELECT id FROM nodes WHERE id NOT IN (SELECT node_id FROM sensors)")
    for (id_,) in bare.fetchall():
        forget_node(con, int(id_))
    return _nodes_held(con) < MOST_SENSORS


def _nodes_held(con: sqlite3.Connection) -> int:
    return int(con.execute("SELECT count(*) FROM nodes").fetchone()[0])


def full(con: sqlite3.Connection) -> bool:
    """Whether the house has all the sensors or nodes that it may have."""
    sensors = con.execute("SELECT count(*) FROM sensors").fetchone()[0]
    return int(sensors) >= MOST_SENSORS or _nodes_held(con) >= MOST_SENSORS


def forget_node(con: sqlite3.Connection, id_: int) -> None:
    """Take a node without sensors off the list, and how far it was committed."""
    con.execute("DELETE FROM arrived WHERE node_id = ?", (id_,))
    con.execute("DELETE FROM progress WHERE node_id = ?", (id_,))
    con.execute("DELETE FROM nodes WHERE id = ?", (id_,))


def takes(con: sqlite3.Connection, arrivals: Sequence[Arrival]) -> list[Arrival]:
    """The samples of known sensors, and of new ones while there is room."""
    known = {str(key) for (key,) in con.execute("SELECT key FROM sensors")}
    taken: list[Arrival] = []
    for arrival in arrivals:
        if arrival.sensor not in known and len(known) >= MOST_SENSORS:
            continue
        known.add(arrival.sensor)
        taken.append(arrival)
    return taken


def nodes(con: sqlite3.Connection, site: str) -> list[str]:
    """Every node of a site ever heard."""
    rows = con.execute("SELECT node FROM nodes WHERE site = ? ORDER BY node", (site,))
    return [str(node) for (node,) in rows]


def _sensor_id(con: sqlite3.Connection, node: int, key: str) -> int:
    con.execute(
        "INSERT OR IGNORE INTO sensors (node_id, key, name) VALUES (?, ?, ?)",
        (node, key, key.rsplit("/", 1)[-1]),
    )
    return int(con.execute("SELECT id FROM sensors WHERE key = ?", (key,)).fetchone()[0])


def set_status(con: sqlite3.Connection, site: str, node: str, status: str, at_s: float) -> None:
    """Keep what a node (or the broker for it) last said of itself."""
    con.execute("UPDATE nodes SET status = ? WHERE id = ?", (status, node_id(con, site, node)))


def commit(
    con: sqlite3.Connection,
    site: str,
    node: str,
    arrivals: Sequence[Arrival],
    handled: Sequence[Handled],
    lows: Mapping[str, int],
    received_at_s: float,
) -> int:
    """Store samples once each, whatever is repeated; returns how many were new.

    `lows` gives, per boot, the lowest number the node still keeps: all below it were
    dealt with before, so 'committed through' may start there.
    """
    node_row = node_id(con, site, node)
    received = ms(received_at_s)
    fresh: dict[int, list[int]] = {}
    begins = {boot: max(low - 1, _through(con, node_row, boot)) for boot, low in lows.items()}
    for arrival in arrivals:
        if arrival.boot is not None and arrival.seq is not None:
            if _known(con, node_row, arrival.boot, arrival.seq):
                continue
            _arrive(con, node_row, arrival.boot, arrival.seq, begins)
        sensor = _sensor_id(con, node_row, arrival.sensor)
        taken_ms = _keep(con, sensor, arrival, received)
        if taken_ms is not None:
            fresh.setdefault(sensor, []).append(taken_ms // 1000)
    for one in handled:
        _arrive(con, node_row, one.boot, one.seq, begins)
    for sensor, taken in fresh.items():
        rollups.refresh(con, sensor, taken)
    for boot, through in begins.items():
        _advance(con, node_row, boot, through, received)
    if begins:
        _forget_boots(con, node_row)
    if arrivals or handled:
        con.execute("UPDATE nodes SET heard_ms = ? WHERE id = ?", (received, node_row))
    return sum(len(taken) for taken in fresh.values())


# A board that does not know the time tells "just now" of several samples in a burst.
_APART_MS = 20


def _keep(con: sqlite3.Connection, sensor: int, arrival: Arrival, received_ms: int) -> int | None:
    """Store one sample; its time in ms, or None where this moment has a reading already.

    A numbered sample that has not arrived before is a new one: where it falls on the moment of
    another, it is put beside it rather than lost.
    """
    first_ms = ms(arrival.taken_at_s)
    humidity = None if arrival.humidity_pct is None else round(arrival.humidity_pct * 10)
    for taken_ms in range(first_ms, first_ms + _APART_MS):
        cursor = con.execute(
            "INSERT OR IGNORE INTO readings "
            "(sensor_id, taken_ms, temp_centi_c, humidity_deci_pct, received_ms) "
            "VALUES (?, ?, ?, ?, ?)",
            (sensor, taken_ms, round(arrival.temp_c * 100), humidity, received_ms),
        )
        if cursor.rowcount:
            return taken_ms
        held = con.execute(
            "SELECT temp_centi_c, humidity_deci_pct FROM readings "
            "WHERE sensor_id = ? AND taken_ms = ?",
            (sensor, taken_ms),
        ).fetchone()
        if arrival.seq is None or held == (round(arrival.temp_c * 100), humidity):
            return None
    return None


# A node sends at most 8,000 samples ahead of our word. A number beyond that is not remembered
# (its reading is kept): not said to be committed, it is sent again when the gap has closed.
AHEAD = 10_000


def _arrive(
    con: sqlite3.Connection, node: int, boot: str, seq: int, begins: Mapping[str, int]
) -> None:
    if seq <= begins.get(boot, -1) + AHEAD:
        con.execute("INSERT OR IGNORE INTO arrived VALUES (?, ?, ?)", (node, boot, seq))


def _known(con: sqlite3.Connection, node: int, boot: str, seq: int) -> bool:
    row = con.execute(
        "SELECT 1 FROM arrived WHERE node_id = :n AND boot = :b AND seq = :s UNION ALL "
        "SELECT 1 FROM progress WHERE node_id = :n AND boot = :b AND through >= :s",
        {"n": node, "b": boot, "s": seq},
    ).fetchone()
    return row is not None


def _through(con: sqlite3.Connection, node: int, boot: str) -> int:
    row = con.execute(
        "SELECT through FROM progress WHERE node_id = ? AND boot = ?", (node, boot)
    ).fetchone()
    return -1 if row is None else int(row[0])


def _advance(con: sqlite3.Connection, node: int, boot: str, through: int, received_ms: int) -> None:
    """Move 'committed through' over every number that is here without a gap."""
    for (seq,) in con.execute(
        "SELECT seq FROM arrived WHERE node_id = ? AND boot = ? AND seq > ? ORDER BY seq",
        (node, boot, through),
    ):
        if seq != through + 1:
            break
        through = seq
    con.execute(
        "INSERT INTO progress VALUES (?, ?, ?, ?) ON CONFLICT (node_id, boot) DO UPDATE "
        "SET through = excluded.through, touched_ms = excluded.touched_ms",
        (node, boot, through, received_ms),
    )
    con.execute(
        "DELETE FROM arrived WHERE node_id = ? AND boot = ? AND seq <= ?", (node, boot, through)
    )


# A node forgets a boot once it is told; the eight latest outlast any outbox in practice.
BOOTS_TOLD = 8
# Older ones are forgotten. Should one of them still send, it begins anew at its `low`: readings
# that are here already are known by their time, so nothing is lost and nothing doubled.
BOOTS_KEPT = 64
# Of those heard in one batch, one that has come far is likelier a board than junk.
_LATEST = "ORDER BY touched_ms DESC, through DESC"


def _forget_boots(con: sqlite3.Connection, node: int) -> None:
    old = con.execute(
        f"SELECT boot FROM progress WHERE node_id = ? {_LATEST} LIMIT -1 OFFSET {BOOTS_KEPT}",
        (node,),
    ).fetchall()
    for (boot,) in old:
        con.execute("DELETE FROM arrived WHERE node_id = ? AND boot = ?", (node, boot))
        con.execute("DELETE FROM progress WHERE node_id = ? AND boot = ?", (node, boot))


def committed(con: sqlite3.Connection, site: str, node: str) -> dict[str, int]:
    """'Committed through N' of the node's latest boots, for the retained message."""
    rows = con.execute(
        "SELECT boot, through FROM progress JOIN nodes ON nodes.id = node_id "
        f"WHERE site = ? AND node = ? AND through >= 0 {_LATEST} LIMIT ?",
        (site, node, BOOTS_TOLD),
    )
    return {boot: int(through) for boot, through in rows}


def refuse(con: sqlite3.Connection, reason: str, count: int, example: str, at_s: float) -> None:
    """Count what was not believed, with one example to look at."""
    con.execute(
        "INSERT INTO refusals VALUES (?, ?, ?, ?) ON CONFLICT (reason) DO UPDATE SET "
        "count = count + excluded.count, last_ms = excluded.last_ms, example = excluded.example",
        (reason, count, ms(at_s), _storable(example[:200])),
    )


def _storable(text: str) -> str:
    """Half a character, which JSON can spell, becomes a question mark."""
    return text.encode("utf-8", "replace").decode()
