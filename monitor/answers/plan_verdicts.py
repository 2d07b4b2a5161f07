"""What speaks against the pours of a plan that its room limits do not see.

The planner weighs windows and the resin's room. A pour's own depth and heat, and the risk to
its surface, are judged here by the same verdict that the pour page gives.
"""

from __future__ import annotations

import sqlite3

from monitor.answers.planning import Plan, Recipe
from monitor.answers.preview import look
from monitor.core.cure.fitness import Fitness
from monitor.core.vocabulary import Outlook
from monitor.store import resins


def against(
    con: sqlite3.Connection, made_of: Recipe, made: Plan, now_s: float
) -> dict[str, tuple[str, ...]]:
    """Sentences against each planned pour, by step; fit ones are left out."""
    shelf = {one.key: one for one in resins.resins(con)}
    steps = {step.key: step for step in made_of.steps}
    found: dict[str, tuple[str, ...]] = {}
    for act in made.acts:
        step = steps.get(act.step)
        if act.what != "pour" or step is None or step.resin not in shelf:
            continue
        ahead = look(
            con,
            shelf[step.resin],
            now_s,
            max(act.at_s, now_s),
            depth_mm=step.depth_mm,
            area_cm2=step.area_cm2,
            volume_ml=step.volume_ml,
        )
        words = (*_of_the_pour(ahead.fitness), *_of_the_surface(ahead.outlook, ahead.fitness))
        if words:
            found[step.key] = words
    return found


def _of_the_pour(verdict: Fitness) -> tuple[str, ...]:
    return verdict.pour.reasons if verdict.pour.answer == "no" else ()


def _of_the_surface(outlook: Outlook, verdict: Fitness) -> tuple[str, ...]:
    """The surface beyond the limits, which the plan has weighed; only where the room is known."""
    if verdict.after.answer == "unknown" or outlook.surface.level not in ("high", "medium"):
        return ()
    risk = "high" if outlook.surface.level == "high" else "some"
    return (f"The surface would be at {risk} risk.", *outlook.surface.reasons)
