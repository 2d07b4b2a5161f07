"""The API for programs. Errors are RFC 9457 problem documents."""

from __future__ import annotations

import json
import math
from typing import Any, cast

import numpy as np
from flask import Blueprint, Response, abort, request

from dashboard import acts
from dashboard.db import acting, now_s, options, reader
from dashboard.forms import Form
from dashboard.openapi import document
from dashboard.views import local
from monitor.answers import measuring
from monitor.answers import preview as ahead
from monitor.core.vocabulary import (
    Base,
    MarkKind,
    Outlook,
    Piece,
    ResinProfile,
    TapeVerdict,
)
from monitor.store import alarms, bottles, marks, outlooks, pieces, plans, readings, resins
from monitor.store.packing import pack

api = Blueprint("api", __name__)

POINTS = 400
MOST_POINTS = 2000


def problem(status: int, title: str, detail: str) -> Response:
    """An RFC 9457 problem document."""
    body = {"type": "about:blank", "title": title, "status": status, "detail": detail}
    return Response(json.dumps(body), status, mimetype="application/problem+json")


def answer(value: Any, status: int = 200) -> Response:
    """JSON with an ETag; 304 while nothing changed."""
    made = Response(json.dumps(value, allow_nan=False), status, mimetype="application/json")
    if status == 200:
        made.add_etag()
        made.make_conditional(request)
    return made


def plain(value: Any) -> Any:
    """A vocabulary value as plain JSON values."""
    return json.loads(pack(value))


def body() -> dict[str, Any]:
    """The request's JSON object."""
    try:
        found = request.get_json(force=True, silent=True)
        # JSON can name half a character, which no text of the store can hold.
        json.dumps(found, ensure_ascii=False).encode()
    except RecursionError:  # lists within lists within lists
        found = None
    except UnicodeEncodeError as error:
        half = error.object[error.start : error.start + 1]
        abort(400, f"The body has {half!r}, half a character; send both halves, or neither.")
    if not isinstance(found, dict):
        abort(400, "The body is not a JSON object; send one with Content-Type application/json.")
    return found


def _form() -> Form:
    return Form({key: _typed(value) for key, value in body().items()})


def _typed(value: Any) -> str:
    if isinstance(value, bool) or value is None:
        return ""
    return str(value) if isinstance(value, str | int | float) else repr(value)


def _refuse(form: Form) -> None:
    if form.faults:
        abort(422, "; ".join(form.faults))


@api.get("/openapi.json")
def openapi() -> Response:
    """What this API understands."""
    return answer(document())


@api.get("/api/v1/now")
def now() -> Response:
    """The bench in a few numbers."""
    con = reader()
    layers = []
    for piece, layer in pieces.bench(con):
        outlook = outlooks.latest(con, layer.id)
        layers.append(
            {
                "piece": piece.name,
                "layer": layer.id,
                "name": layer.name,
                "state": None if outlook is None else outlook.state,
                "degree_of_cure": None if outlook is None else round(outlook.degree_of_cure, 3),
            }
        )
    standing = [row.state for row in alarms.rows(con) if row.state.phase == "unacknowledged"]
    return answer({"layers": layers, "alarms": [state.key for state in standing]})


@api.get("/api/v1/sensors")
def sensors() -> Response:
    """Every sensor, its last reading and when it was heard."""
    return answer([plain(one) for one in readings.sensors(reader())])


@api.get("/api/v1/readings")
def some_readings() -> Response:
    """A span of one sensor in a bounded number of points; peaks survive."""
    con, form = reader(), Form(request.args)
    heard = readings.sensors(con)
    key = request.args.get("sensor") or (heard[0].key if heard else "")
    if key not in {one.key for one in heard}:
        abort(404, f"There is no sensor {key!r}; see /api/v1/sensors.")
    to_s = form.number("to", "to", -1e11, 1e11, "seconds since 1970")
    from_s = form.number("from", "from", -1e11, 1e11, "seconds since 1970")
    points = form.number("points", "points", 1, MOST_POINTS, "points") or POINTS
    _refuse(form)
    end = now_s() if to_s is None else to_s
    start = end - 86400.0 if from_s is None else from_s
    if start > end:
        abort(422, f"from ({start:g}) lies after to ({end:g}); swap them.")
    data = readings.sampled(con, key, start, end, int(points))
    columns = {
        name: _numbers(getattr(data, name))
        for name in (
            "at_s", "temp_c", "temp_min_c", "temp_max_c",
            "humidity_pct", "humidity_min_pct", "humidity_max_pct", "count",
        )
    }  # fmt: skip
    return answer({"sensor": key, "step_s": data.step_s, **columns})


