"""What a person does: each act is one write, then back to where they were."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from flask import Blueprint, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from dashboard import wording
from dashboard.db import acting, now_s, options, reader
from dashboard.forms import Form
from dashboard.pages import local
from monitor.core.vocabulary import STAGES, ResinProfile, StageTime
from monitor.preview import hardener_ratio
from monitor.store import alarms, marks, pieces, readings, resins, settings

acts = Blueprint("acts", __name__)

SHELVE_H = {"1": 3600.0, "8": 8 * 3600.0}


def back(default: str = "pages.bench", **values: Any) -> Response:
    """To the page the person came from, if it is one of ours."""
    wanted = request.form.get("back", "")
    if wanted.startswith("/") and not wanted.startswith("//") and "\\" not in wanted:
        return redirect(wanted)
    return redirect(url_for(default, **values))


def refused(faults: list[str], status: int = 422) -> tuple[str, int]:
    """Say in words what could not be taken; what was typed is a step back in the browser."""
    return render_template("refused.html", faults=faults), status


@acts.post("/pour")
def start_layer() -> Response | tuple[str, int]:
    """Start the clock of a layer, at the moment the parts met."""
    here, form = local(), Form(request.form)
    resin = resins.resin(reader(), request.form.get("resin", ""))
    if resin is None:
        form.faults.append("The resin is not on the shelf any more; choose another")
    poured_s = form.moment("poured_at", "The moment the parts met", here)
    if request.form.get("when") != "past":
        poured_s = here.now_s
    elif poured_s is None and not form.faults:
        form.faults.append("The moment the parts met is empty; give it, or choose 'now'")
    area = form.number("area_cm2", "Area", 0.1, 1e6, "cm²")
    depth = form.number("depth_mm", "Depth", 0.05, 500, "mm")
    volume = form.number("volume_ml", "Volume", 0.1, 1e6, "ml")
    part_a = form.number("part_a", "Resin used", 0.01, 1e6, "ml or g")
    part_b = form.number("part_b", "Hardener used", 0.01, 1e6, "ml or g")
    if depth is None and area and volume:
        depth = volume / area * 10.0
    base = form.choice("base", "Base", wording.BASES, "wood")
    piece_id = request.form.get("piece", "")
    name = form.text("name", "The piece's name", 80)
    layer_name = form.text("layer", "The layer's name", 80)
    ratio = 1.0
    if resin is not None and part_a and part_b:
        ratio = _ratio(resin, part_a, part_b, request.form.get("part_unit", "ml"), form)
    if form.faults or resin is None or poured_s is None:
        return refused(form.faults)
    with acting() as con:
        known = {str(one.id): one.id for one in pieces.pieces(con, ended=False)}
        number = known.get(piece_id)
        if number is None:
            number = pieces.add_piece(
                con, name or f"Piece of {here.at(here.now_s).strftime('%-d %b')}", here.now_s
            )
        pieces.add_layer(
            con,
            number,
            layer_name or resin.name,
            resin,
            poured_s,
            here.now_s,
            depth_mm=depth,
            area_cm2=area,
            volume_ml=volume,
            base=base,  # type: ignore[arg-type]
            pour_temp_c=form.number("pour_temp_c", "Temperature of the parts", 5, 60, "°C"),
            hardener_ratio=ratio,
            sensor=request.form.get("sensor") or None,
            batch=form.text("batch", "The bottle", 40),
        )
    return redirect(url_for("pages.bench"))


def _ratio(resin: ResinProfile, part_a: float, part_b: float, unit: str, form: Form) -> float:
    """The core's hardener ratio of what was mixed; a senseless one is a fault in words."""
    try:
        ratio = hardener_ratio(resin, part_a, part_b, unit)
    except ValueError as error:
        form.faults.append(str(error))
        return 1.0
    if not 0.2 <= ratio <= 5.0:
        form.faults.append(
            f"{part_a:g} of resin and {part_b:g} of hardener is {ratio:.1f} times the label's "
            "hardener; are the two swapped?"
        )
    return ratio


