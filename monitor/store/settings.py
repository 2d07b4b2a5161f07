"""What a person chose: units, quiet hours, names. Text values under short keys."""

from __future__ import annotations

import sqlite3

from monitor.store.moments import ms


def get(con: sqlite3.Connection, key: str, default: str) -> str:
    """The value saved under `key`, or the default."""
    row = con.execute("SELECT value FROM settings WHERE key = ?", (key,)).fetchone()
    return default if row is None else str(row[0])


def put(con: sqlite3.Connection, key: str, value: str, at_s: float) -> None:
    """Save one value."""
    con.execute(
        "INSERT INTO settings VALUES (?, ?, ?) ON CONFLICT (key) DO UPDATE "
        "SET value = excluded.value, saved_ms = excluded.saved_ms",
        (key, value, ms(at_s)),
    )


def everything(con: sqlite3.Connection) -> dict[str, str]:
    """All saved values."""
    return dict(con.execute("SELECT key, value FROM settings").fetchall())
