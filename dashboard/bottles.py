"""The bottles page: what stands on the shelf, what is left, how old it is, what it cost."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import cast

from flask import Blueprint, abort, redirect, render_template, request
from werkzeug.wrappers import Response

from dashboard import views
from dashboard.db import acting, now_s, options, reader
from dashboard.forms import Form
from dashboard.going import refused
from dashboard.units import Units
from dashboard.views import local
from dashboard.wording import Local
from monitor.answers import measuring
from monitor.core.vocabulary import ResinProfile
from monitor.store import bottles as stored
from monitor.store import resins, settings
from monitor.store.bottles import Bottle, Part

bottles = Blueprint("bottles", __name__)

PART_NAMES = {"A": "resin, part A", "B": "hardener, part B", "kit": "kit: both parts"}
PART_SHORT = {"A": "resin", "B": "hardener", "kit": "kit"}


def currency() -> str:
    """How a person writes their money."""
    return settings.get(reader(), "currency", "€")


def bottle_name(bottle: Bottle) -> str:
    """'Hardener, batch 4711' or 'Hardener no. 3'."""
    name = PART_SHORT[bottle.part].capitalize()
    return f"{name}, batch {bottle.lot}" if bottle.lot else f"{name} no. {bottle.id}"


def money(value: float | None) -> str:
    """A price: '32 €', '4.50 €'; empty where none is known."""
    if value is None:
        return ""
    return f"{value:.2f}".removesuffix(".00") + f"\u00a0{currency()}"


@bottles.app_context_processor
def for_templates() -> dict[str, object]:
    """Lets the pour page offer the bottles of its resin."""
    return {"bottles_for": bottles_for, "money": money}


def bottles_for(resin_key: str) -> dict[str, list[tuple[int, str, bool]]]:
    """Bottles a layer may take from, for part A and part B: what is left, and if they are old.

    The first is the one to take from: last taken from, with something in it, not too old.
    """
    con, now = reader(), now_s()
    found, shown = stored.bottles(con, resin_key, emptied=False), views.units(con)

    def reluctance(one: Bottle) -> tuple[bool, bool, bool]:
        return one.part == "kit", one.left_ml <= 0, measuring.is_old(one, now)

    return {
        part: [
            (one.id, _offer(one, shown, now), measuring.is_old(one, now))
            for one in sorted(found, key=reluctance)
            if one.part in (part, "kit")
        ]
        for part in ("A", "B")
    }


def _offer(one: Bottle, shown: Units, now: float) -> str:
    left = f"{bottle_name(one)}: {shown.quantity(one.left_ml, 'ml', 0)} left"
    return f"{left}, open for over a year" if measuring.is_old(one, now) else left


@bottles.get("/bottles")
def bottles_page() -> str:
    """The shelf of bottles, and a form for a new one."""
    con, here = reader(), local()
    names = {one.key: one.name for one in resins.resins(con)}
    shown = [
        _line(one, names.get(one.resin_key, one.resin_key), here) for one in stored.bottles(con)
    ]
    return render_template(
        "bottles.html",
        shelf=[line for line in shown if not line["empty"]],
        empties=[line for line in shown if line["empty"]],
        resins=[one for one in resins.resins(con) if one.kind != "paint"],
        parts=PART_NAMES,
        currency=currency(),
        units=views.units(con),
        today=here.at(here.now_s).date().isoformat(),
        wanted=request.args.get("resin", ""),
    )


def _line(bottle: Bottle, resin: str, here: Local) -> dict[str, object]:
    opened = bottle.opened_at_s
    return {
        "bottle": bottle,
        "resin": resin,
        "name": bottle_name(bottle),
        "part": PART_NAMES[bottle.part],
        "left_pct": round(100.0 * bottle.left_ml / bottle.held_ml) if bottle.held_ml > 0 else 0,
        "opened": "not opened" if opened is None else f"opened {_day_words(opened, here)}",
        "opened_field": _opened_field(bottle, here),
        "old": measuring.is_old(bottle, here.now_s),
        "empty": bottle.emptied_at_s is not None,
    }


def _opened_field(bottle: Bottle, here: Local) -> str:
    opened = bottle.opened_at_s
    return "" if opened is None else here.at(opened).date().isoformat()


def _day_words(at_s: float, here: Local) -> str:
    return here.worded(at_s, "%-d %b %Y")


@bottles.post("/bottles")
def add_bottle() -> Response | tuple[str, int]:
    """Put a bottle on the shelf."""
    form = Form(request.form, units=views.units(reader()))
    resin = resins.resin(reader(), request.form.get("resin", ""))
    if resin is None:
        form.faults.append("The resin is not on the shelf any more; choose another")
    part = cast(Part, form.choice("part", "Part", PART_NAMES, "kit"))
    held = _size_ml(form, resin, part)
    fields = _common(form)
    if form.faults or resin is None or held is None:
        return refused(form.faults)
    with acting() as con:
        stored.add_bottle(con, resin.key, part, held, **fields)  # type: ignore[arg-type]
    return redirect("/bottles")


@bottles.post("/bottles/<int:number>")
def change_bottle(number: int) -> Response | tuple[str, int]:
    """Correct a bottle."""
    found = _found(number)
    form = Form(request.form, units=views.units(reader()))
    resin = resins.resin(reader(), found.resin_key)
    held = _size_ml(form, resin, found.part)
    fields = _common(form)
    if form.values.get("opened") == _opened_field(found, local()):
        del fields["opened_at_s"]  # the field holds a day: left alone, the moment stays
    if form.faults:
        return refused(form.faults)
    with acting() as con:
        stored.change_bottle(con, number, held_ml=held, **fields)
    return redirect("/bottles")


@bottles.post("/bottles/<int:number>/<act>")
def bottle_act(number: int, act: str) -> Response | tuple[str, int]:
    """Declare a bottle empty, take that back, or delete it."""
    _found(number)
    with acting() as con:
        if act == "empty":
            stored.change_bottle(con, number, emptied_at_s=now_s())
        elif act == "refill":
            stored.change_bottle(con, number, emptied_at_s=None)
        elif act == "delete":
            stored.delete_bottle(con, number)
        else:
            abort(404, f"{act!r} is not something a bottle can do.")
    return redirect("/bottles")


@bottles.post("/currency")
def save_currency() -> Response | tuple[str, int]:
    """How prices are written."""
    form = Form(request.form)
    sign = form.text("currency", "Currency", 6, needed=True)
    if form.faults:
        return refused(form.faults)
    with acting() as con:
        settings.put(con, "currency", sign, now_s())
    return redirect("/bottles")


def _found(number: int) -> Bottle:
    found = stored.bottle(reader(), number)
    if found is None:
        abort(404, f"There is no bottle {number}. It may have been deleted.")
    return found


def _size_ml(form: Form, resin: ResinProfile | None, part: str) -> float | None:
    unit = form.choice("unit", "Unit of the size", ("ml", "g"), "ml")
    size = form.number("held", "Size", 1, 1e6, unit, needed=True)
    if size is None or resin is None:
        return size
    try:
        return measuring.bottle_ml(resin, part, size, unit)
    except ValueError as error:
        form.faults.append(str(error))
        return None


def _common(form: Form) -> dict[str, object]:
    return {
        "lot": form.text("lot", "The batch number", 40),
        "opened_at_s": _day(form, "opened", local()),
        "price": form.number("price", "Price", 0, 1e6, currency()),
        "note": form.text("note", "Note", 200),
    }


def _day(form: Form, key: str, here: Local) -> float | None:
    """Noon of a typed day, so that no zone's night moves it to another."""
    typed = form.text(key, "Opened on", 10)
    if not typed:
        return None
    try:
        day = date.fromisoformat(typed)
    except ValueError:
        form.faults.append(f"Opened on is {typed!r}; expected a date")
        return None
    today = here.at(here.now_s).date()
    if not date(2000, 1, 1) <= day <= today:
        form.faults.append(f"Opened on is {typed}; expected a day from 2000 to today")
        return None
    noon = datetime.combine(day, time(12), tzinfo=Local(options().zone, here.now_s).zone)
    return min(noon.timestamp(), here.now_s)
