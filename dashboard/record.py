"""A piece: its page, its printable record, and its exports."""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from dataclasses import dataclass

from flask import Response, abort, render_template

from dashboard import charts, views, wording
from dashboard.corrections import corrections
from dashboard.db import now_s, reader
from dashboard.views import local
from dashboard.wording import Local
from monitor.answers import trouble
from monitor.answers.export import piece_json
from monitor.core.vocabulary import Layer, Outlook, Piece
from monitor.store import alarms, marks, outlooks, photos, pieces, readings
from monitor.store.alarms import JournalEntry

TOLD = ("unacknowledged", "acknowledged", "returned", "shelved")
MOST_ENTRIES = 80
# While a layer is open its warnings say these already.
WARNED_OF = frozenset({"ratio", "stalled"})


def piece(number: int) -> str:
    """One piece: its layers, room, curve, marks, alarms, and what was corrected."""
    return render_template("piece.html", **_parts(_found(number), local()))


def record(number: int) -> str:
    """One printable page."""
    found = _found(number)
    return render_template("record.html", **_parts(found, local().on_paper(), small=True))


def _found(number: int) -> Piece:
    found = pieces.piece(reader(), number)
    if found is None:
        abort(404, f"There is no piece {number}. It may have been deleted.")
    return found


def _parts(found: Piece, here: Local, small: bool = False) -> dict[str, object]:
    """What both pages show; `small` draws the room low enough for one sheet of paper."""
    con, shown = reader(), here.units
    from_s, to_s = charts.span_of(found, here.now_s)
    layers = [_layer_parts(found, layer, here, small) for layer in found.layers]
    keys = sensor_keys(found)
    rooms = []
    for key in keys:
        upper, lower, words = charts.room(con, key, from_s, to_s, here, shown, small=small,
                                          brief=True, layers=found.layers)  # fmt: skip
        rooms.append({"key": key, "upper": upper, "lower": lower, "words": words})
    subjects = [f"room:{key}" for key in keys] + [f"layer:{one.id}" for one in found.layers]
    journal = [
        entry
        for subject in subjects
        for entry in alarms.journal(con, subject=subject, from_s=from_s, to_s=to_s, limit=400)
        if entry.change.after in TOLD
    ]
    return {
        "piece": found,
        "layers": layers,
        "rooms": rooms,
        "journal": sorted(journal, key=lambda entry: -entry.change.at_s)[:MOST_ENTRIES],
        "summary": _summary(journal, here),
        "changes": corrections(con, found, here),
        "local": here,
        "dated": here.on_paper(),
        "shown": shown,
        "wording": wording,
        "created": here.full(found.created_at_s),
        "ended": None if found.ended_at_s is None else here.full(found.ended_at_s),
        "bases": wording.BASES,
    }


def _layer_parts(found: Piece, layer: Layer, here: Local, small: bool) -> dict[str, object]:
    con = reader()
    outlook = outlooks.latest(con, layer.id)
    # A finished layer is told as of its end, not as if it went on.
    then = here if layer.ended_at_s is None else here.until(layer.ended_at_s)
    return {
        "view": views.layer_view(con, found, layer, then, here.units),
        "layer": layer,
        "entered": _entered(layer, here),
        "curve": "" if outlook is None else charts.cure(con, layer, outlook, then),
        "strip": "" if outlook is None else views.strip_of(layer, outlook, then, True, small),
        "times": () if outlook is None else _times(layer, outlook, here),
        "trouble": [
            here.spoken(one.words)
            for one in trouble.of_layer(con, layer, outlook, here.now_s)
            if layer.ended_at_s is not None or one.key not in WARNED_OF
        ],
        "marks": marks.marks(con, layer.id),
        "taken_back": marks.taken_back(con, layer.id),
        "photos": photos.of_layer(con, layer.id),
        "poured": here.full(layer.poured_at_s),
        "ended": None if layer.ended_at_s is None else here.full(layer.ended_at_s),
    }


