"""What a person does: each act is one write, then back to where they were."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from flask import Blueprint, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from dashboard import before, pouring, translating, wording
from dashboard.db import acting, now_s, options, reader
from dashboard.durations import hours_of, written
from dashboard.forms import Form
from dashboard.going import back, refused
from dashboard.mixing import mixed_ratio
from dashboard.units import CHOICES
from dashboard.views import local
from monitor.core.vocabulary import STAGES, ResinProfile, StageTime
from monitor.store import alarms, forgetting, pieces, readings, resins, settings
from monitor.store.errors import StoreError

acts = Blueprint("acts", __name__)

SHELVE_H = {"1": 3600.0, "8": 8 * 3600.0}


@acts.post("/pour")
def start_layer() -> Response | tuple[str, int]:
    """Start the clock of a layer, at the moment the parts met."""
    here = local()
    form = Form(request.form, here.units)
    resin = resins.resin(reader(), request.form.get("resin", ""))
    if resin is None:
        form.fault("resin", "The resin is not on the shelf any more; choose another")
    poured_s = form.moment("poured_at", "The moment the parts met", here)
    if request.form.get("when") != "past":
        poured_s = here.now_s
    elif poured_s is None and not form.faults:
        form.fault("poured_at", "The moment the parts met is empty; give it, or choose 'now'")
    area, depth, volume = before.sizes_of(form)
    if depth is None and area and volume:
        depth = volume / area * 10.0
    base = form.choice("base", "Base", wording.BASES, "wood")
    number, name = _piece_of(form)
    layer_name = form.text("layer", "The layer's name", 80)
    ratio = None if resin is None else mixed_ratio(resin, form)
    pour_temp = form.number("pour_temp_c", "Temperature of the parts", 5, 60, "°C")
    batch = form.text("batch", "The batch number", 40)
    known_sensors = ["", *(one.key for one in readings.sensors(reader()))]
    sensor = form.choice("sensor", "The sensor", known_sensors, "") or None
    probe = form.choice("probe", "The probe", known_sensors, "") or None
    if form.faults or resin is None or poured_s is None:
        return before.page(request.form, form), 422
    with acting() as con:
        if number is None:
            number = pieces.add_piece(
                con, name or f"Piece of {here.worded(here.now_s, '%-d %b')}", here.now_s
            )
        layer_id = pieces.add_layer(
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
            pour_temp_c=pour_temp,
            hardener_ratio=1.0 if ratio is None else ratio,
            sensor=sensor,
            batch=batch or pouring.lot_of(con, request.form),
            probe=probe,
            step=pouring.step_of(con, number, request.form),
        )
        pouring.draw(con, layer_id, resin, request.form, poured_s)
    return redirect(url_for("pages.bench"))


def _piece_of(form: Form) -> tuple[int | None, str]:
    """The piece on the bench that was chosen, or the name of a new one; never both."""
    chosen = form.text("piece", "The piece", 20)
    name = form.text("name", "The piece's name", 80)
    if not chosen:
        return None, name
    known = {str(one.id): one for one in pieces.pieces(reader(), ended=False)}
    if chosen not in known:
        form.fault("piece", "The piece is not on the bench any more; choose another")
        return None, name
    if name and name != known[chosen].name:
        form.fault(
            "name",
            f"The layer goes on {known[chosen].name}, and a new piece is named {name}; "
            "choose 'a new piece', or clear the name",
        )
    return known[chosen].id, name


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
    form = Form(request.form, local().units)
    profile, faults = resin_in(form)
    if profile is None or faults:
        return (
            render_template(
                "resin_form.html",
                start=None,
                faults=faults,
                at=form.at,
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
    """A profile from metric fields, and what is wrong with it in words."""
    return resin_in(Form(typed))


@acts.app_template_global()
def time_field(hours: float | None) -> tuple[str, str]:
    """A time as its field shows it, and the hours kept where that is not all of it."""
    if hours is None:
        return "", ""
    shown = written(hours)
    return shown, "" if hours_of(shown) == hours else repr(float(hours))


def resin_in(form: Form) -> tuple[ResinProfile | None, list[str]]:
    """A profile from a form, and what is wrong with it in words."""
    name = form.text("name", "The resin's name", 80, needed=True)
    kind = form.choice("kind", "Kind", wording.KINDS, "pour")
    key = form.text("key", "Key", 60) or re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")
    stages: dict[str, StageTime] = {}
    for stage in STAGES[kind]:  # type: ignore[index]
        value = form.hours(f"stage_{stage}", wording.STAGE_NAMES[stage], 0.005, 2000)
        if value is not None:
            stages[stage] = StageTime(value, "label")
    ref = form.number("ref_temp_c", "The label's temperature", 5, 40, "°C", needed=True)
    least = form.number("min_temp_c", "Coldest room", -5, 35, "°C")
    most = form.number("max_temp_c", "Warmest room", 5, 60, "°C")
    damp = form.number("max_humidity_pct", "Dampest room", 20, 100, "%RH")
    depth = form.number("max_depth_mm", "Deepest pour", 0.5, 500, "mm")
    ref_depth = form.number("ref_depth_mm", "Depth the times hold for", 0.05, 200, "mm")
    parts = [form.number(f"{unit}_{part}", f"Ratio, part {part.upper()}", 0.01, 1000, "parts")
             for unit in ("ml", "g") for part in ("a", "b")]  # fmt: skip
    if form.faults or ref is None:
        return None, form.faults
    # A template's lesser numbers are kept; the label's own are the form's.
    start = resins.resin(reader(), key) or ResinProfile(key, name, "pour", ref, {})
    profile = replace(
        start,
        key=key,
        name=name,
        kind=kind,  # type: ignore[arg-type]
        ref_temp_c=ref,
        stages=stages,
        min_temp_c=18.0 if least is None else least,
        max_temp_c=start.max_temp_c if most is None else most,
        max_humidity_pct=start.max_humidity_pct if damp is None else damp,
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
    """Units, language, quiet hours and sensor names."""
    form = Form(request.form)
    quiet = {}
    for key in ("quiet_from", "quiet_to"):
        value = form.text(key, "Quiet hours", 5)
        if value and not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", value):
            form.faults.append(f"Quiet hours {value!r}; expected a time like 22:30")
        quiet[key] = value
    units = {
        key: form.choice(key, name, kinds, next(iter(kinds)))
        for key, (name, kinds) in CHOICES.items()
    }
    known = translating.there().known
    spoken = translating.spoken().code
    language = {translating.SETTING: form.choice("language", "Language", known, spoken)}
    if form.faults:
        return refused(form.faults)
    with acting() as con:
        for key, value in {**units, **quiet, **language}.items():
            settings.put(con, key, value, now_s())
        for sensor in readings.sensors(con):
            name = request.form.get(f"name:{sensor.key}", "").strip()[:60]
            if name:
                readings.rename_sensor(con, sensor.key, name, now_s())
    return redirect(url_for("pages.settings_page", saved=1))


@acts.post("/settings/forget")
def forget_sensors() -> Response | tuple[str, int]:
    """Forget the sensors that were chosen and confirmed: all of them, or none."""
    try:
        with acting() as con:
            for key in request.form.getlist("sensor"):
                forgetting.forget(con, key, now_s())
    except StoreError as error:
        return refused([str(error)])
    return redirect(url_for("pages.settings_page", saved=1))