@acts.post("/layers/<int:number>/marks")
def add_mark(number: int) -> Response | tuple[str, int]:
    """Log what was seen or done."""
    form, here = Form(request.form), local()
    kind = form.choice("kind", "The mark", wording.MARK_NAMES, "note")
    verdict = request.form.get("verdict") or None
    if verdict is not None and verdict not in wording.VERDICT_NAMES:
        form.faults.append(f"The verdict {verdict!r} is unknown")
    note = form.text("note", "The note", 400)
    if kind == "note" and not note:
        form.faults.append("The note is empty; write something")
    at_s = form.moment("at", "The moment", here) or here.now_s
    if form.faults:
        return refused(form.faults)
    with acting() as con:
        layer = pieces.layer(con, number)
        if layer is None:
            abort(404, f"There is no layer {number}. It may have been deleted.")
        if at_s < layer.poured_at_s - 60:
            return refused(["The mark lies before the pour; correct one of the two"])
        marks.add_mark(con, number, kind, at_s, verdict, note)  # type: ignore[arg-type]
    return back()


@acts.post("/marks/<int:number>/<act>")
def change_mark(number: int, act: str) -> Response:
    """Take a mark back, bring it back, set it aside or count it again."""
    with acting() as con:
        if act == "remove":
            marks.remove_mark(con, number, now_s())
        elif act == "restore":
            marks.restore_mark(con, number)
        elif act in ("aside", "count"):
            marks.set_aside(con, number, act == "aside")
        else:
            abort(404, f"{act!r} is not something a mark can do.")
    return back()


@acts.post("/layers/<int:number>/end")
def end_layer(number: int) -> Response:
    """The layer is done."""
    with acting() as con:
        pieces.end_layer(con, number, now_s())
    return back()


@acts.post("/layers/<int:number>/reopen")
def reopen_layer(number: int) -> Response:
    """Ended by mistake."""
    with acting() as con:
        pieces.reopen_layer(con, number, now_s())
    return back()


@acts.post("/layers/<int:number>/correct")
def correct_layer(number: int) -> Response | tuple[str, int]:
    """Correct what was entered wrongly; the old value is kept."""
    form, here = Form(request.form), local()
    fields: dict[str, Any] = {"name": form.text("name", "The layer's name", 80, needed=True)}
    poured_s = form.moment("poured_at", "The moment the parts met", here)
    if poured_s is not None:
        fields["poured_at_s"] = poured_s
    for key, name, low, high, unit in (
        ("depth_mm", "Depth", 0.05, 500, "mm"),
        ("area_cm2", "Area", 0.1, 1e6, "cm²"),
        ("volume_ml", "Volume", 0.1, 1e6, "ml"),
    ):
        fields[key] = form.number(key, name, low, high, unit)
    fields["base"] = form.choice("base", "Base", wording.BASES, "wood")
    if form.faults:
        return refused(form.faults)
    with acting() as con:
        pieces.change_layer(con, number, now_s(), **fields)
    return back()


@acts.post("/pieces/<int:number>/correct")
def correct_piece(number: int) -> Response | tuple[str, int]:
    """Correct a piece's name, note or outcome."""
    form = Form(request.form)
    fields = {
        "name": form.text("name", "The piece's name", 80, needed=True),
        "note": form.text("note", "The note", 2000),
        "outcome": form.text("outcome", "How it came out", 400),
    }
    if form.faults:
        return refused(form.faults)
    with acting() as con:
        pieces.change_piece(con, number, now_s(), **fields)
    return back("pages.piece", number=number)


@acts.post("/pieces/<int:number>/end")
def end_piece(number: int) -> Response:
    """The piece is finished."""
    form = Form(request.form)
    with acting() as con:
        pieces.end_piece(con, number, now_s(), form.text("outcome", "How it came out", 400))
    return redirect(url_for("pages.piece", number=number))


@acts.post("/pieces/<int:number>/delete")
def delete_piece(number: int) -> Response | tuple[str, int]:
    """Delete for good, once the name was typed."""
    found = pieces.piece(reader(), number)
    if found is None:
        abort(404, f"There is no piece {number}. It may have been deleted.")
    if request.form.get("confirm", "").strip() != found.name:
        return refused([f"To delete it for good, type its name: {found.name}"])
    with acting() as con:
        pieces.delete_piece(con, number)
    return redirect(url_for("pages.history"))


@acts.post("/alarms/<int:number>/<act>")
def alarm_act(number: int, act: str) -> Response:
    """Leave a wish for the monitor; it answers at its next tick."""
    ask_alarm(number, act, request.form.get("for", "1"))
    return back()


