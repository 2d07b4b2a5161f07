"""Bottles on the shelf: what each held, when it was opened, and what layers took from it."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from monitor.store.errors import NotThere, StoreError
from monitor.store.moments import maybe_ms, maybe_seconds, ms

Part = Literal["A", "B", "kit"]

_FIELDS: Mapping[str, str] = {
    "part": "part",
    "lot": "lot",
    "opened_at_s": "opened_ms",
    "held_ml": "held_ml",
    "price": "price",
    "note": "note",
    "emptied_at_s": "emptied_ms",
}


@dataclass(frozen=True)
class Bottle:
    """One bottle: resin (A), hardener (B) or a kit of both, in millilitres."""

    id: int
    resin_key: str
    part: Part
    held_ml: float
    lot: str = ""
    opened_at_s: float | None = None
    price: float | None = None
    note: str = ""
    emptied_at_s: float | None = None
    used_ml: float = 0.0

    @property
    def left_ml(self) -> float:
        """What is left by the book; nothing once it was declared empty."""
        return 0.0 if self.emptied_at_s is not None else max(self.held_ml - self.used_ml, 0.0)


@dataclass(frozen=True)
class Use:
    """What one layer took from one bottle."""

    bottle_id: int
    layer_id: int
    ml: float


def bottles(
    con: sqlite3.Connection, resin_key: str | None = None, emptied: bool | None = None
) -> list[Bottle]:
    """Bottles by resin and part, the one last taken from first, then the longest open.

    `emptied` chooses those in use or those used up.
    """
    where, values = ["1"], []
    if resin_key is not None:
        where.append("resin_key = ?")
        values.append(resin_key)
    if emptied is not None:
        where.append("emptied_ms IS NOT NULL" if emptied else "emptied_ms IS NULL")
    return _read(con, " AND ".join(where), tuple(values))


def bottle(con: sqlite3.Connection, id_: int) -> Bottle | None:
    """One bottle, or None."""
    found = _read(con, "id = ?", (id_,))
    return found[0] if found else None


def add_bottle(
    con: sqlite3.Connection,
    resin_key: str,
    part: Part,
    held_ml: float,
    *,
    lot: str = "",
    opened_at_s: float | None = None,
    price: float | None = None,
    note: str = "",
) -> int:
    """Put a bottle on the shelf; returns its id."""
    cursor = con.execute(
        "INSERT INTO bottles (resin_key, part, lot, opened_ms, held_ml, price, note) "
        "VALUES (?, ?, ?, ?, ?, ?, ?)",
        (resin_key, part, lot, maybe_ms(opened_at_s), held_ml, price, note),
    )
    return int(cursor.lastrowid or 0)


def change_bottle(con: sqlite3.Connection, id_: int, **fields: Any) -> None:
    """Correct a bottle, or declare it empty (`emptied_at_s`)."""
    if bottle(con, id_) is None:
        raise NotThere(f"there is no bottle {id_}; reload the page and try again")
    for field, value in fields.items():
        if field not in _FIELDS:
            raise StoreError(f"{field!r} of a bottle cannot be changed; allowed: {sorted(_FIELDS)}")
        stored = maybe_ms(value) if field.endswith("_at_s") else value
        con.execute(f"UPDATE bottles SET {_FIELDS[field]} = ? WHERE id = ?", (stored, id_))


def delete_bottle(con: sqlite3.Connection, id_: int) -> None:
    """Remove a bottle and what was taken from it, for good."""
    con.execute("DELETE FROM bottles WHERE id = ?", (id_,))


def take(con: sqlite3.Connection, id_: int, layer_id: int, ml: float, at_s: float) -> None:
    """A layer takes from a bottle; the first time opens it. Taking anew replaces the amount."""
    found = bottle(con, id_)
    if found is None:
        raise NotThere(f"there is no bottle {id_} to take from; choose another")
    if not ml > 0.0:
        raise StoreError(f"{ml:g} ml cannot be taken from bottle {id_}; expected above 0")
    con.execute(
        "INSERT INTO bottle_uses VALUES (?, ?, ?) "
        "ON CONFLICT (bottle_id, layer_id) DO UPDATE SET ml = excluded.ml",
        (id_, layer_id, ml),
    )
    con.execute(
        "UPDATE bottles SET opened_ms = ? WHERE id = ? AND opened_ms IS NULL", (ms(at_s), id_)
    )


def drawing(con: sqlite3.Connection) -> list[int]:
    """The layers that took anything."""
    rows = con.execute("SELECT DISTINCT layer_id FROM bottle_uses ORDER BY layer_id")
    return [int(row[0]) for row in rows]


def uses(con: sqlite3.Connection, layer_id: int) -> list[Use]:
    """What a layer took, from which bottles."""
    rows = con.execute(
        "SELECT bottle_id, layer_id, ml FROM bottle_uses WHERE layer_id = ? ORDER BY bottle_id",
        (layer_id,),
    )
    return [Use(*row) for row in rows]


def _read(con: sqlite3.Connection, where: str, values: tuple[object, ...]) -> list[Bottle]:
    rows = con.execute(
        "SELECT id, resin_key, part, held_ml, lot, opened_ms, price, note, emptied_ms, "
        "(SELECT coalesce(sum(ml), 0.0) FROM bottle_uses WHERE bottle_id = bottles.id) "
        f"FROM bottles WHERE {where} "
        "ORDER BY emptied_ms IS NOT NULL, resin_key, part, "
        "(SELECT max(poured_ms) FROM bottle_uses JOIN layers ON layers.id = layer_id "
        "WHERE bottle_id = bottles.id) DESC NULLS LAST, opened_ms IS NULL, opened_ms, id",
        values,
    )
    return [
        Bottle(
            id=row[0],
            resin_key=row[1],
            part=row[2],
            held_ml=row[3],
            lot=row[4],
            opened_at_s=maybe_seconds(row[5]),
            price=row[6],
            note=row[7],
            emptied_at_s=maybe_seconds(row[8]),
            used_ml=row[9],
        )
        for row in rows
    ]
