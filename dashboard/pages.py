"""The pages a person reads. Each is a short function: gather, word, render."""

from __future__ import annotations

import csv
import io
from typing import cast

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as Answer

from dashboard import charts, views, wording
from dashboard.db import now_s, options, reader
from dashboard.forms import Form
from dashboard.wording import Local
from monitor import preview as ahead
from monitor.core.vocabulary import Base, Layer, Outlook, Piece, ResinProfile
from monitor.export import piece_json
from monitor.store import alarms, marks, outlooks, pieces, readings, resins, settings

pages = Blueprint("pages", __name__)

SPANS = {"3": "3 h", "24": "a day", "168": "a week", "720": "a month", "8760": "a year"}


def local() -> Local:
    """Local time of this request."""
    return Local(options().zone, now_s())


@pages.get("/")
def bench() -> str:
    """The first screen."""
    return render_template("bench.html", **bench_parts())


def bench_parts() -> dict[str, object]:
    """What the bench shows, for the page and for its refresh."""
    con, here = reader(), local()
    shown = views.units(con)
    return {
        "layers": views.bench(con, here, shown),
        "rooms": views.rooms(con, here, shown),
        "alarms": views.standing(con, here),
        "works": views.works(con, options(), here),
        "clock": here.at(here.now_s).strftime("%H:%M"),
        "pieces_open": pieces.pieces(con, ended=False),
        "verdicts": wording.VERDICT_NAMES,
    }


@pages.get("/pour")
def pour() -> str:
    """Before you pour: choose, see what it would do, start the clock."""
    con, here = reader(), local()
    shelf = resins.resins(con)
    chosen = resins.resin(con, request.args.get("resin", "")) or _usual(shelf)
    form = Form(request.args)
    area = form.number("area_cm2", "Area", 0.1, 1e6, "cm²")
    depth = form.number("depth_mm", "Depth", 0.05, 500, "mm")
    volume = form.number("volume_ml", "Volume", 0.1, 1e6, "ml")
    base = form.choice("base", "Base", wording.BASES, "wood")
    later_h = form.number("later_h", "Later", 0, 72, "h") or 0.0
    outlook: Outlook | None = None
    measured = None
    if chosen is not None and not form.faults:
        try:
            outlook = ahead.preview(
                con,
                chosen,
                here.now_s,
                here.now_s + later_h * 3600.0,
                depth_mm=depth,
                area_cm2=area,
                volume_ml=volume,
                base=cast(Base, base),
            )
            room_c = next((s.last_temp_c for s in readings.sensors(con) if s.last_temp_c), None)
            measured = ahead.measures(
                chosen,
                outlook,
                room_c or chosen.ref_temp_c,
                depth_mm=depth,
                area_cm2=area,
                volume_ml=volume,
            )
        except ValueError as error:
            form.faults.append(str(error))
    return render_template(
        "pour.html",
        shelf=shelf,
        chosen=chosen,
        bases=wording.BASES,
        typed=request.args,
        base=base,
        later_h=later_h,
        faults=form.faults,
        measured=measured,
        cup_keeps="" if measured is None else wording.hours(measured.cup_working_h),
        piece_keeps="" if measured is None else wording.hours(measured.piece_working_h),
        peak=(
            None
            if outlook is None or outlook.peak_c is None
            else views.peak_words(outlook.peak_c, views.units(con))
        ),
        outlook=outlook,
        stages=_preview_stages(chosen, outlook, here),
        notes=[] if outlook is None else views.warnings_of(outlook, here, views.units(con)),
        open_pieces=pieces.pieces(con, ended=False),
        sensors=readings.sensors(con),
        now_field=here.field(here.now_s),
        poured_words=here.clock(here.now_s + later_h * 3600.0),
    )


def _preview_stages(
    chosen: ResinProfile | None, outlook: Outlook | None, here: Local
) -> tuple[views.StageView, ...]:
    if chosen is None or outlook is None:
        return ()
    return views.stage_views(Layer(0, 0, "", chosen, outlook.as_of_s), outlook, here)


def _usual(shelf: list[ResinProfile]) -> ResinProfile | None:
    return next((one for one in shelf if one.kind == "pour"), shelf[0] if shelf else None)


@pages.get("/pieces")
def history() -> str:
    """Pieces on the bench and finished ones, with a search."""
    con = reader()
    search = request.args.get("q", "")[:100]
    found = pieces.pieces(con, search=search)
    return render_template("pieces.html", found=found, search=search, local=local())


