"""What a started layer takes out of the bottles, from what the pour page sent."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping

from dashboard.forms import Form, whole
from dashboard.views import units
from monitor.answers import measuring
from monitor.core.vocabulary import ResinProfile
from monitor.store import bottles, plans

# A tenth stays in the cups: what the pour page reckons with where nothing else is said.
WASTE = 0.1


def chosen_bottles(typed: Mapping[str, str]) -> list[int]:
    """The bottles ticked for the two parts; empty where the layer takes from none."""
    found = [whole(typed.get(key, "")) for key in ("bottle_a", "bottle_b")]
    return [number for number in found if number is not None]


def step_of(con: sqlite3.Connection, piece_id: int, typed: Mapping[str, str]) -> int | None:
    """Which step of the piece's plan the layer is, if it was started from that plan."""
    step = whole(typed.get("step", ""))
    kept = plans.plan(con, piece_id)
    if kept is None or step is None:
        return None
    return step if step < len(kept.recipe.steps) else None


def lot_of(con: sqlite3.Connection, typed: Mapping[str, str]) -> str:
    """The lot of the chosen hardener: it names the batch that the belief learns by."""
    number = whole(typed.get("bottle_b", ""))
    found = None if number is None else bottles.bottle(con, number)
    return "" if found is None else found.lot


def draw(
    con: sqlite3.Connection,
    layer_id: int,
    resin: ResinProfile,
    typed: Mapping[str, str],
    at_s: float,
) -> None:
    """Take both parts out of the chosen bottles: as measured, or as the page reckoned.

    Nothing is taken where no bottle is chosen or no size is known.
    """
    chosen = chosen_bottles(typed)
    mixed = _mixed_ml(resin, Form(typed, units=units(con)))
    if chosen and mixed is not None:
        measuring.take_from_bottles(con, resin.key, layer_id, *mixed, chosen, at_s)


def _mixed_ml(resin: ResinProfile, form: Form) -> tuple[float, float] | None:
    unit = "g" if form.values.get("part_unit") == "g" else "ml"
    part_a = form.number("part_a", "Resin used", 0.01, 1e6, unit)
    part_b = form.number("part_b", "Hardener used", 0.01, 1e6, unit)
    if part_a and part_b:
        weighed = unit == "g"
        return measuring.grams_to_ml(resin, part_a, part_b) if weighed else (part_a, part_b)
    area = form.number("area_cm2", "Area", 0.1, 1e6, "cm²")
    depth = form.number("depth_mm", "Depth", 0.05, 500, "mm")
    volume = form.number("volume_ml", "Volume", 0.1, 1e6, "ml")
    total = None if depth else _handed_on_ml(form, volume)
    if total is None and area and depth:
        total = area * depth / 10.0 / (1.0 - WASTE)
    elif total is None and volume:
        total = volume / (1.0 - WASTE)
    if total is None:
        return None
    try:
        return measuring.parts_ml(resin, total)
    except ValueError:
        # A label without a ratio: the layer is started all the same, the bottle untouched.
        return None


def _handed_on_ml(form: Form, volume_ml: float | None) -> float | None:
    """What the amounts page reckoned, while the volume is still the one it did so for."""
    handed = Form(form.values)  # not typed: always millilitres
    total = handed.number("mixed_ml", "Mixed", 0.1, 1e6, "ml")
    reckoned_for = handed.number("mixed_for_ml", "Mixed for", 0.1, 1e6, "ml")
    if total is None or reckoned_for is None or volume_ml is None:
        return None
    return total if abs(volume_ml - reckoned_for) <= 0.01 * reckoned_for else None
