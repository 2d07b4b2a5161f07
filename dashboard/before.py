"""Before you pour: choose, see what it would do and whether now is the time, start the clock."""

from __future__ import annotations

from collections.abc import Mapping
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
HANDED_ON = ("step", "plan", "mixed_ml", "mixed_for_ml")
SIZES = (
    ("area_cm2", "Area", 0.1, 1e6, "cm²"),
    ("depth_mm", "Depth", 0.05, 500, "mm"),
    ("volume_ml", "Volume", 0.1, 1e6, "ml"),
)
# What is done with a resin, by its kind: the act, what it then is, and asked now and for later.
DOING: Mapping[str, Mapping[str, str]] = {
    "pour": {"act": "Pour", "done": "poured", "begun": "Mixed", "page": "Pour a layer",
             "now": wording.GOOD_NOW, "then": wording.GOOD_THEN},
    "adhesive": {"act": "Glue", "done": "glued", "begun": "Mixed", "page": "Glue",
                 "now": "Glue now?", "then": "Glue then?"},
    "paint": {"act": "Paint", "done": "painted", "begun": "Painted", "page": "Paint a layer",
              "now": "Paint now?", "then": "Paint then?"},
}  # fmt: skip


def pour() -> str:
    """The whole page."""
    return page(request.args)


def page(typed: Mapping[str, str], refused: Form | None = None) -> str:
    """The page with what was typed; with what is wrong with it where it was refused."""
    con, here = reader(), local()
    shelf = resins.resins(con)
    parts = _answer(shelf, here, typed)
    if refused is not None:
        parts["faults"] = ()  # told at the top, and at the fields
    return render_template(
        "pour.html",
        **parts,
        shelf=shelf,
        bases=wording.BASES,
        open_pieces=pieces.pieces(con, ended=False),
        sensors=readings.sensors(con),
        now_field=here.field(here.now_s),
        filled_in=_moment_words(typed, here),
        handed_on={key: typed[key] for key in HANDED_ON if typed.get(key)},
        refused=None if refused is None else refused.faults,
        at={} if refused is None else refused.at,
        sizes=_neat_sizes(typed, here),
    )


def pour_now() -> Answer:
    """The answer alone, for the slider; 304 while it is the same."""
    con, here = reader(), local()
    text = render_template("_pour.html", **_answer(resins.resins(con), here, request.args))
    answer = Response(text, mimetype="text/html")
    answer.add_etag()
    return answer.make_conditional(request)


def sizes_of(form: Form) -> tuple[float | None, float | None, float | None]:
    """Area [cm²], depth [mm] and volume [ml] as typed."""
    area, depth, volume = (form.number(*one) for one in SIZES)
    return area, depth, volume


def _neat_sizes(typed: Mapping[str, str], here: Local) -> dict[str, tuple[str, str]]:
    """Each size as its field shows it, and the number kept where that is not all of it.

    Another page hands on all the digits of a size in other units; nobody wants to read them.
    """
    found = {}
    for key, name, low, high, unit in SIZES:
        form = Form(typed, here.units)
        value = form.number(key, name, low, high, unit)
        if value is None:
            found[key] = (typed.get(key, ""), "")
        else:
            found[key] = (here.units.neat(value, unit), here.units.was(value, unit))
    return found


def _moment_words(typed: Mapping[str, str], here: Local) -> str:
    """The moment filled in, as the rest of the page writes it; browsers have their own way."""
    at_s = here.parsed(typed.get("poured_at", ""))
    return here.worded(here.now_s if at_s is None else at_s, "%a %-d %b, %H:%M")


def _answer(shelf: list[ResinProfile], here: Local, typed: Mapping[str, str]) -> dict[str, object]:
    """What the chosen pour would do, from what is typed."""
    con = reader()
    chosen = resins.resin(con, typed.get("resin", "")) or _usual(shelf)
    kind = "pour" if chosen is None else chosen.kind
    form = Form(typed, here.units)
    area, depth, volume = sizes_of(form)
    if kind == "paint":
        depth = volume = None  # a film of paint has neither here, whatever its fields hold
    base = form.choice("base", "Base", wording.BASES, "wood")
    later_h = form.number("later_h", "Later", 0, 72, "h") or 0.0
    poured_s = here.now_s + later_h * 3600.0
    found: Ahead | None = None
    measured: Measures | None = None
    one_of: Measures | None = None
    if chosen is not None and not form.faults:
        try:
            found = ahead.look(
                con, chosen, here.now_s, poured_s, depth_mm=depth, area_cm2=area,
                volume_ml=volume, base=cast(Base, base),
                sensor=typed.get("sensor") or None,
            )  # fmt: skip
            measured = _measured(chosen, found.outlook, depth, area, volume)
            one_of = _one_of(chosen, found.outlook, measured, area, volume)
        except ValueError as error:
            form.faults.append(str(error))
    outlook = None if found is None else found.outlook
    heard = any(sensor.last_temp_c is not None for sensor in readings.sensors(con))
    return {
        "chosen": chosen,
        "typed": typed,
        "base": base,
        "later_h": later_h,
        "faults": form.faults,
        # What is too deep at once is mixed and poured in parts.
        "measured": one_of or measured,
        "pours": 1 if measured is None else len(measured.lifts_mm),
        "split": _split(measured, here),
        "mix": () if measured is None else _mix_words(chosen, one_of or measured, here),
        "verdicts": () if found is None else _verdicts(found, poured_s, here, heard),
        "facts": () if outlook is None else _heat_words(outlook, here, heard),
        "outlook": outlook,
        # A pour that must not be made has no times worth reading.
        "unfit": found is not None and found.fitness.pour.answer == "no",
        "stages": _stages(chosen, outlook, poured_s, here),
        "verdict": None if found is None else _whole(found, later_h > 0.5, here, DOING[kind]),
        "kind": kind,
        "doing": DOING[kind],
        "notes": () if found is None else [here.spoken(words) for words in _notes(found)],
        "heard": heard,
        "poured_words": "now" if not later_h else here.clock(poured_s),
        "shown": here.units,
    }


