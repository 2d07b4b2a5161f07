"""The short ways of the planner lead to the very places that the long ones do."""

from dataclasses import replace

import numpy as np
import pytest
from planned import DAY_S, EIGHT_S, HOUR_S, RECIPES, RESINS, planned, room, speeds

from monitor.core.cure.plan_clock import bench
from monitor.core.cure.plan_grid import DAY_SLOTS, Laid
from monitor.core.cure.plan_problem import problem
from monitor.core.cure.plan_soonest import soonest
from monitor.core.cure.planner import Wishes
from monitor.core.vocabulary import RoomSeries

NOTHING = RoomSeries(np.empty(0), np.empty(0), np.empty(0))
EVENINGS = ((18.0, 21.5),) * 5 + ((9.0, 22.0), None)


def posed(key, wishes):
    recipe = RECIPES[key]
    used = {step.resin: RESINS[step.resin] for step in recipe.steps if step.resin is not None}
    ground = bench(used, room(20.0, swing_k=1.5), NOTHING, speeds(), EIGHT_S, EIGHT_S)
    return problem(recipe, (), ground, wishes, EIGHT_S, HOUR_S)


@pytest.mark.parametrize("key", RECIPES)
@pytest.mark.parametrize("hours", [((7.0, 22.0),) * 7, ((0.0, 24.0),) * 7, EVENINGS])
@pytest.mark.parametrize("probability", [0.6, 0.8, 0.95])
def test_the_soonest_plan_is_the_one_that_looking_at_everything_finds(key, hours, probability):
    wishes = Wishes(waking_h=hours, probability=probability)

    solved, short = posed(key, wishes).solve(), soonest(posed(key, wishes))

    assert (short is None) == (solved is None)
    if solved is not None:
        found, ground = solved
        assert short[0].finish_s == found.finish_s
        assert [short[1].at_s[p] for p in short[0].places] == [ground.at_s[p] for p in found.places]
        assert soonest(posed(key, wishes), found.finish_s)[0].finish_s == found.finish_s
        assert soonest(posed(key, wishes), found.finish_s - 600.0) is None


def test_past_what_is_laid_each_day_gains_what_the_last_one_did():
    rng = np.random.default_rng(0)
    days = np.tile(rng.uniform(0.01, 0.4, (3, DAY_SLOTS)), 6)
    longer = np.concatenate((np.zeros((3, 1)), np.cumsum(days, axis=1)), axis=1)
    short, slots = Laid(longer[:, : DAY_SLOTS + 1]), np.arange(5 * DAY_SLOTS)
    between = (longer[:, slots] + longer[:, slots + 1]) / 2.0

    assert short.at(slots) == pytest.approx(longer[:, slots])
    assert np.array_equal(short.first(between, "left"), np.tile(slots + 1, (3, 1)))


def test_hands_are_free_by_the_local_clock_on_both_sides_of_a_change_of_time():
    changes_s = EIGHT_S + 30 * HOUR_S

    def ahead_s(at_s):
        return 2 * HOUR_S if at_s < changes_s else HOUR_S

    recipe = RECIPES["coaster_set"]
    wishes = Wishes(waking_h=((9.0, 20.0),) * 7)
    found = planned(recipe, replace(wishes, probability=0.6), local_offset_s=ahead_s)

    assert found.acts[-1].at_s > changes_s
    for act in found.acts:
        begin_h = (act.at_s + ahead_s(act.at_s)) % DAY_S / HOUR_S
        assert 9.0 <= begin_h < 20.0
