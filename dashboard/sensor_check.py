"""The guided check of a sensor: choose, wait, read the verdict, correct, take it back."""

from __future__ import annotations

from flask import Blueprint, Response, redirect, render_template, request, url_for
from markupsafe import Markup
from werkzeug.wrappers import Response as Answer

from dashboard import drawing, views
from dashboard.db import acting, now_s, reader
from dashboard.drawing import Chart, Line
from dashboard.forms import Form
from dashboard.going import refused
from dashboard.units import Units
from dashboard.views import local, numbered
from dashboard.wording import Local
from monitor.answers import sensor_check_words, sensor_checks
from monitor.answers.sensor_checks import REFERENCE, SETUPS, CheckError, Drawn, Look
from monitor.store import corrections, readings
from monitor.store.errors import StoreError

checks = Blueprint("sensor_check", __name__)

DRAWN_POINTS = 500


@checks.get("/sensor-check")
def page() -> str:
    """What to check and against what, or how the check that is going on stands."""
    return render_template("sensor_check.html", **_parts())


@checks.get("/sensor-check/now")
def now() -> Answer:
    """The changing part; 304 while nothing changed."""
    answer = Response(render_template("sensor_check_now.html", **_parts()), mimetype="text/html")
    answer.add_etag()
    return answer.make_conditional(request)


def _parts() -> dict[str, object]:
    con, here = reader(), local()
    shown = views.units(con)
    sensors = readings.sensors(con)
    known = {one.key: views.sensor_name(one) for one in sensors}
    key = request.args.get("sensor", "")
    if key not in known:
        key = next(iter(known), "")
    found = sensor_checks.look(con, key, here.now_s) if key else None
    fit = None if found is None else found.fit
    drawn = sensor_checks.drawn(con, key, here.now_s, found) if key else None
    return {
        "sensors": sensors,
        "key": key,
        "name": known.get(key, key),
        "setups": SETUPS.values(),
        "degree": shown.degree,
        "melting": shown.temperature(0.0, 0),
        "found": found,
        "where": "" if found is None or found.what is None else SETUPS[found.what].name,
        "since": "" if found is None else here.clock(found.started_s),
        "words": () if found is None else _words(found, here, shown),
        "takes": found is not None and found.point is not None and found.point.believable,
        "kept": [] if fit is None or found is None else [
            sensor_check_words.kept_words(one, left, shown.fahrenheit)
            for one, left in zip(found.kept, fit.left_over, strict=True)
        ],
        "fit_words": "" if fit is None else sensor_check_words.fit_words(fit, shown.fahrenheit),
        "now_field": here.field(here.now_s),
        "beside": sensor_checks.layers_beside(con, key) if key else [],
        "picture": "" if drawn is None else _picture(drawn, found, here, shown),
        "rows": _rows(key, here, shown) if key else [],
    }  # fmt: skip


def _words(found: Look, here: Local, shown: Units) -> tuple[str, ...]:
    return sensor_check_words.words(found, here.now_s, shown.fahrenheit)


def _rows(key: str, here: Local, shown: Units) -> list[dict[str, object]]:
    """Every correction there was, the newest first; those that hold can be withdrawn."""
    rows = corrections.corrections(reader(), key)
    holding = corrections.holding(rows)
    return [
        {
            "from_s": repr(one.from_s),
            "when": here.full(one.from_s),
            "words": sensor_check_words.correction_words(one, shown.fahrenheit),
            "note": one.note,
            "can_go": any(one is other for other in holding) and one.note != corrections.WITHDRAWN,
        }
        for one in reversed(rows)
    ]


def _picture(drawn: Drawn, found: Look | None, here: Local, shown: Units) -> Markup:
    """Readings as measured, as corrected, and what is true, over one time axis."""
    step = max(1, len(drawn.at_s) // DRAWN_POINTS)
    at_s = numbered(drawn.at_s[::step])
    scale = (lambda v: v) if drawn.humidity else shown.shown
    lines = [
        Line(at_s, [scale(v) for v in numbered(drawn.measured[::step])], "ink", "as measured"),
        Line(at_s, [scale(v) for v in numbered(drawn.corrected[::step])], "second", "as corrected"),
    ]
    if drawn.true is not None:
        ends = [at_s[0], at_s[-1]]
        lines.append(Line(ends, [scale(drawn.true)] * 2, "dew", "true here"))
    unit = "%RH" if drawn.humidity else shown.degree
    last, mended = lines[0].values[-1], lines[1].values[-1]
    text = f"The last reading: {last:.1f} {unit} as measured, {mended:.1f} {unit} as corrected."
    title = "Humidity before and after" if drawn.humidity else "Temperature before and after"
    return drawing.picture(
        Chart(title, at_s[0], max(here.now_s, at_s[-1]), unit, lines, now_s=here.now_s,
              height=210, text=text),
        here,
    )  # fmt: skip


@checks.post("/sensor-check/<act>")
def do(act: str) -> Answer | tuple[str, int]:
    """Begin, keep the point, correct by what is kept, stop, or withdraw a correction."""
    key, here = request.form.get("sensor", ""), local()
    form = Form(request.form, here.units)
    try:
        with acting() as con:
            if act == "begin":
                what = request.form.get("what", "")
                reference_c = _reference_c(form, what)
                if not form.faults:
                    sensor_checks.begin(con, key, what, reference_c, now_s())
            elif act == "keep":
                sensor_checks.keep(con, key, now_s())
            elif act == "correct":
                from_s = form.moment("from", "The moment", here)
                if request.form.get("when") != "past":
                    from_s = here.now_s
                if from_s is None and not form.faults:
                    form.faults.append("The moment is empty; give it, or choose 'now on'")
                if from_s is not None and not form.faults:
                    sensor_checks.correct(con, key, min(from_s, here.now_s), here.now_s)
            elif act == "stop":
                sensor_checks.stop(con, key, now_s())
            elif act == "withdraw":
                from_s = form.number("from_s", "The correction", 0.0, 1e11, "s", needed=True)
                if from_s is not None:
                    corrections.withdraw(con, key, from_s)
            else:
                return refused([f"{act!r} is not something a sensor check can do."], 404)
    except (CheckError, StoreError) as error:
        words = str(error)
        return refused([words[0].upper() + words[1:]])
    if form.faults:
        return refused(form.faults)
    return redirect(url_for("sensor_check.page", sensor=key))


def _reference_c(form: Form, what: str) -> float | None:
    if what != REFERENCE:
        return None
    return form.number("reference", "What the thermometer reads", -20, 60, "°C", needed=True)
