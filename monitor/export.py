"""One piece with all that belongs to it, as JSON that a person keeps."""

from __future__ import annotations

import json
import sqlite3
from typing import Any

from monitor.store import alarms, marks, outlooks, pieces, readings
from monitor.store.errors import StoreError
from monitor.store.packing import pack

FORMAT = 1
# The room of a piece in at most this many points a layer; the raw log stays in the store.
POINTS = 2000


def piece_json(con: sqlite3.Connection, piece_id: int) -> str:
    """The piece, its layers, marks, last outlooks, alarms and room. Raises StoreError."""
    piece = pieces.piece(con, piece_id)
    if piece is None:
        known = ", ".join(str(one.id) for one in pieces.pieces(con)) or "none yet"
        raise StoreError(f"there is no piece {piece_id}; known: {known}")
    layers = []
    for layer in piece.layers:
        outlook = outlooks.latest(con, layer.id)
        layers.append(
            {
                "layer": _plain(layer),
                "marks": [_plain(mark) for mark in marks.marks(con, layer.id)],
                "outlook": None if outlook is None else _plain(outlook),
                "alarms": [
                    _plain(entry.change)
                    for entry in alarms.journal(con, subject=f"layer:{layer.id}")
                ],
            }
        )
    whole = {
        "format": FORMAT,
        "piece": {**_plain(piece), "layers": [layer["layer"]["id"] for layer in layers]},
        "layers": layers,
        "changes": [_plain(change) for change in pieces.changes(con, piece_id)],
        "room": _room(con, piece_id),
    }
    return json.dumps(whole, indent=1, ensure_ascii=False)


def _room(con: sqlite3.Connection, piece_id: int) -> list[dict[str, Any]]:
    piece = pieces.piece(con, piece_id)
    if piece is None or not piece.layers:
        return []
    from_s = min(layer.poured_at_s for layer in piece.layers)
    rooms = []
    for sensor in readings.sensors(con):
        wanted = {layer.sensor for layer in piece.layers}
        if sensor.last_at_s is None or not (sensor.key in wanted or None in wanted):
            continue
        to_s = piece.ended_at_s or sensor.last_at_s
        sampled = readings.sampled(con, sensor.key, from_s, to_s, POINTS)
        journal = alarms.journal(con, subject=f"room:{sensor.key}", from_s=from_s, to_s=to_s)
        rooms.append(
            {
                "sensor": sensor.key,
                "readings": _plain(sampled),
                "alarms": [_plain(entry.change) for entry in journal],
            }
        )
    return rooms


def _plain(value: Any) -> Any:
    return json.loads(pack(value))
