"""The monitor's latest outlook of each layer, and a thinned history of them."""

from __future__ import annotations

import sqlite3
from dataclasses import replace

from monitor.core.vocabulary import Outlook
from monitor.store.moments import ms
from monitor.store.packing import pack, unpack

# Twelve an hour would fill a card with near-copies; two show how the times moved. Later, when
# little moves, one every twentieth of the time since the first.
HISTORY_EVERY_S = 1800.0
HISTORY_SHARE = 0.05


def save(con: sqlite3.Connection, outlook: Outlook) -> None:
    """Keep the latest outlook whole, and one without its curve now and then."""
    con.execute(
        "INSERT INTO outlooks VALUES (?, ?, ?) ON CONFLICT (layer_id) DO UPDATE "
        "SET as_of_ms = excluded.as_of_ms, outlook = excluded.outlook",
        (outlook.layer_id, ms(outlook.as_of_s), pack(outlook)),
    )
    now = ms(outlook.as_of_s)
    # What lies ahead of now is from before a clock was set back.
    first, last = con.execute(
        "SELECT min(as_of_ms), max(as_of_ms) FROM outlook_history "
        "WHERE layer_id = ? AND as_of_ms <= ?",
        (outlook.layer_id, now),
    ).fetchone()
    if last is None or now - last >= max(ms(HISTORY_EVERY_S), HISTORY_SHARE * (now - first)):
        con.execute(
            "INSERT OR IGNORE INTO outlook_history VALUES (?, ?, ?)",
            (outlook.layer_id, now, pack(replace(outlook, curve=None))),
        )


def latest(con: sqlite3.Connection, layer_id: int) -> Outlook | None:
    """The latest outlook with its curve, or None before the monitor's first."""
    row = con.execute("SELECT outlook FROM outlooks WHERE layer_id = ?", (layer_id,)).fetchone()
    return None if row is None else unpack(row[0], Outlook)


def history(con: sqlite3.Connection, layer_id: int) -> list[Outlook]:
    """Past outlooks without curves, oldest first."""
    rows = con.execute(
        "SELECT outlook FROM outlook_history WHERE layer_id = ? ORDER BY as_of_ms", (layer_id,)
    )
    return [unpack(text, Outlook) for (text,) in rows]