def _entered(layer: Layer, here: Local) -> str:
    """What was entered of a layer, in one line."""
    shown = here.units
    done = wording.DONE[layer.resin.kind].lower()
    said = [layer.resin.name, f"{done} {here.full(layer.poured_at_s)}"]
    if layer.depth_mm:
        said.append(f"{shown.quantity(layer.depth_mm, 'mm')} deep")
    if layer.area_cm2:
        said.append(shown.quantity(layer.area_cm2, "cm²"))
    if layer.volume_ml:
        said.append(shown.quantity(layer.volume_ml, "ml"))
    said.append(f"on {wording.BASES[layer.base]}")
    if layer.pour_temp_c is not None:
        said.append(f"parts at {shown.temperature(layer.pour_temp_c)}")
    if layer.hardener_ratio != 1.0:
        said.append(f"hardener {layer.hardener_ratio:.0%} of the label's")
    if layer.batch:
        said.append(f"bottle {layer.batch}")
    if layer.ended_at_s is not None:
        said.append(f"ended {here.full(layer.ended_at_s)}")
    return "; ".join(said) + "."


@dataclass(frozen=True)
class Time:
    """A stage's time for the record: the label's, this room's, and the clock."""

    name: str
    label: str
    here: str
    clock: str
    default: bool


def _times(layer: Layer, outlook: Outlook, here: Local) -> tuple[Time, ...]:
    """Stages as hours from the pour, the label's beside this room's."""
    found = []
    for _, stage in views.told(layer, outlook):
        at_s = stage.reached_at_s or stage.p50_s
        # What was still to come when last reckoned is an estimate, and says so.
        sure = stage.reached_at_s is not None
        took = "not in sight" if at_s is None else wording.span(at_s - layer.poured_at_s)
        found.append(
            Time(
                name=wording.STAGE_NAMES.get(stage.key, stage.key),
                label=wording.hours(stage.label_h),
                here=took if sure or at_s is None else f"~{took}",
                clock="" if at_s is None else here.short(at_s),
                default=stage.basis == "default",
            )
        )
    return tuple(found)


def _summary(journal: list[JournalEntry], here: Local) -> list[str]:
    """Each alarm once: how often it was raised, and when first and last."""
    raised: dict[str, list[float]] = defaultdict(list)
    for entry in journal:
        if entry.change.before in ("normal", "returned", "suppressed"):
            raised[entry.change.key].append(entry.change.at_s)
    found = []
    for key, times in sorted(raised.items(), key=lambda pair: min(pair[1])):
        if len(times) == 1:
            often = here.short(times[0])
        else:
            often = (
                f"{wording.often(len(times))}, {here.short(min(times))} to {here.short(max(times))}"
            )
        found.append(f"{wording.alarm_name(key)} ({often})")
    return found


def sensor_keys(found: Piece) -> list[str]:
    """The sensors of a piece's layers; where none is named, the one heard last."""
    named = {layer.sensor for layer in found.layers if layer.sensor}
    if named:
        return sorted(named)
    heard = [one for one in readings.sensors(reader()) if one.last_at_s is not None]
    return [max(heard, key=lambda one: one.last_at_s or 0.0).key] if heard else []


def export_json(number: int) -> Response:
    """The piece with all that belongs to it."""
    _found(number)
    return download(piece_json(reader(), number), "application/json", f"piece-{number}.json")


def export_room(number: int) -> Response:
    """The room through the piece, as measured."""
    found = _found(number)
    from_s, to_s = charts.span_of(found, now_s())
    keys = sensor_keys(found)
    text = room_text(keys[0], from_s, to_s) if keys else "time,temp_c,humidity_pct,flags\n"
    return download(text, "text/csv", f"piece-{number}-room.csv")


def room_text(key: str, from_s: float, to_s: float) -> str:
    """Readings as measured, as CSV, in UTC and metric units whatever the page shows."""
    here = Local("UTC", now_s())
    raw = readings.raw(reader(), key, from_s, to_s)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["time", "temp_c", "humidity_pct", "flags"])
    for at_s, temp, humid, flag in zip(
        raw.at_s, raw.temp_c, raw.humidity_pct, raw.flags, strict=True
    ):
        damp = "" if humid != humid else f"{humid:.1f}"
        writer.writerow([here.at(float(at_s)).isoformat(), f"{temp:.2f}", damp, int(flag)])
    return out.getvalue()


def download(text: str, kind: str, name: str) -> Response:
    """A file to keep."""
    return Response(
        text, mimetype=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )
