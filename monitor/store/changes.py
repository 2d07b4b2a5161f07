"""What was corrected: one row a field, the old value kept, so that it can be undone."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from monitor.core.vocabulary import ResinProfile
from monitor.store.errors import NotThere, StoreError
from monitor.store.moments import maybe_ms, ms, seconds
from monitor.store.packing import pack, unpack

# What a person may correct, and the column that keeps it.
FIELDS: Mapping[str, Mapping[str, str]] = {
    "pieces": {
        "name": "name",
        "note": "note",
        "outcome": "outcome",
        "ended_at_s": "ended_ms",
        "archived_at_s": "archived_ms",
    },
    "layers": {
        "name": "name",
        "resin": "resin",
        "poured_at_s": "poured_ms",
        "depth_mm": "depth_mm",
        "area_cm2": "area_cm2",
        "volume_ml": "volume_ml",
        "base": "base",
        "pour_temp_c": "pour_temp_c",
        "hardener_ratio": "hardener_ratio",
        "sensor": "sensor",
        "batch": "batch",
        "probe": "probe",
        "ended_at_s": "ended_ms",
    },
    "marks": {
        "kind": "kind",
        "seen_at_s": "at_ms",
        "verdict": "verdict",
        "note": "note",
        "set_aside": "set_aside",
        "removed_at_s": "removed_ms",
    },
}
_PIECE_OF: Mapping[str, str] = {
    "pieces": "SELECT id FROM pieces WHERE id = ?",
    "layers": "SELECT piece_id FROM layers WHERE id = ?",
    "marks": "SELECT piece_id FROM marks JOIN layers ON layers.id = layer_id WHERE marks.id = ?",
}
_NUMBERS = frozenset({"depth_mm", "area_cm2", "volume_ml", "pour_temp_c", "hardener_ratio"})
_ONE = {"pieces": "piece", "layers": "layer", "marks": "mark"}


@dataclass(frozen=True)
class Change:
    """One corrected field: what it was, what it is. `undoable` while it still is so."""

    at_s: float
    table: str
    row_id: int
    field: str
    before: str | None
    after: str | None
    id: int = 0
    undoable: bool = False


def piece_of(con: sqlite3.Connection, table: str, id_: int) -> int:
    """The piece that a row belongs to. Raises StoreError where the row is gone."""
    row = con.execute(_PIECE_OF[table], (id_,)).fetchone()
    if row is None:
        raise NotThere(f"there is no {_ONE[table]} {id_}; reload the page and try again")
    return int(row[0])


def note(
    con: sqlite3.Connection,
    table: str,
    row_id: int,
    at_s: float,
    field: str,
    before: object,
    after: object,
) -> None:
    """Keep what a field was and what it became."""
    con.execute(
        "INSERT INTO changes (piece_id, at_ms, of_table, row_id, field, before, after) "
        "VALUES (?, ?, ?, ?, ?, ?, ?)",
        (
            piece_of(con, table, row_id),
            ms(at_s),
            table,
            row_id,
            field,
            None if before is None else str(before),
            None if after is None else str(after),
        ),
    )


def change(
    con: sqlite3.Connection, table: str, id_: int, at_s: float, fields: Mapping[str, Any]
) -> None:
    """Set fields of one row, each with its old value kept. Raises StoreError, in words."""
    allowed = FIELDS[table]
    piece_of(con, table, id_)
    for field, value in fields.items():
        if field not in allowed:
            raise StoreError(f"{field!r} of {table} cannot be changed; allowed: {sorted(allowed)}")
        column, new = allowed[field], _kept(field, value)
        old = _now(con, table, id_, field)
        if old == new:
            continue
        con.execute(f"UPDATE {table} SET {column} = ? WHERE id = ?", (new, id_))
        note(con, table, id_, at_s, field, _told(field, old), _told(field, new))


def changes(con: sqlite3.Connection, piece_id: int) -> list[Change]:
    """What was corrected on a piece, oldest first; a resin by its name."""
    rows = con.execute(
        "SELECT at_ms, of_table, row_id, field, before, after, id FROM changes "
        "WHERE piece_id = ? ORDER BY at_ms, id",
        (piece_id,),
    ).fetchall()
    return [
        Change(
            seconds(at),
            table,
            row_id,
            field,
            _named(field, before),
            _named(field, after),
            id_,
            field in FIELDS.get(table, {}) and _stands(con, table, row_id, field, before, after),
        )
        for at, table, row_id, field, before, after, id_ in rows
    ]


def undo(con: sqlite3.Connection, change_id: int, at_s: float) -> int:
    """Put one corrected field back; returns the piece. The undoing is a change as well.

    Raises StoreError where the field has changed again since.
    """
    row = con.execute(
        "SELECT piece_id, of_table, row_id, field, before, after FROM changes WHERE id = ?",
        (change_id,),
    ).fetchone()
    if row is None:
        raise NotThere(f"there is no correction {change_id}; reload the page and try again")
    piece_id, table, row_id, field, before, after = row
    if field not in FIELDS.get(table, {}):
        raise StoreError(f"'{field.replace('_', ' ')}' is not something that can be undone")
    if not _stands(con, table, row_id, field, before, after):
        raise StoreError(
            f"'{field.replace('_', ' ')}' was changed again since; undo the later one first"
        )
    change(con, table, row_id, at_s, {field: _meant(field, before)})
    return int(piece_id)


def _stands(
    con: sqlite3.Connection,
    table: str,
    id_: int,
    field: str,
    before: str | None,
    after: str | None,
) -> bool:
    """Whether a field still is what a correction made it, and what it was can be told."""
    if field == "resin" and not (before or "").startswith("{"):
        return False  # an old row, which kept only the resin's name
    try:
        now = _told(field, _now(con, table, id_, field))
    except StoreError:
        return False
    return (None if now is None else str(now)) == after


def _now(con: sqlite3.Connection, table: str, id_: int, field: str) -> Any:
    row = con.execute(f"SELECT {FIELDS[table][field]} FROM {table} WHERE id = ?", (id_,)).fetchone()
    if row is None:
        raise NotThere(f"there is no {_ONE[table]} {id_}; reload the page and try again")
    return row[0]


def _kept(field: str, value: Any) -> Any:
    """A value as its column keeps it."""
    if field.endswith("_at_s"):
        return maybe_ms(value)
    if field == "set_aside":
        return int(value)
    return pack(value) if isinstance(value, ResinProfile) else value


def _told(field: str, kept: Any) -> Any:
    """A column's value as a change keeps it."""
    return seconds(kept) if kept is not None and field.endswith("_at_s") else kept


def _named(field: str, told: str | None) -> str | None:
    if field == "resin" and told is not None and told.startswith("{"):
        return unpack(told, ResinProfile).name
    return told


def _meant(field: str, told: str | None) -> Any:
    """A kept text as the value it stands for."""
    if told is None:
        return None
    if field.endswith("_at_s") or field in _NUMBERS:
        return float(told)
    if field == "set_aside":
        return int(told)
    return unpack(told, ResinProfile) if field == "resin" else told
