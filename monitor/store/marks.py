"""What a person saw or did, one row a mark. A removed mark can come back.

What is changed on a mark is kept among the changes of its piece.
"""

from __future__ import annotations

import sqlite3
from typing import Any

from monitor.core.vocabulary import Mark, MarkKind, TapeVerdict
from monitor.store import changes
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


def mark(con: sqlite3.Connection, id_: int) -> Mark | None:
    """One mark, also one taken back, or None."""
    row = con.execute(f"SELECT {_COLUMNS} FROM marks WHERE id = ?", (id_,)).fetchone()
    return None if row is None else _mark(row)


def taken_back(con: sqlite3.Connection, layer_id: int) -> list[Mark]:
    """A layer's marks that were taken back and can return, in order of time."""
    rows = con.execute(
        f"SELECT {_COLUMNS} FROM marks WHERE layer_id = ? AND removed_ms IS NOT NULL "
        "ORDER BY at_ms, id",
        (layer_id,),
    )
    return [_mark(row) for row in rows]


def change_mark(con: sqlite3.Connection, id_: int, at_s: float, **fields: Any) -> None:
    """Correct a mark's `kind`, `seen_at_s`, `verdict` or `note`; the old value is kept."""
    changes.change(con, "marks", id_, at_s, fields)


def remove_mark(con: sqlite3.Connection, id_: int, at_s: float) -> None:
    """Take a mark back; `restore_mark` undoes it."""
    changes.change(con, "marks", id_, at_s, {"removed_at_s": at_s})


def restore_mark(con: sqlite3.Connection, id_: int, at_s: float) -> None:
    """Bring a removed mark back."""
    changes.change(con, "marks", id_, at_s, {"removed_at_s": None})


def set_aside(con: sqlite3.Connection, id_: int, at_s: float, aside: bool) -> None:
    """Keep a mark but do not learn from it, or learn from it again."""
    changes.change(con, "marks", id_, at_s, {"set_aside": aside})
