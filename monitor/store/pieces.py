"""Pieces and their layers: what a person makes. A changed field keeps its old value."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from typing import Any

from monitor.core.vocabulary import Base, Layer, Piece, ResinProfile
from monitor.store import changes
from monitor.store.errors import NotThere
from monitor.store.moments import maybe_seconds, ms, seconds
from monitor.store.packing import pack, unpack

_LAYER = (
    "id, piece_id, name, resin, poured_ms, depth_mm, area_cm2, volume_ml, base, pour_temp_c, "
    "hardener_ratio, sensor, ended_ms, batch, probe, step"
)


def _layer(row: tuple[Any, ...]) -> Layer:
    return Layer(
        id=row[0],
        piece_id=row[1],
        name=row[2],
        resin=unpack(row[3], ResinProfile),
        poured_at_s=seconds(row[4]),
        depth_mm=row[5],
        area_cm2=row[6],
        volume_ml=row[7],
        base=row[8],
        pour_temp_c=row[9],
        hardener_ratio=row[10],
        sensor=row[11],
        ended_at_s=maybe_seconds(row[12]),
        batch=row[13],
        probe=row[14],
        step=row[15],
    )


def _layers(con: sqlite3.Connection, piece_ids: Iterable[int]) -> dict[int, tuple[Layer, ...]]:
    found: dict[int, list[Layer]] = {piece_id: [] for piece_id in piece_ids}
    for piece_id, layers in found.items():
        rows = con.execute(
            f"SELECT {_LAYER} FROM layers WHERE piece_id = ? ORDER BY poured_ms, id", (piece_id,)
        )
        layers.extend(_layer(row) for row in rows)
    return {piece_id: tuple(layers) for piece_id, layers in found.items()}


def _pieces(con: sqlite3.Connection, where: str, values: tuple[object, ...]) -> list[Piece]:
    rows = con.execute(
        "SELECT id, name, created_ms, note, ended_ms, outcome, archived_ms FROM pieces "
        f"{where} ORDER BY created_ms DESC, id DESC",
        values,
    ).fetchall()
    layers = _layers(con, (row[0] for row in rows))
    return [
        Piece(
            id_,
            name,
            seconds(created),
            layers[id_],
            note,
            maybe_seconds(ended),
            outcome,
            maybe_seconds(archived),
        )
        for id_, name, created, note, ended, outcome, archived in rows
    ]


def pieces(
    con: sqlite3.Connection,
    ended: bool | None = None,
    search: str = "",
    archived: bool | None = None,
) -> list[Piece]:
    """Pieces, newest first: all, those on the bench (False) or those finished (True).

    `archived` leaves in only pieces put away (True) or not (False).
    """
    where = ["1"]
    if archived is not None:
        where.append("archived_ms IS NOT NULL" if archived else "archived_ms IS NULL")
    if ended is not None:
        where.append("ended_ms IS NOT NULL" if ended else "ended_ms IS NULL")
    values: list[object] = []
    if search.strip():
        like = "%" + search.strip().replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
        like += "%"
        where.append(
            "(name LIKE ? ESCAPE '\\' OR note LIKE ? ESCAPE '\\' OR outcome LIKE ? ESCAPE '\\' OR "
            "id IN (SELECT piece_id FROM layers WHERE name LIKE ? ESCAPE '\\' "
            "OR json_extract(resin, '$.name') LIKE ? ESCAPE '\\'))"
        )
        values = [like] * 5
    return _pieces(con, "WHERE " + " AND ".join(where), tuple(values))


def piece(con: sqlite3.Connection, id_: int) -> Piece | None:
    """One piece with its layers, or None."""
    found = _pieces(con, "WHERE id = ?", (id_,))
    return found[0] if found else None


def layer(con: sqlite3.Connection, id_: int) -> Layer | None:
    """One layer, or None."""
    row = con.execute(f"SELECT {_LAYER} FROM layers WHERE id = ?", (id_,)).fetchone()
    return None if row is None else _layer(row)


def bench(con: sqlite3.Connection) -> list[tuple[Piece, Layer]]:
    """The open layers of the pieces on the bench, latest pour first."""
    pairs = [
        (piece_, layer_)
        for piece_ in pieces(con, ended=False)
        for layer_ in piece_.layers
        if layer_.ended_at_s is None
    ]
    return sorted(pairs, key=lambda pair: -pair[1].poured_at_s)


def layers_since(con: sqlite3.Connection, from_s: float) -> list[Layer]:
    """Every layer poured since a moment, oldest first."""
    rows = con.execute(
        f"SELECT {_LAYER} FROM layers WHERE poured_ms >= ? ORDER BY poured_ms, id", (ms(from_s),)
    )
    return [_layer(row) for row in rows]


def add_piece(con: sqlite3.Connection, name: str, at_s: float, note: str = "") -> int:
    """Start a piece; returns its id."""
    cursor = con.execute(
        "INSERT INTO pieces (name, note, created_ms) VALUES (?, ?, ?)", (name, note, ms(at_s))
    )
    return int(cursor.lastrowid or 0)


def add_layer(
    con: sqlite3.Connection,
    piece_id: int,
    name: str,
    resin: ResinProfile,
    poured_at_s: float,
    at_s: float,
    *,
    depth_mm: float | None = None,
    area_cm2: float | None = None,
    volume_ml: float | None = None,
    base: Base = "wood",
    pour_temp_c: float | None = None,
    hardener_ratio: float = 1.0,
    sensor: str | None = None,
    batch: str = "",
    probe: str | None = None,
    step: int | None = None,
) -> int:
    """Start a layer, with the resin as it is today; returns its id."""
    if piece(con, piece_id) is None:
        raise NotThere(f"there is no piece {piece_id} to add a layer to; start one first")
    cursor = con.execute(
        "INSERT INTO layers (piece_id, name, resin, poured_ms, depth_mm, area_cm2, volume_ml, "
        "base, pour_temp_c, hardener_ratio, sensor, batch, probe, step) "
        "VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?)",
        (
            piece_id,
            name,
            pack(resin),
            ms(poured_at_s),
            depth_mm,
            area_cm2,
            volume_ml,
            base,
            pour_temp_c,
            hardener_ratio,
            sensor,
            batch,
            probe,
            step,
        ),
    )
    id_ = int(cursor.lastrowid or 0)
    changes.note(con, "layers", id_, at_s, "started", None, name)
    return id_


def change_layer(con: sqlite3.Connection, id_: int, at_s: float, **fields: Any) -> None:
    """Correct what was entered wrongly; the old value is kept in `changes`."""
    changes.change(con, "layers", id_, at_s, fields)


def change_piece(con: sqlite3.Connection, id_: int, at_s: float, **fields: Any) -> None:
    """Correct a piece's name, note or outcome; the old value is kept in `changes`."""
    changes.change(con, "pieces", id_, at_s, fields)


