"""The history of a piece in words: what was corrected, and which of it can be undone."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from dashboard.wording import MARK_NAMES, VERDICT_NAMES, Local
from monitor.core.vocabulary import Piece
from monitor.store import changes, marks
from monitor.store.changes import Change

# Fields that hold a measure, and its unit in the store.
_MEASURES = {"depth_mm": "mm", "area_cm2": "cm²", "volume_ml": "ml", "pour_temp_c": "°C"}
# Starting and ending are told elsewhere on the page.
_ELSEWHERE = frozenset({"started", "ended_at_s", "outcome", "archived_at_s"})


@dataclass(frozen=True)
class Corrected:
    """One correction as the page tells it."""

    id: int
    when: str
    words: str
    undoable: bool


def corrections(con: sqlite3.Connection, piece: Piece, here: Local) -> list[Corrected]:
    """What was corrected on a piece, its layers and its marks, oldest first."""
    many = len(piece.layers) > 1
    names = {layer.id: f"{layer.name}, " if many else "" for layer in piece.layers}
    kinds = {
        mark.id: MARK_NAMES[mark.kind]
        for layer in piece.layers
        for mark in [*marks.marks(con, layer.id), *marks.taken_back(con, layer.id)]
    }
    found = []
    for change in changes.changes(con, piece.id):
        if change.field in _ELSEWHERE:
            continue
        if change.table == "marks":
            words = _mark_words(change, kinds.get(change.row_id, "A mark"), here)
        else:
            whose = names.get(change.row_id, "") if change.table == "layers" else ""
            words = whose + _became(_plain_name(change.field), change, here)
        # A mark is taken back and brought back by its own buttons.
        undoable = change.undoable and change.field not in ("removed_at_s", "set_aside")
        found.append(Corrected(change.id, here.full(change.at_s), words, undoable))
    return found


def _mark_words(change: Change, name: str, here: Local) -> str:
    there = change.after is not None
    match change.field:
        case "removed_at_s":
            return f"{name}: deleted" if there else f"{name}: brought back"
        case "set_aside":
            return f"{name}: not counted" if change.after == "1" else f"{name}: counted again"
        case "photo":
            return f"{name}: photo added" if there else f"{name}: photo deleted"
        case "kind":
            return _became("mark", change, here)
    return f"{name}, {_became(_plain_name(change.field), change, here)}"


def _plain_name(field: str) -> str:
    if field in _MEASURES:
        field = field.rpartition("_")[0]
    return field.removesuffix("_at_s").replace("_", " ")


def _became(name: str, change: Change, here: Local) -> str:
    before, after = (_value(change.field, told, here) for told in (change.before, change.after))
    return f"{name}: {before} became {after}"


def _value(field: str, told: str | None, here: Local) -> str:
    if told is None or told == "":
        return "nothing"
    if field in _MEASURES:
        return here.units.quantity(float(told), _MEASURES[field])
    if field.endswith("_at_s"):
        return here.full(float(told))
    if field == "hardener_ratio":
        return f"{float(told):.0%} of the label's"
    if field == "kind":
        return next((name for kind, name in MARK_NAMES.items() if kind == told), told)
    return VERDICT_NAMES.get(told, told) if field == "verdict" else told