def _numbers(values: np.ndarray[Any, Any]) -> list[float | None]:
    return [round(float(v), 3) if math.isfinite(v) else None for v in values]


@api.get("/api/v1/refusals")
def refusals() -> Response:
    """What was not believed, by reason."""
    return answer([plain(one) for one in readings.refusals(reader())])


@api.get("/api/v1/resins")
def all_resins() -> Response:
    """The shelf."""
    return answer([plain(one) for one in resins.resins(reader())])


@api.post("/api/v1/resins")
def add_resin() -> Response:
    """Put a resin on the shelf, after the checks in words."""
    typed = {key: _typed(value) for key, value in body().items()}
    profile, faults = acts.resin_of(typed)
    if profile is None or faults:
        abort(422, "; ".join(faults))
    with acting() as con:
        resins.save_resin(con, profile, now_s())
    return answer(plain(profile), 201)


@api.get("/api/v1/pieces")
def all_pieces() -> Response:
    """Pieces, newest first."""
    return answer([piece_of(one) for one in pieces.pieces(reader())])


def piece_of(piece: Piece) -> dict[str, Any]:
    """A piece as the API tells it."""
    found: dict[str, Any] = plain(piece)
    return found


@api.post("/api/v1/pieces")
def add_piece() -> Response:
    """Start a piece."""
    form = _form()
    name = form.text("name", "name", 80, needed=True)
    note = form.text("note", "note", 2000)
    _refuse(form)
    with acting() as con:
        number = pieces.add_piece(con, name, now_s(), note)
        found = pieces.piece(con, number)
    return answer(None if found is None else piece_of(found), 201)


@api.post("/api/v1/pieces/<int:number>/layers")
def add_layer(number: int) -> Response:
    """Start a layer; `poured_at` in seconds since 1970, now where it is left out."""
    form = _form()
    con = reader()
    if pieces.piece(con, number) is None:
        abort(404, f"There is no piece {number}.")
    resin = _resin(form.text("resin", "resin", 80, needed=True))
    poured_s = form.number("poured_at", "poured_at", now_s() - 60 * 86400, now_s() + 60, "s")
    depth = form.number("depth_mm", "depth_mm", 0.05, 500, "mm")
    area = form.number("area_cm2", "area_cm2", 0.1, 1e6, "cm²")
    volume = form.number("volume_ml", "volume_ml", 0.1, 1e6, "ml")
    ratio = form.number("hardener_ratio", "hardener_ratio", 0.2, 5, "times the label's")
    base = form.choice("base", "base", {"wood": 0, "silicone": 0, "glass": 0}, "wood")
    sensor = form.text("sensor", "sensor", 200) or None
    name = form.text("name", "name", 80) or resin.name
    _refuse(form)
    with acting() as writer:
        layer = pieces.add_layer(
            writer,
            number,
            name,
            resin,
            now_s() if poured_s is None else poured_s,
            now_s(),
            depth_mm=depth,
            area_cm2=area,
            volume_ml=volume,
            base=cast(Base, base),
            sensor=sensor,
            hardener_ratio=1.0 if ratio is None else ratio,
        )
        found = pieces.layer(writer, layer)
    return answer(plain(found), 201)


def _resin(key: str) -> ResinProfile:
    found = resins.resin(reader(), key)
    if found is None:
        abort(422, f"There is no resin {key!r}; see /api/v1/resins.")
    return found


@api.post("/api/v1/layers/<int:number>/marks")
def add_mark(number: int) -> Response:
    """Log a mark; `at` in seconds since 1970, now where it is left out."""
    from dashboard.wording import MARK_NAMES, VERDICT_NAMES

    form = _form()
    layer = pieces.layer(reader(), number)
    if layer is None:
        abort(404, f"There is no layer {number}.")
    kind = form.text("kind", "kind", 20, needed=True)
    if kind not in MARK_NAMES:
        form.faults.append(f"kind is {kind!r}; expected one of {', '.join(MARK_NAMES)}")
    verdict = form.text("verdict", "verdict", 20) or None
    if verdict is not None and verdict not in VERDICT_NAMES:
        form.faults.append(f"verdict is {verdict!r}; expected one of {', '.join(VERDICT_NAMES)}")
    at_s = form.number("at", "at", layer.poured_at_s - 60, now_s() + 60, "s")
    note = form.text("note", "note", 400)
    _refuse(form)
    with acting() as con:
        mark = marks.add_mark(
            con,
            number,
            cast(MarkKind, kind),
            now_s() if at_s is None else at_s,
            cast("TapeVerdict | None", verdict),
            note,
        )
    return answer({"id": mark}, 201)