def ask_alarm(number: int, act: str, shelve_for: str) -> None:
    """Write the wish. Aborts for an unknown alarm or act."""
    row = alarms.row(reader(), number)
    if row is None:
        abort(404, f"There is no alarm {number}.")
    if act not in ("acknowledge", "shelve", "unshelve", "out_of_service", "in_service"):
        abort(404, f"{act!r} is not something an alarm can do.")
    until_s = None
    if act == "shelve":
        until_s = now_s() + SHELVE_H.get(shelve_for, 3600.0)
    with acting() as con:
        alarms.ask(con, row.state.key, row.state.subject, act, now_s(), until_s, by="the page")  # type: ignore[arg-type]


@acts.post("/resins")
def save_resin() -> Response | tuple[str, int]:
    """Add or change a resin, after the checks in words."""
    profile, faults = resin_of(request.form)
    if profile is None or faults:
        return (
            render_template(
                "resin_form.html",
                start=None,
                faults=faults,
                typed=request.form,
                wording=wording,
                kinds=wording.KINDS,
            ),
            422,
        )
    with acting() as con:
        resins.save_resin(con, profile, now_s())
    return redirect(url_for("pages.resin_page"))


def resin_of(typed: Mapping[str, str]) -> tuple[ResinProfile | None, list[str]]:
    """A profile from the form, and what is wrong with it in words."""
    form = Form(typed)
    name = form.text("name", "The resin's name", 80, needed=True)
    kind = form.choice("kind", "Kind", wording.KINDS, "pour")
    key = form.text("key", "Key", 60) or re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")
    stages: dict[str, StageTime] = {}
    for stage in STAGES[kind]:  # type: ignore[index]
        value = form.number(f"stage_{stage}", wording.STAGE_NAMES[stage], 0.005, 2000, "hours")
        if value is not None:
            stages[stage] = StageTime(value, "label")
    ref = form.number("ref_temp_c", "The label's temperature", 5, 40, "°C", needed=True)
    least = form.number("min_temp_c", "Coldest room", -5, 35, "°C")
    depth = form.number("max_depth_mm", "Deepest pour", 0.5, 500, "mm")
    ref_depth = form.number("ref_depth_mm", "Depth the times hold for", 0.05, 200, "mm")
    parts = [form.number(f"{unit}_{part}", f"Ratio, part {part.upper()}", 0.01, 1000, unit)
             for unit in ("ml", "g") for part in ("a", "b")]  # fmt: skip
    if form.faults or ref is None:
        return None, form.faults
    before = resins.resin(reader(), key)
    # A template's lesser numbers are kept; the label's own are the form's.
    profile = replace(
        before or ResinProfile(key, name, "pour", ref, {}),
        key=key,
        name=name,
        kind=kind,  # type: ignore[arg-type]
        ref_temp_c=ref,
        stages=stages,
        min_temp_c=18.0 if least is None else least,
        max_depth_mm=depth,
        ref_depth_mm=3.0 if ref_depth is None else ref_depth,
        ratio_by_volume=(parts[0], parts[1]) if parts[0] and parts[1] else None,
        ratio_by_weight=(parts[2], parts[3]) if parts[2] and parts[3] else None,
        note=form.text("note", "Note", 400),
        source="entered on the page",
    )
    return profile, [fault[0].upper() + fault[1:] for fault in options().faults(profile)]


@acts.post("/settings")
def save_settings() -> Response | tuple[str, int]:
    """Units, quiet hours and sensor names."""
    form = Form(request.form)
    quiet = {}
    for key in ("quiet_from", "quiet_to"):
        value = form.text(key, "Quiet hours", 5)
        if value and not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", value):
            form.faults.append(f"Quiet hours {value!r}; expected a time like 22:30")
        quiet[key] = value
    temperature = form.choice("temperature", "Temperature", {"C": 0, "F": 0}, "C")
    if form.faults:
        return refused(form.faults)
    with acting() as con:
        settings.put(con, "temperature", temperature, now_s())
        for key, value in quiet.items():
            settings.put(con, key, value, now_s())
        for sensor in readings.sensors(con):
            name = request.form.get(f"name:{sensor.key}", "").strip()[:60]
            if name:
                readings.rename_sensor(con, sensor.key, name, now_s())
    return redirect(url_for("pages.settings_page"))
