"""What a person saw or did, one row a mark. A removed mark can come back."""

from __future__ import annotations

import sqlite3
from typing import Any

from monitor.core.vocabulary import Mark, MarkKind, TapeVerdict
from monitor.store.errors import StoreError
from monitor.store.moments import ms, seconds

_COLUMNS = "id, layer_id, kind, at_ms, verdict, note, set_aside"


def _mark(row: tuple[Any, ...]) -> Mark:
    id_, layer_id, kind, at_ms, verdict, note, aside = row
    return Mark(id_, layer_id, kind, seconds(at_ms), verdict, note, bool(aside))


def marks(con: sqlite3.Connection, layer_id: int) -> list[Mark]:
    """A layer's marks in order of time."""
    rows = con.execute(
        f"SELECT {_COLUMNS} FROM marks WHERE layer_id = ? AND removed_ms IS NULL "
        "ORDER BY at_ms, id",
        (layer_id,),
    )
    return [_mark(row) for row in rows]


def all_marks(con: sqlite3.Connection) -> list[Mark]:
    """Every mark of every layer, in order of time."""
    rows = con.execute(f"SELECT {_COLUMNS} FROM marks WHERE removed_ms IS NULL ORDER BY at_ms, id")
    return [_mark(row) for row in rows]


def add_mark(
    con: sqlite3.Connection,
    layer_id: int,
    kind: MarkKind,
    at_s: float,
    verdict: TapeVerdict | None = None,
    note: str = "",
) -> int:
    """Log one mark; returns its id."""
    cursor = con.execute(
        "INSERT INTO marks (layer_id, kind, at_ms, verdict, note) VALUES (?, ?, ?, ?, ?)",
        (layer_id, kind, ms(at_s), verdict, note),
    )
    return int(cursor.lastrowid or 0)


def _change(con: sqlite3.Connection, sql: str, *values: object) -> None:
    if con.execute(sql, values).rowcount == 0:
        raise StoreError(f"there is no mark {values[-1]}; reload the page and try again")


def remove_mark(con: sqlite3.Connection, id_: int, at_s: float) -> None:
    """Take a mark back; `restore_mark` undoes it."""
    _change(con, "UPDATE marks SET removed_ms = ? WHERE id = ?", ms(at_s), id_)


def restore_mark(con: sqlite3.Connection, id_: int) -> None:
    """Bring a removed mark back."""
    _change(con, "UPDATE marks SET removed_ms = NULL WHERE id = ?", id_)


def set_aside(con: sqlite3.Connection, id_: int, aside: bool) -> None:
    """Keep a mark but do not learn from it, or learn from it again."""
    _change(con, "UPDATE marks SET set_aside = ? WHERE id = ?", int(aside), id_)
