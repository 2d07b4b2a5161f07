"""One piece as tables for a spreadsheet: CSV files and the photos, in one ZIP.

Times are ISO 8601 in UTC, temperatures Celsius. The room is there as it was measured.
"""

from __future__ import annotations

import csv
import io
import sqlite3
import zipfile
from collections.abc import Iterable, Iterator

from monitor.answers.export import alarms_of, found, iso, sensors_of, span_of, spoken
from monitor.core.vocabulary import Layer, Piece
from monitor.store import changes, marks, outlooks, photos, readings

Row = Iterable[object]
_DAY_S = 86400.0


def piece_zip(con: sqlite3.Connection, piece_id: int) -> bytes:
    """The ZIP of a piece. Raises StoreError where there is none."""
    piece = found(con, piece_id)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as book:
        for name, head, rows in (
            ("piece.csv", _PIECE, [_piece_row(piece)]),
            ("layers.csv", _LAYER, (_layer_row(layer) for layer in piece.layers)),
            ("marks.csv", _MARK, _mark_rows(con, piece)),
            ("outlooks.csv", _OUTLOOK, _outlook_rows(con, piece)),
            ("alarms.csv", _ALARM, _alarm_rows(con, piece)),
            ("changes.csv", _CHANGE, _change_rows(con, piece)),
            ("room.csv", _ROOM, _room_rows(con, piece)),
        ):
            with book.open(name, "w") as raw, io.TextIOWrapper(raw, "utf-8", newline="") as text:
                writer = csv.writer(text, lineterminator="\n")
                writer.writerow(head)
                writer.writerows(rows)
        for layer in piece.layers:
            for held in photos.of_layer(con, layer.id).values():
                for one in held:
                    # A JPEG does not shrink further.
                    book.writestr(
                        _photo_name(one), photos.picture(con, one.id) or b"", zipfile.ZIP_STORED
                    )
    return out.getvalue()


_PIECE = ("piece", "name", "started", "finished", "outcome", "note")
_LAYER = (
    "layer", "name", "resin", "poured", "ended", "depth_mm", "area_cm2", "volume_ml", "base",
    "pour_temp_c", "hardener_ratio", "sensor", "probe", "bottle",
)  # fmt: skip
_MARK = ("layer", "mark", "time", "kind", "verdict", "note", "set_aside", "photos")
_OUTLOOK = (
    "layer", "as_of", "state", "degree_of_cure", "glass_transition_c", "rate_now", "stalled",
    "surface_risk", "peak_c", "stage", "label_h", "basis", "reached", "p10", "p50", "p90", "why",
)  # fmt: skip
_ALARM = ("time", "subject", "alarm", "priority", "before", "after", "words", "by", "value", "sent")
_CHANGE = ("time", "of", "row", "field", "before", "after")
_ROOM = ("sensor", "time", "temp_c", "humidity_pct", "flags")


def _piece_row(piece: Piece) -> Row:
    ended = iso(piece.ended_at_s)
    return piece.id, piece.name, iso(piece.created_at_s), ended, piece.outcome, piece.note


def _layer_row(layer: Layer) -> Row:
    return (
        layer.id, layer.name, layer.resin.name, iso(layer.poured_at_s), iso(layer.ended_at_s),
        layer.depth_mm, layer.area_cm2, layer.volume_ml, layer.base, layer.pour_temp_c,
        layer.hardener_ratio, layer.sensor, layer.probe, layer.batch,
    )  # fmt: skip


def _photo_name(one: photos.Photo) -> str:
    return f"photos/mark-{one.mark_id}-photo-{one.id}.jpg"


def _mark_rows(con: sqlite3.Connection, piece: Piece) -> Iterator[Row]:
    for layer in piece.layers:
        held = photos.of_layer(con, layer.id)
        for mark in marks.marks(con, layer.id):
            names = " ".join(_photo_name(one) for one in held.get(mark.id, ()))
            aside = int(mark.set_aside)
            at = iso(mark.at_s)
            yield layer.id, mark.id, at, mark.kind, mark.verdict, mark.note, aside, names


def _outlook_rows(con: sqlite3.Connection, piece: Piece) -> Iterator[Row]:
    """One row a stage of every outlook that was kept, the latest among them."""
    for layer in piece.layers:
        past = outlooks.history(con, layer.id)
        last = outlooks.latest(con, layer.id)
        if last is not None and (not past or past[-1].as_of_s < last.as_of_s):
            past.append(last)
        for one in past:
            head = (
                layer.id, iso(one.as_of_s), one.state, round(one.degree_of_cure, 4),
                one.glass_transition_c, round(one.rate_now, 4), int(one.stalled),
                round(one.surface.risk, 3), one.peak_c,
            )  # fmt: skip
            for stage in one.stages:
                times = (stage.reached_at_s, stage.p10_s, stage.p50_s, stage.p90_s)
                yield (
                    *head, stage.key, stage.label_h, stage.basis,
                    *(iso(at_s) for at_s in times), spoken(stage.why),
                )  # fmt: skip


def _alarm_rows(con: sqlite3.Connection, piece: Piece) -> Iterator[Row]:
    steps = [
        entry for layer in piece.layers for entry in alarms_of(con, f"layer:{layer.id}")
    ]  # fmt: skip
    for sensor in sensors_of(con, piece):
        steps += alarms_of(con, f"room:{sensor.key}", *span_of(piece, sensor))
    for entry in sorted(steps, key=lambda step: step.change.at_s):
        one = entry.change
        yield (
            iso(one.at_s), one.subject, one.key, one.priority, one.before, one.after,
            spoken(one.words), one.by, one.value, entry.sent,
        )  # fmt: skip


def _change_rows(con: sqlite3.Connection, piece: Piece) -> Iterator[Row]:
    def told(field: str, value: str | None) -> str:
        if value is None:
            return ""
        return iso(float(value)) if field.endswith("_at_s") else value

    for one in changes.changes(con, piece.id):
        before, after = told(one.field, one.before), told(one.field, one.after)
        yield iso(one.at_s), one.table, one.row_id, one.field, before, after


def _room_rows(con: sqlite3.Connection, piece: Piece) -> Iterator[Row]:
    """As measured, a day at a time: a piece may lie for months."""
    for sensor in sensors_of(con, piece):
        from_s, to_s = span_of(piece, sensor)
        while from_s <= to_s:
            # The store's times have milliseconds, and both ends of a span belong to it.
            raw = readings.raw(con, sensor.key, from_s, min(from_s + _DAY_S - 0.001, to_s))
            for at_s, temp, damp, flags in zip(
                raw.at_s, raw.temp_c, raw.humidity_pct, raw.flags, strict=True
            ):
                humid = "" if damp != damp else f"{damp:.1f}"
                yield sensor.key, iso(float(at_s)), f"{temp:.2f}", humid, int(flags)
            from_s += _DAY_S
