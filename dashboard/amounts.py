"""The amounts page: what to measure out for the shapes a person gives."""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import urlencode

from flask import Blueprint, render_template, request

from dashboard import views, wording
from dashboard.bottles import bottle_name, bottles_for
from dashboard.db import reader
from dashboard.forms import Form, whole
from dashboard.views import local
from monitor.answers import measuring
from monitor.answers.measuring import Mix, Sketch
from monitor.core.vocabulary import ResinProfile
from monitor.store import bottles, resins

amounts = Blueprint("amounts", __name__)

MOST_ROWS = 12
SHAPE_NAMES: Mapping[str, str] = {
    "rectangle": "rectangle",
    "circle": "circle",
    "ring": "ring",
    "area": "any flat form, by its area",
    "water": "any hollow form, by the water it holds",
}
# What the sizes of each shape are.
SIZE_NAMES: Mapping[str, tuple[str, ...]] = {
    "rectangle": ("Length", "Width"),
    "circle": ("Diameter",),
    "ring": ("Outer diameter", "Inner diameter"),
    "area": ("Area",),
    "water": ("Weight of the water",),
}
SHAPE_UNITS: Mapping[str, str] = {"area": "cm²", "water": "g"}
GROUND_NAMES: Mapping[str, str] = {
    "sealed": "sealed wood, cured resin, silicone, glass",
    "bare": "bare planed wood, paper, canvas",
    "thirsty": "bare end grain, soft or open wood",
}


@amounts.get("/amounts")
def amounts_page() -> str:
    """Shapes in, millilitres and grams out."""
    con, here = reader(), local()
    shelf = [one for one in resins.resins(con) if one.ratio_by_volume or one.ratio_by_weight]
    chosen = next((one for one in shelf if one.key == request.args.get("resin")), None)
    shown = views.units(con)
    form = Form(request.args, units=shown)
    rows = _rows(form)
    sketches = [_sketch(form, row) for row in range(1, rows + 1)]
    given = [one for one in sketches if one is not None]
    found: Mix | None = None
    if chosen is not None and given and not form.faults:
        found = _mix(form, chosen, given)
    more = "more" in request.args and rows < MOST_ROWS
    return render_template(
        "amounts.html",
        shelf=shelf,
        chosen=chosen or next((one for one in shelf if one.kind == "pour"), None),
        typed=request.args,
        rows=rows + more,
        most=MOST_ROWS,
        shapes=SHAPE_NAMES,
        sizes={
            key: [f"{name}, {_unit(form, key)}" for name in names]
            for key, names in SIZE_NAMES.items()
        },
        units=shown,
        grounds=GROUND_NAMES,
        faults=form.faults,
        mix=found,
        keeps_cup="" if found is None else wording.hours(found.cups.working_h),
        keeps_piece="" if found is None else wording.hours(found.cups.on_piece_h),
        bottles=_bottle_lines(found),
        old=_old(found, here.now_s),
        at=form.at,
        pour="" if found is None or chosen is None else _pour_link(found, chosen, form),
    )


def _rows(form: Form) -> int:
    rows = whole(form.values.get("rows", ""))
    return 1 if rows is None else min(max(rows, 1), MOST_ROWS)


def _sketch(form: Form, row: int) -> Sketch | None:
    kind = form.choice(f"kind{row}", f"Shape {row}", SHAPE_NAMES, "rectangle")
    names = SIZE_NAMES.get(kind, SIZE_NAMES["rectangle"])
    first = _size(form, f"first{row}", f"Shape {row}, {names[0].lower()}", kind)
    # A field that is out of sight for this shape may still hold something.
    second = None
    if len(names) > 1:
        second = _size(form, f"second{row}", f"Shape {row}, {names[1].lower()}", "")
    count = form.number(f"count{row}", f"Shape {row}, how many", 1, 500, "pieces") or 1.0
    if first is None:
        return None
    if count != int(count):
        form.fault(f"count{row}", f"Shape {row}, how many is {count:g}; expected a whole number")
    return Sketch(kind, first, second, int(count))


def _size(form: Form, key: str, name: str, kind: str) -> float | None:
    """One size: an area, a weight, or a length, which is cm or, where chosen, inches."""
    if kind in SHAPE_UNITS:
        return form.number(key, name, 0.1, 1e6, SHAPE_UNITS[kind])
    if not form.units.inches:
        return form.number(key, name, 0.1, 1e4, "cm")
    value_mm = form.number(key, name, 1.0, 1e5, "mm")
    return None if value_mm is None else value_mm / 10.0


def _unit(form: Form, kind: str) -> str:
    if kind in SHAPE_UNITS:
        return form.units.unit(SHAPE_UNITS[kind])
    return "in" if form.units.inches else "cm"


def _mix(form: Form, resin: ResinProfile, given: list[Sketch]) -> Mix | None:
    depth = form.number("depth_mm", "Depth", 0.05, 500, "mm")
    dam = form.number("dam_mm", "Dam height", 0.1, 500, "mm")
    displaced = form.number("displaced_ml", "What inlays displace", 0, 1e6, "ml") or 0.0
    waste = form.number("waste_pct", "Waste", 0, 60, "%")
    ground = form.choice("ground", "What it lies on", GROUND_NAMES, "sealed")
    if form.faults:
        return None
    try:
        return measuring.mix(
            reader(),
            resin,
            given,
            depth_mm=depth,
            dam_mm=dam,
            ground=ground,
            displaced_ml=displaced,
            waste=0.1 if waste is None else waste / 100.0,
            # The bottle that the pour page would take from.
            chosen=[one[0][0] for one in bottles_for(resin.key).values() if one],
        )
    except ValueError as error:
        form.faults.append(str(error))
        return None


def _bottle_lines(found: Mix | None) -> list[dict[str, object]]:
    """Each bottle that would be drawn from: its name, what it gives, what is left."""
    if found is None:
        return []
    known = {one.id: one for one in bottles.bottles(reader())}
    return [
        {"name": bottle_name(known[draw.bottle]), "ml": draw.ml, "left": draw.left_ml,
         "cost": draw.cost}
        for draw in found.drawn.draws
    ]  # fmt: skip


def _old(found: Mix | None, now_s: float) -> list[str]:
    """Those of them whose hardener has stood open for long."""
    drawn = set() if found is None else {draw.bottle for draw in found.drawn.draws}
    return [
        bottle_name(one)
        for one in bottles.bottles(reader())
        if one.id in drawn and measuring.is_old(one, now_s)
    ]


def _pour_link(found: Mix, resin: ResinProfile, form: Form) -> str:
    """The pour page with all of it filled in."""
    need = found.need
    typed = {
        "resin": resin.key,
        "mixed_ml": f"{need.total_ml:.1f}",
        "mixed_for_ml": f"{need.fill_ml:.4g}",
    }
    if need.area_cm2 > 0:
        typed["area_cm2"] = form.units.field(float(f"{need.area_cm2:.4g}"), "cm²")
    typed["volume_ml"] = form.units.field(float(f"{need.fill_ml:.4g}"), "ml")
    return "/pour?" + urlencode(typed)