def _one_of(
    chosen: ResinProfile,
    outlook: Outlook,
    whole: Measures | None,
    area: float | None,
    volume: float | None,
) -> Measures | None:
    """What to measure for one of the pours that a deep one is split into."""
    if whole is None or len(whole.lifts_mm) < 2:
        return None
    part = None if volume is None else volume / len(whole.lifts_mm)
    return _measured(chosen, outlook, whole.lifts_mm[0], area, part)


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


def _verdicts(
    found: Ahead, poured_s: float, here: Local, heard: bool
) -> tuple[dict[str, object], ...]:
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
            "reasons": [here.spoken(_placed(words, heard)) for words in verdict.reasons],
            "cautions": [here.spoken(words) for words in verdict.cautions],
            "better": "" if verdict.from_s is None else here.clock(verdict.from_s),
        }
        for about, verdict in rows
        if verdict.reasons
    )


def _placed(words: str, heard: bool) -> str:
    """A reason of the pour's own; no room is told of where none was ever measured."""
    depth, cool, _ = words.partition(" at once stays cool enough in this room.")
    if heard or not cool:
        return words
    return f"{depth} at once stays cool enough at the label's temperature."


def _notes(found: Ahead) -> list[str]:
    """The outlook's notes, without that of the cold where an answer says it already."""
    judged = found.fitness
    told = " ".join(judged.room.reasons + judged.after.reasons)
    cold = "wants at least" in told or "Likely below" in told
    return [
        words
        for words in found.outlook.notes
        if not (cold and words.startswith("The room ahead averages"))
    ]


def _whole(found: Ahead, later: bool, here: Local, doing: Mapping[str, str]) -> dict[str, str]:
    """The worst of the answers as one sentence, with when waiting would help."""
    judged = found.fitness
    waiting = [v for v in (judged.room, judged.after) if v.answer == "wait"]
    known = [v.from_s for v in waiting if v.from_s is not None]
    better = ""
    if judged.answer == "wait" and known and len(known) == len(waiting):
        better = wording.BETTER.format(here.clock(max(known)))
    question = doing["then" if later else "now"]
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
    fast = chosen is not None and chosen.kind == "adhesive"
    steps = [
        ("Cups", f"{cups} of {each}; in the cup it keeps {keeps}, "
                 f"on the piece {wording.hours(measured.piece_working_h)}."),
        ("Stir", wording.STIR_FAST if fast else wording.STIR),
    ]  # fmt: skip
    rest = None if chosen is None else chosen.stages.get("rest_over")
    if rest is not None:
        whose = "the label's" if rest.basis == "label" else wording.BASIS_NAMES[rest.basis]
        steps.append(
            ("Rest", f"Pour from {wording.hours(rest.hours)} after mixing: bubbles rise ({whose}).")
        )
    return tuple(steps)


def _split(measured: Measures | None, here: Local) -> str:
    if measured is None or len(measured.lifts_mm) < 2:
        return ""
    each = here.units.quantity(round(measured.lifts_mm[0], 1), "mm")
    return f"Split it into {len(measured.lifts_mm)} pours of {each}, each once the last is firm."


def _heat_words(outlook: Outlook, here: Local, heard: bool) -> tuple[str, ...]:
    if outlook.peak_c is None:
        return ()
    found = [f"It {peak_words(outlook.peak_c, here.units)}."]
    if outlook.max_depth_mm is not None:
        deepest = here.units.quantity(outlook.max_depth_mm, "mm", 0)
        found.append(
            f"Deepest pour that stays cool enough in this room: {deepest}."
            if heard
            else f"Deepest pour that stays cool enough at the label's temperature: {deepest}."
        )
    return tuple(found)


def _stages(
    chosen: ResinProfile | None, outlook: Outlook | None, poured_s: float, here: Local
) -> tuple[views.StageView, ...]:
    if chosen is None or outlook is None:
        return ()
    return views.stage_views(Layer(0, 0, "", chosen, poured_s), outlook, here)


def _usual(shelf: list[ResinProfile]) -> ResinProfile | None:
    return next((one for one in shelf if one.kind == "pour"), shelf[0] if shelf else None)
