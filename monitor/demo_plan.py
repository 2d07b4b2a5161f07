"""The studio's invented whole piece, half done by plan, and its three bottles."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping

from monitor.answers import measuring, planning
from monitor.core.cure.recipe import Moment, Recipe, Step
from monitor.core.vocabulary import ResinProfile
from monitor.store import bottles, marks, pieces, plans, recipes, resins
from monitor.store.connection import writing

HOUR_S = 3600.0
DAY_S = 24 * HOUR_S
AREA_CM2, DEPTH_MM, WASTE = 450.0, 3.0, 0.1

RECIPE = Recipe(
    "dune_board",
    "Dune board",
    (
        Step("base", "base_pour", "Sand base", "coating_2_1", hands_on_min=25.0,
             area_cm2=AREA_CM2, depth_mm=DEPTH_MM),
        Step("sand", "sand", "Sand and wipe", needs="sanded", hands_on_min=20.0),
        Step("lines", "painted_lines", "Dune lines", "paint_lines", hands_on_min=40.0,
             area_cm2=AREA_CM2),
        Step("tape", "tape", "Tape the rim", hands_on_min=15.0,
             moments=(Moment("pull_tape", 10.0),)),
        Step("flood", "flood_coat", "Clear flood coat", "coating_2_1", "overcoat_ready", 30.0,
             area_cm2=AREA_CM2, depth_mm=2.0),
    ),
    "Invented: a pigmented base, painted lines, a clear top with a crisp rim.",
)  # fmt: skip


def begin(
    con: sqlite3.Connection,
    look: Callable[[float], None],
    shelf: Mapping[str, ResinProfile],
    sensor: str,
    start_s: float,
) -> int:
    """Put the bottles on the shelf and the base, poured two mornings ago, on the bench.

    `look` thinks at four hours before `start_s`, so nothing later may be in the store yet.
    Returns the piece.
    """
    coating = shelf["coating_2_1"]
    # Eight in the morning, two days before an evening at nine.
    poured_s = start_s - 2 * DAY_S - 13 * HOUR_S
    with writing(con):
        for key in {step.resin for step in RECIPE.steps if step.resin is not None}:
            resins.save_resin(con, shelf[key], poured_s, origin="library")
        chosen = _bottles(con, start_s)[:2]
        recipes.add_recipe(con, RECIPE, poured_s)
        piece = pieces.add_piece(con, "Dune board", poured_s, "Made by plan.")
        base = pieces.add_layer(
            con, piece, "Sand base", coating, poured_s, poured_s,
            depth_mm=DEPTH_MM, area_cm2=AREA_CM2, sensor=sensor, batch="H-21", step=0,
        )  # fmt: skip
        mixed = measuring.parts_ml(coating, AREA_CM2 * DEPTH_MM / 10.0 / (1.0 - WASTE))
        measuring.take_from_bottles(con, coating.key, base, *mixed, chosen, poured_s)
        marks.add_mark(con, base, "tack_free", poured_s + 12.5 * HOUR_S)
        marks.add_mark(con, base, "hard", start_s - 4 * HOUR_S)
    look(start_s - 4 * HOUR_S)
    with writing(con):
        pieces.end_layer(con, base, start_s - 4 * HOUR_S)
    return piece


def plan(con: sqlite3.Connection, piece: int, start_s: float, offset_s: float) -> None:
    """Plan the rest of it at `start_s`, by the room's forecast, which must be in the store."""
    sanded = plans.WorkDone("sand", "work", start_s - 3 * HOUR_S)
    # As sure as resins of so few marks allow; who follows it sees how that is told.
    terms = planning.Terms(planning.Wishes(), (sanded,))
    whole = pieces.piece(con, piece)
    made = planning.make(con, RECIPE, terms, start_s, lambda _at_s: offset_s, whole)
    with writing(con):
        planning.accept(con, piece, RECIPE, terms, made)


def _bottles(con: sqlite3.Connection, start_s: float) -> list[int]:
    """Resin and hardener in use, and a hardener that has stood open for too long."""
    stock: tuple[tuple[bottles.Part, float, str, float, float], ...] = (
        ("A", 1000.0, "R-18", 60.0, 32.0),
        ("B", 500.0, "H-21", 60.0, 24.0),
        ("B", 500.0, "H-07", 430.0, 22.0),
    )
    return [
        bottles.add_bottle(
            con, "coating_2_1", part, held_ml,
            lot=lot, opened_at_s=start_s - days_open * DAY_S, price=price,
        )
        for part, held_ml, lot, days_open, price in stock
    ]  # fmt: skip
