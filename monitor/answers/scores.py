"""How past forecasts and stage bands did: the store's history through the core's scores."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from monitor.answers import rooms
from monitor.core.cure import score as stage_score
from monitor.core.cure.score import StageScore
from monitor.core.room import score as room_score
from monitor.core.room.score import LeadScore
from monitor.core.vocabulary import Layer
from monitor.store import forecasts, marks, outlooks, pieces

__all__ = ["LeadScore", "RoomScore", "StageScore", "of_room", "of_stages"]

BACK_S = 90 * 86400.0


@dataclass(frozen=True)
class RoomScore:
    """One sensor's forecasts of the last 90 days; `kept` counts those held against the room."""

    kept: int
    leads: tuple[LeadScore, ...]


def of_room(con: sqlite3.Connection, key: str, now_s: float) -> RoomScore:
    """Scores of one sensor's forecasts."""
    kept = [
        room_score.Said(one.as_of_s, one.at_s, one.temp_p10_c, one.temp_p50_c, one.temp_p90_c)
        for one in forecasts.past(con, key, now_s - BACK_S)
    ]
    if not kept:
        return RoomScore(0, ())
    measured = rooms.past(con, key, kept[0].as_of_s - 3600.0, now_s)
    return RoomScore(len(kept), room_score.score(kept, measured))


def of_stages(con: sqlite3.Connection, now_s: float) -> list[tuple[Layer, tuple[StageScore, ...]]]:
    """Scores of every layer of the last 90 days, the newest first."""
    found = []
    for layer in reversed(pieces.layers_since(con, now_s - BACK_S)):
        rows = stage_score.score(layer, outlooks.history(con, layer.id), marks.marks(con, layer.id))
        if rows:
            found.append((layer, rows))
    return found
