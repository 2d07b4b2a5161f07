"""Photos of a mark: small JPEG pictures, kept beside the mark and gone with it."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from monitor.store import changes
from monitor.store.errors import NotThere, StoreError

# A mark tells one moment: a few views of it, and a card is not infinite.
MOST = 6


@dataclass(frozen=True)
class Photo:
    """One photo without its picture: whose it is, pixels, bytes."""

    id: int
    mark_id: int
    width: int
    height: int
    size: int


_COLUMNS = "photos.id, mark_id, width, height, length(jpeg)"


def photo(con: sqlite3.Connection, id_: int) -> Photo | None:
    """One photo, or None."""
    row = con.execute(f"SELECT {_COLUMNS} FROM photos WHERE id = ?", (id_,)).fetchone()
    return None if row is None else Photo(*row)


def of_layer(con: sqlite3.Connection, layer_id: int) -> dict[int, tuple[Photo, ...]]:
    """A layer's photos by the mark they belong to, each mark's oldest first."""
    found: dict[int, tuple[Photo, ...]] = {}
    for row in con.execute(
        f"SELECT {_COLUMNS} FROM photos JOIN marks ON marks.id = mark_id "
        "WHERE layer_id = ? ORDER BY photos.id",
        (layer_id,),
    ):
        one = Photo(*row)
        found[one.mark_id] = (*found.get(one.mark_id, ()), one)
    return found


def picture(con: sqlite3.Connection, id_: int) -> bytes | None:
    """A photo's JPEG, or None."""
    row = con.execute("SELECT jpeg FROM photos WHERE id = ?", (id_,)).fetchone()
    return None if row is None else bytes(row[0])


def add(
    con: sqlite3.Connection, mark_id: int, at_s: float, width: int, height: int, jpeg: bytes
) -> int:
    """Keep a photo beside its mark; returns its id. Raises StoreError, in words."""
    changes.piece_of(con, "marks", mark_id)
    held = con.execute("SELECT count(*) FROM photos WHERE mark_id = ?", (mark_id,)).fetchone()[0]
    if held >= MOST:
        raise StoreError(f"this mark has {held} photos, the most it can keep; delete one first")
    cursor = con.execute(
        "INSERT INTO photos (mark_id, width, height, jpeg) VALUES (?, ?, ?, ?)",
        (mark_id, width, height, jpeg),
    )
    changes.note(con, "marks", mark_id, at_s, "photo", None, f"{width}×{height}")
    return int(cursor.lastrowid or 0)


def remove(con: sqlite3.Connection, id_: int, at_s: float) -> None:
    """Delete a photo for good. That there was one stays in the changes."""
    gone = photo(con, id_)
    if gone is None:
        raise NotThere(f"there is no photo {id_}; reload the page and try again")
    con.execute("DELETE FROM photos WHERE id = ?", (id_,))
    changes.note(con, "marks", gone.mark_id, at_s, "photo", f"{gone.width}×{gone.height}", None)
