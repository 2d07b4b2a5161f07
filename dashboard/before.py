"""Before you pour: choose, see what it would do and whether now is the time, start the clock."""

from __future__ import annotations

from typing import cast

from flask import Response, render_template, request
from werkzeug.wrappers import Response as Answer

from dashboard import views, wording
from dashboard.db import reader
from dashboard.facts import peak_words
from dashboard.forms import Form
from dashboard.views import local
from dashboard.wording import Local
from monitor.answers import preview as ahead
from monitor.answers.preview import Ahead, Measures
from monitor.core.vocabulary import Base, Layer, Outlook, ResinProfile
from monitor.store import pieces, readings, resins

# Handed on by another page that reckoned for this one; not typed here.
HANDED_ON = ("step", "plan")


def pour() -> str:
    """The whole page."""
    con, here = reader(), local()
    shelf = resins.resins(con)
    parts = _answer(shelf, here)
    return render_template(
        "pour.html",
        **parts,
        shelf=shelf,
        bases=wording.BASES,
        open_pieces=pieces.pieces(con, ended=False),
        sensors=readings.sensors(con),
        now_field=here.field(here.now_s),
        handed_on={key: request.args[key] for key in HANDED_ON if request.args.get(key)},
    )


def pour_now() -> Answer:
    """The answer alone, for the slider; 304 while it is the same."""
    con, here = reader(), local()
    text = render_template("_pour.html", **_answer(resins.resins(con), here))
    answer = Response(text, mimetype="text/html")
    answer.add_etag()
    return answer.make_conditional(request)


def _answer(shelf: list[ResinProfile], here: Local) -> dict[str, object]:
    """What the chosen pour would do, from what is typed."""
    con, typed = reader(), request.args
    chosen = resins.resin(con, typed.get("resin", "")) or _usual(shelf)
    form = Form(typed, here.units)
    depth = form.number("depth_mm", "Depth", 0.05, 500, "mm")
    area = form.number("area_cm2", "Area", 0.1, 1e6, "cm²")
    volume = form.number("volume_ml", "Volume", 0.1, 1e6, "ml")
    base = form.choice("base", "Base", wording.BASES, "wood")
    later_h = form.number("later_h", "Later", 0, 72, "h") or 0.0
    poured_s = here.now_s + later_h * 3600.0
    found: Ahead | None = None
    measured: Measures | None = None
    if chosen is not None and not form.faults:
        try:
            found = ahead.look(
                con, chosen, here.now_s, poured_s, depth_mm=depth, area_cm2=area,
                volume_ml=volume, base=cast(Base, base),
                sensor=typed.get("sensor") or None,
            )  # fmt: skip
            measured = _measured(chosen, found.outlook, depth, area, volume)
        except ValueError as error:
            form.faults.append(str(error))
    outlook = None if found is None else found.outlook
    return {
        "chosen": chosen,
        "typed": typed,
        "base": base,
        "later_h": later_h,
        "faults": form.faults,
        "measured": measured,
        "lifts": _lifts(measured, here),
        "mix": () if measured is None else _mix_words(chosen, measured, here),
        "verdicts": () if found is None else _verdicts(found, poured_s, here),
        "facts": () if outlook is None else _heat_words(outlook, here),
        "outlook": outlook,
        # A pour that must not be made has no times worth reading.
        "unfit": found is not None and found.fitness.pour.answer == "no",
        "stages": _stages(chosen, outlook, poured_s, here),
        "verdict": None if found is None else _whole(found, later_h > 0.5, here),
        "notes": () if outlook is None else [here.spoken(words) for words in outlook.notes],
        "poured_words": "now" if not later_h else here.clock(poured_s),
        "shown": here.units,
    }


def _measured(
    chosen: ResinProfile,
    outlook: Outlook,
    depth: float | None,
    area: float | None,
    volume: float | None,
) -> Measures | None:
    heard = (s.last_temp_c for s in readings.sensors(reader()) if s.last_temp_c is not None)
    room_c = next(heard, chosen.ref_temp_c)
    return ahead.measures(chosen, outlook, room_c, depth_mm=depth, area_cm2=area, volume_ml=volume)