@api.get("/api/v1/layers/<int:number>/outlook")
def outlook(number: int) -> Response:
    """What the monitor believes of a layer."""
    found = outlooks.latest(reader(), number)
    if found is None:
        abort(404, f"There is no outlook of layer {number} yet.")
    return answer(outlook_of(found))


def outlook_of(found: Outlook) -> dict[str, Any]:
    """An outlook as the API tells it; times in seconds since 1970."""
    return {
        "layer": found.layer_id,
        "as_of": found.as_of_s,
        "degree_of_cure": found.degree_of_cure,
        "glass_transition_c": found.glass_transition_c,
        "equivalent_age_h": found.equivalent_age_h,
        "rate_now": found.rate_now,
        "stalled": found.stalled,
        "remedy": plain(found.remedy),
        "state": found.state,
        "surface_risk": {
            "risk": found.surface.risk,
            "level": found.surface.level,
            "reasons": list(found.surface.reasons),
        },
        "peak_c": found.peak_c,
        "notes": list(found.notes),
        "stages": [
            {
                "key": stage.key,
                "label_h": stage.label_h,
                "basis": stage.basis,
                "reached_at": stage.reached_at_s,
                "p10": stage.p10_s,
                "p50": stage.p50_s,
                "p90": stage.p90_s,
                "why": local().spoken(stage.why),
            }
            for stage in found.stages
        ],
    }


@api.get("/api/v1/alarms")
def all_alarms() -> Response:
    """Every alarm and where it stands."""
    here = local()
    return answer(
        [
            {"id": row.id, **plain(row.state), "words": here.spoken(row.state.words)}
            for row in alarms.rows(reader())
        ]
    )


@api.post("/api/v1/alarms/<int:number>/acknowledge")
def acknowledge(number: int) -> Response:
    """Say that somebody knows; the monitor answers at its next tick."""
    acts.ask_alarm(number, "acknowledge", "")
    return answer({"asked": "acknowledge"}, 202)


@api.get("/api/v1/plans")
def all_plans() -> Response:
    """The plans of the pieces on the bench: recipe, wishes, what is done, and the acts."""
    here = local()
    return answer([json.loads(here.spoken(pack(one))) for one in plans.plans(reader())])


@api.get("/api/v1/bottles")
def all_bottles() -> Response:
    """The bottles, those in use first, with what is left in each by the book."""
    at_s = now_s()
    return answer(
        [
            {**plain(one), "left_ml": one.left_ml, "old": measuring.is_old(one, at_s)}
            for one in bottles.bottles(reader())
        ]
    )


@api.post("/api/v1/preview")
def preview() -> Response:
    """What a pour would do, now or at `poured_at`."""
    form = _form()
    resin = _resin(form.text("resin", "resin", 80, needed=True))
    poured_s = form.number(
        "poured_at", "poured_at", now_s() - 60, now_s() + 14 * 86400, "seconds since 1970"
    )
    depth = form.number("depth_mm", "depth_mm", 0.05, 500, "mm")
    area = form.number("area_cm2", "area_cm2", 0.1, 1e6, "cm²")
    volume = form.number("volume_ml", "volume_ml", 0.1, 1e6, "ml")
    base = form.choice("base", "base", {"wood": 0, "silicone": 0, "glass": 0}, "wood")
    _refuse(form)
    try:
        found = ahead.look(
            reader(),
            resin,
            now_s(),
            now_s() if poured_s is None else poured_s,
            depth_mm=depth,
            area_cm2=area,
            volume_ml=volume,
            base=cast(Base, base),
        )
    except ValueError as error:
        abort(422, str(error))
    return answer(outlook_of(found.outlook))


@api.get("/healthz")
def health() -> Response:
    """Whether the page can read the store."""
    pieces.layer(reader(), 0)
    return answer({"ok": True, "zone": options().zone})