@pages.get("/pieces/<int:number>")
def piece(number: int) -> str:
    """One piece: its layers, room, curve, marks, alarms, and what was corrected."""
    return render_template("piece.html", **_piece_parts(number))


@pages.get("/pieces/<int:number>/record")
def record(number: int) -> str:
    """One printable page."""
    return render_template("record.html", **_piece_parts(number))


def _piece_parts(number: int) -> dict[str, object]:
    con, here = reader(), local()
    found = pieces.piece(con, number)
    if found is None:
        abort(404, f"There is no piece {number}. It may have been deleted.")
    shown = views.units(con)
    from_s, to_s = charts.span_of(found, here.now_s)
    layers = []
    for layer in found.layers:
        outlook = outlooks.latest(con, layer.id)
        # A finished layer is told as of its end, not as if it went on.
        end_s = layer.ended_at_s
        then = here if end_s is None else Local(options().zone, end_s, "end")
        layers.append(
            {
                "view": views.layer_view(con, found, layer, then, shown),
                "layer": layer,
                "curve": "" if outlook is None else charts.cure(con, layer, outlook, then),
                "strip": "" if outlook is None else views.strip_of(layer, outlook, then, True),
                "marks": marks.marks(con, layer.id),
                "poured": here.full(layer.poured_at_s),
                "poured_field": here.field(layer.poured_at_s),
                "ended": None if layer.ended_at_s is None else here.full(layer.ended_at_s),
            }
        )
    keys = _keys(found)
    rooms = []
    for key in keys:
        upper, lower, words = charts.room(con, key, from_s, to_s, here, shown)
        rooms.append({"key": key, "upper": upper, "lower": lower, "words": words})
    subjects = [f"room:{key}" for key in keys] + [f"layer:{one.id}" for one in found.layers]
    journal = [
        entry
        for subject in subjects
        for entry in alarms.journal(con, subject=subject, from_s=from_s, to_s=to_s, limit=400)
        if entry.change.after in ("unacknowledged", "acknowledged", "returned", "shelved")
    ]
    return {
        "piece": found,
        "layers": layers,
        "rooms": rooms,
        "journal": sorted(journal, key=lambda entry: -entry.change.at_s)[:80],
        "changes": [
            {"when": here.full(change.at_s), "words": _change_words(change, here)}
            for change in pieces.changes(con, number)
            if change.field not in ("started", "ended_at_s", "outcome")
        ],
        "local": here,
        "wording": wording,
        "created": here.full(found.created_at_s),
        "ended": None if found.ended_at_s is None else here.full(found.ended_at_s),
        "bases": wording.BASES,
    }


def _change_words(change: pieces.Change, here: Local) -> str:
    moment = change.field.endswith("_at_s")

    def worded(value: str | None) -> str:
        if value is None or value == "":
            return "nothing"
        return here.full(float(value)) if moment else value

    name = change.field.removesuffix("_at_s").replace("_", " ")
    return f"{name}: {worded(change.before)} became {worded(change.after)}"


def _keys(found: Piece) -> list[str]:
    named = {layer.sensor for layer in found.layers if layer.sensor}
    if named:
        return sorted(named)
    heard = [one for one in readings.sensors(reader()) if one.last_at_s is not None]
    return [max(heard, key=lambda one: one.last_at_s or 0.0).key] if heard else []


@pages.get("/pieces/<int:number>/export.json")
def export_json(number: int) -> Response:
    """The piece with all that belongs to it."""
    if pieces.piece(reader(), number) is None:
        abort(404, f"There is no piece {number}.")
    return _download(piece_json(reader(), number), "application/json", f"piece-{number}.json")


@pages.get("/pieces/<int:number>/room.csv")
def export_room(number: int) -> Response:
    """The room through the piece, as measured."""
    found = pieces.piece(reader(), number)
    if found is None:
        abort(404, f"There is no piece {number}.")
    from_s, to_s = charts.span_of(found, now_s())
    keys = _keys(found)
    text = _csv(keys[0], from_s, to_s) if keys else "time,temp_c,humidity_pct,flags\n"
    return _download(text, "text/csv", f"piece-{number}-room.csv")


def _csv(key: str, from_s: float, to_s: float) -> str:
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


def _download(text: str, kind: str, name: str) -> Response:
    return Response(
        text, mimetype=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )


