"""What a plan does not weigh, a pour's own depth and its surface, is told beside it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from monitor import shelf
from monitor.answers import plan_verdicts, planning
from monitor.answers.planning import Terms, Wishes
from monitor.core.room.forecast import forecast
from monitor.core.vocabulary import RoomSeries
from monitor.store import forecasts, intake_rows, resins
from monitor.store.connection import writing
from monitor.store.intake_rows import Arrival

KEY = "home/bench/air"
NOW = 1_790_000_400.0
HOUR = 3600.0


def lived(con, humidity_pct=48.0):
    """A warm week on the store's log, and the monitor's last forecast from it."""
    at_s = np.arange(NOW - 7 * 24 * HOUR, NOW + 1, 900.0)
    temp_c = np.array([22.0 + math.sin(t / 13751.0) for t in at_s])
    damp = np.full(at_s.size, humidity_pct)
    rows = [Arrival(KEY, *map(float, row)) for row in zip(at_s, temp_c, damp, strict=True)]
    with writing(con):
        for profile in shelf.library():
            resins.save_resin(con, profile, NOW, origin="library")
        intake_rows.commit(con, "home", "bench", rows, (), {}, NOW)
        future = forecast(RoomSeries(at_s, temp_c, damp), NOW, paths=60)
        forecasts.save(con, KEY, NOW, future)


def planned(con, depth_mm=None, **wishes):
    """The invented coasters, every pour as deep as said, and the plan they get."""
    recipe = planning.recipe_named(con, "example:coaster_set")
    if depth_mm is not None:
        deep = (replace(step, depth_mm=depth_mm) if step.resin else step for step in recipe.steps)
        recipe = replace(recipe, steps=tuple(deep))
    terms = Terms(Wishes(probability=0.7, **wishes))
    made = planning.make(con, recipe, terms, NOW, lambda _at_s: 0.0, otherwise=False)
    assert made.found
    return recipe, made


def test_a_fit_plan_has_nothing_against_it(con):
    lived(con)
    assert plan_verdicts.against(con, *planned(con), NOW) == {}


def test_a_pour_too_deep_for_its_resin_is_told_at_its_step(con):
    lived(con)
    found = plan_verdicts.against(con, *planned(con, depth_mm=90.0), NOW)
    assert set(found) == {"first", "second"}
    for words in found.values():
        assert any("90 mm at once" in said for said in words)
        assert any("at a time" in said for said in words)


def test_a_damp_rooms_surface_is_told_at_every_pour(con):
    lived(con, humidity_pct=84.0)
    found = plan_verdicts.against(con, *planned(con, within_limits=False), NOW)
    assert set(found) == {"first", "second"}
    assert all("surface would be at" in " ".join(words) for words in found.values())
