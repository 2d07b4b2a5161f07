"""The recipes page: the maker's own templates and the invented examples."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from flask import Blueprint, abort, redirect, render_template, request
from werkzeug.wrappers import Response

from dashboard.db import acting, now_s, reader
from dashboard.forms import Form
from dashboard.views import local
from monitor.answers import planning
from monitor.store import recipes as stored
from monitor.store import resins

recipes = Blueprint("recipes", __name__)

STEP_NAMES: Mapping[str, str] = {
    "base_pour": "base pour",
    "inlay": "inlay or cell",
    "casting": "casting in a mould",
    "adhesive_dam": "adhesive dam or glue",
    "painted_lines": "painted lines",
    "tape": "lay tape",
    "flood_coat": "flood coat",
    "sand": "sand",
    "finish": "finish, polish",
}
NEED_NAMES: Mapping[str, str] = {
    "none": "nothing",
    "recoat_window": "to be in its recoat window",
    "recoat_or_sanded": "to be in its recoat window, or else sanded",
    "sanded": "to be sandable",
    "tack_free": "to be tack-free",
    "handling_set": "to hold (glue)",
    "overcoat_ready": "to be dry for overcoating (paint)",
    "demouldable": "to keep its shape out of the mould",
    "full_cure": "to be fully cured",
}
MOMENT_NAMES: Mapping[str, str] = {
    "pull_tape": "pull the tape",
    "demould": "take it out of the mould",
}
_SIZES = (("area_cm2", "Area", "cm²"), ("depth_mm", "Depth", "mm"), ("volume_ml", "Volume", "ml"))
Table = dict[str, Any]


@recipes.get("/recipes")
def recipes_page() -> str:
    """Own recipes and examples."""
    names = {one.key: one.name for one in resins.resins(reader())}
    return render_template(
        "recipes.html",
        own=[
            {"ref": str(one.id), "id": one.id, **_shown(planning.table_of(one.recipe), names)}
            for one in stored.recipes(reader())
        ],
        examples=[
            {"ref": f"example:{one.key}", **_shown(planning.table_of(one), names)}
            for one in planning.examples()
        ],
    )


def _shown(table: Table, names: Mapping[str, str]) -> Table:
    steps = [
        step["name"] + (f" ({names.get(step['resin'], step['resin'])})" if "resin" in step else "")
        for step in table["steps"]
    ]
    return {"name": table["name"], "note": table.get("note", ""), "steps": steps}


@recipes.get("/recipes/new")
def new_recipe() -> str:
    """An empty form."""
    return _form({"name": "", "note": "", "steps": [_empty_step()]}, None)


@recipes.get("/recipes/<int:number>")
def edit_recipe(number: int) -> str:
    """Change an own recipe."""
    return _form(planning.table_of(_found(number).recipe), number)


@recipes.post("/recipes")
@recipes.post("/recipes/<int:number>")
def save_recipe(number: int | None = None) -> Response | str | tuple[str, int]:
    """Save, or add, move or drop a step and show the form again."""
    form = Form(request.form, local().units)
    table = _typed(form)
    act = request.form.get("do", "save")
    if act != "save":
        return _form(_rearranged(table, act), number)
    con = reader()
    found, wrong = planning.recipe_of(con, table) if not form.faults else (None, [])
    if found is None:
        faults = form.faults + [_plainly(fault) for fault in wrong]
        return _form(table, number, faults, form.at), 422
    with acting() as write:
        if number is None:
            stored.add_recipe(write, found, now_s())
        else:
            stored.change_recipe(write, number, found, now_s())
    return redirect("/recipes")


@recipes.post("/recipes/copy")
def copy_recipe() -> Response:
    """Make an own recipe of an example or of another own one."""
    found = planning.recipe_named(reader(), request.form.get("from", ""))
    if found is None:
        abort(404, "There is no such recipe. It may have been deleted.")
    with acting() as con:
        number = stored.add_recipe(con, planning.copied(found), now_s())
    return redirect(f"/recipes/{number}")


@recipes.post("/recipes/<int:number>/delete")
def delete_recipe(number: int) -> Response:
    """Remove an own recipe; plans made from it stay."""
    _found(number)
    with acting() as con:
        stored.delete_recipe(con, number)
    return redirect("/recipes")


def _found(number: int) -> stored.KeptRecipe:
    found = stored.recipe(reader(), number)
    if found is None:
        abort(404, f"There is no recipe {number}. It may have been deleted.")
    return found


def _form(
    table: Table,
    number: int | None,
    faults: list[str] | None = None,
    at: Mapping[str, str] | None = None,
) -> str:
    return render_template(
        "recipe_form.html",
        table=table,
        recipe=number,
        faults=faults or [],
        at=at or {},
        resins=resins.resins(reader()),
        kinds=STEP_NAMES,
        needs=NEED_NAMES,
        moments=MOMENT_NAMES,
        most=planning.MOST_STEPS,
        usual_min=planning.USUAL_HANDS_ON_MIN,
        units=local().units,
    )


def _plainly(fault: str) -> str:
    """The core's sentence with its keys in the page's own words."""
    for words in (NEED_NAMES, MOMENT_NAMES, {"hands_on_min": "hands-on time"}):
        for key, name in words.items():
            if "_" in key or key == "sanded":
                fault = fault.replace(f"{key} of", f"‘{name}’ of").replace(f"'{key}'", f"‘{name}’")
    fault = fault.replace(" a adhesive", " an adhesive")
    return fault[0].upper() + fault[1:]


def _empty_step() -> Table:
    return {"key": "", "kind": "base_pour", "name": "", "needs": "none",
            "hands_on_min": planning.USUAL_HANDS_ON_MIN}  # fmt: skip


def _typed(form: Form) -> Table:
    """The form as a plain table; numbers that make no sense become faults."""
    name = form.text("name", "The recipe's name", 80, needed=True)
    count = form.values.get("count", "1")
    places = min(max(int(count), 1), planning.MOST_STEPS) if re.fullmatch(r"\d{1,3}", count) else 1
    steps: list[Table] = []
    taken: set[str] = set()
    for place in range(1, places + 1):
        step = _typed_step(form, place)
        step["key"] = _own_key(step["key"] or step["name"], taken, place)
        taken.add(step["key"])
        steps.append(step)
    table: Table = {"key": _slug(name) or "recipe", "name": name, "steps": steps}
    note = " ".join(form.text("note", "Note", 400).split())
    if note:
        table["note"] = note
    return table


def _typed_step(form: Form, place: int) -> Table:
    kind = form.choice(f"kind{place}", f"Step {place}, what is done", STEP_NAMES, "base_pour")
    title = form.text(f"name{place}", f"Step {place}, name", 60) or STEP_NAMES[kind].capitalize()
    step: Table = {
        "key": form.text(f"key{place}", f"Step {place}, key", 60),
        "kind": kind,
        "name": title,
        "needs": form.choice(f"needs{place}", f"{title}, what it needs below", NEED_NAMES, "none"),
    }
    minutes = form.number(f"min{place}", f"{title}, hands-on time", 0, 600, "min")
    step["hands_on_min"] = planning.USUAL_HANDS_ON_MIN if minutes is None else minutes
    if planning.MADE_OF[kind]:
        # Work alone has neither resin nor size, whatever stands in its fields.
        resin = form.text(f"resin{place}", f"{title}, resin", 60)
        if resin:
            step["resin"] = resin
        # Lines are drawn over an area; how thick they get, nobody measures.
        for key, name, unit in _SIZES[:1] if kind == "painted_lines" else _SIZES:
            value = form.number(f"{key}{place}", f"{title}, {name.lower()}", 0.05, 1e6, unit)
            if value is not None:
                step[key] = value
    moments = []
    for moment, words in MOMENT_NAMES.items():
        if form.values.get(f"{moment}{place}"):
            taking = form.number(f"{moment}_min{place}", f"{title}, {words}", 0, 600, "min")
            moments.append({"kind": moment, "hands_on_min": 15.0 if taking is None else taking})
    if moments:
        step["moments"] = moments
    return step


def _own_key(wanted: str, taken: set[str], place: int) -> str:
    key = _slug(wanted) or f"step_{place}"
    return key if key not in taken else f"{key}_{place}"


def _slug(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")[:50]


def _rearranged(table: Table, act: str) -> Table:
    """The table with a step added, moved up or dropped."""
    steps: list[Table] = table["steps"]
    what, _, typed = act.partition("-")
    place = int(typed) - 1 if re.fullmatch(r"\d{1,2}", typed) else -1
    if what == "add" and len(steps) < planning.MOST_STEPS:
        steps.append(_empty_step())
    elif what == "up" and 0 < place < len(steps):
        steps[place - 1], steps[place] = steps[place], steps[place - 1]
    elif what == "drop" and 0 <= place < len(steps) and len(steps) > 1:
        del steps[place]
    return table
