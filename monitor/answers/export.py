"""One piece with all that belongs to it, as JSON that a person keeps."""

from __future__ import annotations

import base64
import json
import sqlite3
from datetime import UTC, datetime
from typing import Any

from monitor.core.alarms.words import local_words
from monitor.core.vocabulary import Layer, Piece
from monitor.store import (
    alarms,
    bottles,
    changes,
    marks,
    outlooks,
    photos,
    pieces,
    plans,
    readings,
)
from monitor.store.errors import StoreError
from monitor.store.packing import pack

FORMAT = 2
# The room of a piece in at most this many steps a sensor; the raw log goes with the tables.
POINTS = 2000
_ALL = 1_000_000


def piece_json(con: sqlite3.Connection, piece_id: int) -> str:
    """The piece, its layers, marks with their photos, every outlook kept, alarms, plan and room.

    Photos are within it, as base64, so that the one file is the whole. Raises StoreError.
    """
    piece = found(con, piece_id)
    layers = [_layer(con, layer) for layer in piece.layers]
    plan = plans.plan(con, piece_id)
    whole = {
        "format": FORMAT,
        "piece": {**plain(piece), "layers": [layer.id for layer in piece.layers]},
        "layers": layers,
        "changes": [plain(change) for change in changes.changes(con, piece_id)],
        "plan": None if plan is None else plain(plan),
        "room": [_room(con, piece, sensor) for sensor in sensors_of(con, piece)],
    }
    return json.dumps(whole, indent=1, ensure_ascii=False)


def found(con: sqlite3.Connection, piece_id: int) -> Piece:
    """The piece. Raises StoreError with the known ones where there is none."""
    piece = pieces.piece(con, piece_id)
    if piece is None:
        known = ", ".join(str(one.id) for one in pieces.pieces(con)) or "none yet"
        raise StoreError(f"there is no piece {piece_id}; known: {known}")
    return piece


def iso(at_s: float | None) -> str:
    """A moment as ISO 8601 in UTC, or nothing."""
    return "" if at_s is None else datetime.fromtimestamp(at_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def spoken(text: str) -> str:
    """The core's words with their moments in ISO 8601."""
    return local_words(text, iso)


def plain(value: Any) -> Any:
    """A value of the vocabulary as plain JSON values, its moments readable."""
    return json.loads(spoken(pack(value)))


def sensors_of(con: sqlite3.Connection, piece: Piece) -> list[readings.Sensor]:
    """The sensors that measured for a piece: the room's, named ones and probes."""
    named = {layer.sensor for layer in piece.layers} | {
        layer.probe for layer in piece.layers if layer.probe
    }
    return [
        sensor
        for sensor in readings.sensors(con)
        if sensor.last_at_s is not None and (sensor.key in named or None in named)
    ]


def span_of(piece: Piece, sensor: readings.Sensor) -> tuple[float, float]:
    """From the first pour to the piece's end, or to the last reading."""
    from_s = min((layer.poured_at_s for layer in piece.layers), default=piece.created_at_s)
    return from_s, max(piece.ended_at_s or sensor.last_at_s or from_s, from_s)


def alarms_of(
    con: sqlite3.Connection, subject: str, from_s: float | None = None, to_s: float | None = None
) -> list[alarms.JournalEntry]:
    """Every step of a subject's alarms, oldest first."""
    steps = alarms.journal(con, subject=subject, from_s=from_s, to_s=to_s, limit=_ALL)
    return list(reversed(steps))


def _layer(con: sqlite3.Connection, layer: Layer) -> dict[str, Any]:
    outlook = outlooks.latest(con, layer.id)
    held = photos.of_layer(con, layer.id)
    return {
        "layer": plain(layer),
        "marks": [
            {**plain(mark), "photos": [_photo(con, one) for one in held.get(mark.id, ())]}
            for mark in marks.marks(con, layer.id)
        ],
        "bottles": [_use(con, use) for use in bottles.uses(con, layer.id)],
        "outlook": None if outlook is None else plain(outlook),
        "outlook_history": [plain(one) for one in outlooks.history(con, layer.id)],
        "alarms": [_alarm(entry) for entry in alarms_of(con, f"layer:{layer.id}")],
    }


def _use(con: sqlite3.Connection, use: bottles.Use) -> dict[str, Any]:
    """What a layer took, and which bottle that was."""
    bottle = bottles.bottle(con, use.bottle_id)
    known = {} if bottle is None else {"part": bottle.part, "lot": bottle.lot}
    return {**plain(use), **known}


def _photo(con: sqlite3.Connection, one: photos.Photo) -> dict[str, Any]:
    jpeg = photos.picture(con, one.id) or b""
    return {
        "id": one.id,
        "width": one.width,
        "height": one.height,
        "type": "image/jpeg",
        "base64": base64.b64encode(jpeg).decode(),
    }


def _alarm(entry: alarms.JournalEntry) -> dict[str, Any]:
    return {**plain(entry.change), "sent": entry.sent}


def _room(con: sqlite3.Connection, piece: Piece, sensor: readings.Sensor) -> dict[str, Any]:
    from_s, to_s = span_of(piece, sensor)
    return {
        "sensor": sensor.key,
        "readings": plain(readings.sampled(con, sensor.key, from_s, to_s, POINTS)),
        "alarms": [_alarm(entry) for entry in alarms_of(con, f"room:{sensor.key}", from_s, to_s)],
    }