@pages.get("/room")
def room() -> str:
    """The room over any span."""
    con, here = reader(), local()
    sensors = [one for one in readings.sensors(con) if one.last_at_s is not None]
    known = {one.key: one.name for one in sensors}
    key = request.args.get("sensor", "")
    if key not in known:
        key = sensors[0].key if sensors else ""
    other = request.args.get("other", "")
    hours = request.args.get("hours", "24")
    if hours not in SPANS:
        hours = "24"
    upper = lower = words = ""
    if key:
        to_s = here.now_s + (12 * 3600.0 if hours in ("24", "168") else 0.0)
        upper, lower, words = charts.room(
            con, key, here.now_s - float(hours) * 3600.0, to_s, here, views.units(con),
            with_forecast=True, other=other if other in known and other != key else None,
        )  # fmt: skip
    return render_template(
        "room.html", sensors=sensors, key=key, other=other, hours=hours, spans=SPANS,
        upper=upper, lower=lower, words=words,
        rooms=views.rooms(con, here, views.units(con)), refusals=readings.refusals(con),
        local=here,
    )  # fmt: skip


@pages.get("/room.csv")
def room_csv() -> Response:
    """Readings as measured, of at most 400 days."""
    form = Form(request.args)
    hours = form.number("hours", "Hours", 0.1, 9600, "h") or 24.0
    key = request.args.get("sensor", "")
    return _download(_csv(key, now_s() - hours * 3600.0, now_s()), "text/csv", "room.csv")


@pages.get("/alarms")
def alarm_page() -> str:
    """What stands, and every step of every alarm's life."""
    con, here = reader(), local()
    return render_template(
        "alarms.html",
        alarms=views.standing(con, here),
        hidden=views.hidden(con, here),
        journal=[
            entry
            for entry in alarms.journal(con, limit=300)
            if entry.change.after not in ("suppressed", "normal")
        ],
        local=here,
        wording=wording,
    )


@pages.get("/resins")
def resin_page() -> str:
    """The shelf, and what each resin has taught."""
    con, here = reader(), local()
    shelf = [
        {
            "profile": profile,
            "taught": options().taught(con, profile, here.now_s),
            "stages": [
                (wording.STAGE_NAMES.get(key, key), wording.hours(stage.hours),
                 wording.BASIS_NAMES[stage.basis])
                for key, stage in profile.stages.items()
            ],
        }
        for profile in resins.resins(con)
    ]  # fmt: skip
    return render_template("resins.html", shelf=shelf, wording=wording)


@pages.get("/resins/new")
def new_resin() -> str:
    """Add a resin, or change one: the label's own numbers."""
    con = reader()
    start = resins.resin(con, request.args.get("from", ""))
    return render_template("resin_form.html", start=start, faults=[], typed={},
                           wording=wording, kinds=wording.KINDS)  # fmt: skip


@pages.get("/settings")
def settings_page() -> str:
    """Units, quiet hours, sensor names, and a way to open this on a phone."""
    con = reader()
    return render_template(
        "settings.html",
        chosen=settings.everything(con),
        sensors=readings.sensors(con),
        address=_address(),
        zone=options().zone,
    )


def _address() -> str:
    return options().base_url or request.host_url


@pages.get("/phone.svg")
def phone_code() -> Response:
    """The page's address as a code that a phone's camera reads."""
    import segno

    out = io.BytesIO()
    segno.make(_address(), error="m").save(out, kind="svg", scale=5, border=2, light="#fff")
    return Response(out.getvalue(), mimetype="image/svg+xml")


@pages.get("/manifest.webmanifest")
def manifest() -> Response:
    """What a phone needs to put the page on its home screen."""
    return Response(
        '{"name": "Pourside", "short_name": "Pourside", "start_url": "/", '
        '"display": "standalone", "background_color": "#f7f4ec", "theme_color": "#f7f4ec", '
        '"icons": [{"src": "/static/icon.svg", "sizes": "any", "type": "image/svg+xml"}]}',
        mimetype="application/manifest+json",
    )


@pages.get("/compare")
def compare() -> Answer | str:
    """Two pieces beside each other."""
    numbers = [int(n) for n in request.args.getlist("piece") if n.isdigit()][:2]
    if len(numbers) < 2:
        return redirect(url_for("pages.history"))
    return render_template("compare.html", sides=[_piece_parts(number) for number in numbers])