def end_layer(con: sqlite3.Connection, id_: int, at_s: float) -> None:
    """The layer is done: its clock stops."""
    change_layer(con, id_, at_s, ended_at_s=at_s)


def reopen_layer(con: sqlite3.Connection, id_: int, at_s: float) -> None:
    """Ended by mistake: its clock runs again, as if it had never stopped."""
    change_layer(con, id_, at_s, ended_at_s=None)


def end_piece(con: sqlite3.Connection, id_: int, at_s: float, outcome: str = "") -> None:
    """The piece is finished: it and its open layers leave the bench."""
    found = piece(con, id_)
    if found is None:
        raise NotThere(f"there is no piece {id_}; reload the page and try again")
    for layer_ in found.layers:
        if layer_.ended_at_s is None:
            end_layer(con, layer_.id, at_s)
    change_piece(con, id_, at_s, ended_at_s=at_s, outcome=outcome)


def reopen_piece(con: sqlite3.Connection, id_: int, at_s: float) -> None:
    """Finished by mistake: the piece returns to the bench with the layers that ended with it."""
    found = piece(con, id_)
    if found is None:
        raise NotThere(f"there is no piece {id_}; reload the page and try again")
    for layer_ in found.layers:
        if layer_.ended_at_s is not None and layer_.ended_at_s == found.ended_at_s:
            reopen_layer(con, layer_.id, at_s)
    change_piece(con, id_, at_s, ended_at_s=None, archived_at_s=None)


def archive_piece(con: sqlite3.Connection, id_: int, at_s: float, away: bool = True) -> None:
    """Put a piece away from the list of pieces, or take it out again."""
    change_piece(con, id_, at_s, archived_at_s=at_s if away else None)


def delete_piece(con: sqlite3.Connection, id_: int) -> None:
    """Remove a piece with its layers, marks, outlooks and layer alarms, for good."""
    layers = [row[0] for row in con.execute("SELECT id FROM layers WHERE piece_id = ?", (id_,))]
    for layer_id in layers:
        subject = f"layer:{layer_id}"
        con.execute("DELETE FROM alarm_states WHERE subject = ?", (subject,))
        con.execute("DELETE FROM alarm_changes WHERE subject = ?", (subject,))
    con.execute("DELETE FROM pieces WHERE id = ?", (id_,))