def _verdicts(found: Ahead, poured_s: float, here: Local) -> tuple[dict[str, object], ...]:
    """The three answers, worded; the pour's own only where it has something to say."""
    judged, later = found.fitness, poured_s - here.now_s > 1800.0
    rows = [
        (wording.ROOM_THEN if later else wording.ROOM_NOW, judged.room),
        (wording.hours_after(poured_s, judged.until_s, here), judged.after),
        (wording.POUR_ITSELF, judged.pour),
    ]
    return tuple(
        {
            "about": about,
            "answer": verdict.answer,
            "word": wording.ANSWERS[verdict.answer],
            "reasons": [here.spoken(words) for words in verdict.reasons],
            "cautions": [here.spoken(words) for words in verdict.cautions],
            "better": "" if verdict.from_s is None else here.clock(verdict.from_s),
        }
        for about, verdict in rows
        if verdict.reasons
    )


def _whole(found: Ahead, later: bool, here: Local) -> dict[str, str]:
    """The worst of the answers as one sentence, with when waiting would help."""
    judged = found.fitness
    waiting = [v for v in (judged.room, judged.after) if v.answer == "wait"]
    known = [v.from_s for v in waiting if v.from_s is not None]
    better = ""
    if judged.answer == "wait" and known and len(known) == len(waiting):
        better = wording.BETTER.format(here.clock(max(known)))
    question = wording.GOOD_THEN if later else wording.GOOD_NOW
    words = wording.WHOLE[judged.answer]
    return {"answer": judged.answer, "question": question, "words": f"{words} {better}".strip()}


def _mix_words(
    chosen: ResinProfile | None, measured: Measures, here: Local
) -> tuple[tuple[str, str], ...]:
    """Stirring and resting, cup and piece."""
    shown = here.units
    cups = "One cup" if measured.cups == 1 else f"{measured.cups} cups"
    each = shown.quantity(measured.cup_ml, "ml", 0)
    keeps = wording.hours(measured.cup_working_h)
    steps = [
        ("Cups", f"{cups} of {each}; in the cup it keeps {keeps}, "
                 f"on the piece {wording.hours(measured.piece_working_h)}."),
        ("Stir", wording.STIR),
    ]  # fmt: skip
    rest = None if chosen is None else chosen.stages.get("rest_over")
    if rest is not None:
        whose = "the label's" if rest.basis == "label" else wording.BASIS_NAMES[rest.basis]
        steps.append(
            ("Rest", f"Pour from {wording.hours(rest.hours)} after mixing: bubbles rise ({whose}).")
        )
    return tuple(steps)


def _lifts(measured: Measures | None, here: Local) -> str:
    if measured is None or len(measured.lifts_mm) < 2:
        return ""
    each = here.units.quantity(round(measured.lifts_mm[0], 1), "mm")
    return f"Split it into {len(measured.lifts_mm)} lifts of {each}, each once the last is firm."


def _heat_words(outlook: Outlook, here: Local) -> tuple[str, ...]:
    if outlook.peak_c is None:
        return ()
    found = [f"It {peak_words(outlook.peak_c, here.units)}."]
    if outlook.max_depth_mm is not None:
        deepest = here.units.quantity(outlook.max_depth_mm, "mm", 0)
        found.append(f"Deepest pour that stays cool enough in this room: {deepest}.")
    return tuple(found)


def _stages(
    chosen: ResinProfile | None, outlook: Outlook | None, poured_s: float, here: Local
) -> tuple[views.StageView, ...]:
    if chosen is None or outlook is None:
        return ()
    return views.stage_views(Layer(0, 0, "", chosen, poured_s), outlook, here)


def _usual(shelf: list[ResinProfile]) -> ResinProfile | None:
    return next((one for one in shelf if one.kind == "pour"), shelf[0] if shelf else None)
