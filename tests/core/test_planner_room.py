"""No pour where the room is beyond what the resin wants, and what may be done about it."""

from dataclasses import replace

import numpy as np
import pytest
from planned import (
    EIGHT_S,
    HOUR_S,
    MONDAY_S,
    PATHS,
    RESINS,
    flood,
    local_hour,
    planned,
    room,
    speeds,
)

from monitor.core.cure.fitness import Air, fitness
from monitor.core.cure.outlook import outlook
from monitor.core.cure.planner import Wishes, plan
from monitor.core.cure.recipe import Recipe, Step
from monitor.core.vocabulary import Layer, RoomPaths, RoomSeries


def morning(now_s=EIGHT_S, cold_until_h=9.6, cold_c=16.0, warm_c=21.0):
    """A room heated from some hour on: cold until then, warm for good after."""
    at_s = now_s + 600.0 * np.arange(433.0)
    temp_c = np.where(at_s < MONDAY_S + cold_until_h * HOUR_S, cold_c, warm_c)
    return RoomPaths(at_s, np.tile(temp_c, (PATHS, 1)), np.full((PATHS, at_s.size), 50.0))


def test_a_pour_waits_until_the_room_has_been_as_the_resin_wants_it_for_half_an_hour():
    """The coating's own label: at least 18 °C."""
    found = plan(flood(moments=()), RESINS, morning(), speeds(), Wishes(), EIGHT_S, otherwise=False)

    pour = found.acts[0]
    # Cold readings until 09:30: the ten minutes from 09:40 are the first warm throughout.
    assert local_hour(pour.at_s) == pytest.approx(10.0 + 10.0 / 60.0)
    assert pour.room_chance == 1.0
    assert pour.warning == ""
    why = next(reason for reason in pour.reasons if reason.key == "room")
    warm_s = round(pour.at_s - HOUR_S / 2.0)
    told = f"the room is below 18 °C until ⟦{warm_s}⟧, give or take half an hour"
    assert told in why.words


def test_a_room_that_is_warm_now_is_measured_and_needs_no_half_hour_of_proof():
    """It turns cold once the layer is closed, so the limit does bind."""
    at_s = EIGHT_S + 600.0 * np.arange(433.0)
    temp_c = np.where(at_s < EIGHT_S + 14.0 * HOUR_S, 21.0, 16.0)
    future = RoomPaths(at_s, np.tile(temp_c, (PATHS, 1)), np.full((PATHS, at_s.size), 50.0))
    hands_off = Wishes(done_when="hands_off")

    found = plan(flood(moments=()), RESINS, future, speeds(), hands_off, EIGHT_S, otherwise=False)

    assert found.acts[0].at_s == EIGHT_S


def test_a_room_too_cold_for_the_label_is_named_with_warmth_first_and_the_cold_as_a_wish():
    found = planned(flood(moments=()), temp_c=15.0, otherwise=True)

    assert not found.found
    assert found.reasons[0].key == "room"
    assert "below 18 °C" in found.reasons[0].words
    assert found.alternatives[0].key in ("warm_nights", "warm_room")
    assert found.give_up.wish == "room_limits"
    assert found.give_up.words.startswith("Pour in a room colder than the label wants")


def test_the_example_of_a_room_that_is_never_right_is_a_start_that_the_step_before_can_reach():
    """Warm while the base is poured and hardens, cold for good by the time it can be sanded."""
    at_s = EIGHT_S + 600.0 * np.arange(433.0)
    temp_c = np.where(at_s < EIGHT_S + 14.0 * HOUR_S, 21.0, 16.0)
    future = RoomPaths(at_s, np.tile(temp_c, (PATHS, 1)), np.full((PATHS, at_s.size), 50.0))
    recipe = flood(moments=(), second="sanded")
    anywhere = Wishes(within_limits=False)

    found = plan(recipe, RESINS, future, speeds(), Wishes(), EIGHT_S, otherwise=False)
    reachable = plan(recipe, RESINS, future, speeds(), anywhere, EIGHT_S, otherwise=False)

    assert not found.found
    (why,) = found.reasons
    assert why.values["step"] == "second"
    # This morning the room would be right for it, but there the base is not even poured.
    assert why.values["act_s"] >= reachable.acts[1].at_s > EIGHT_S + 14.0 * HOUR_S
    assert f"if you start about ⟦{round(why.values['act_s'])}⟧, the room is below" in why.words


def test_who_pours_in_the_cold_all_the_same_is_warned_at_the_pour():
    found = planned(flood(moments=()), Wishes(within_limits=False), temp_c=15.0)

    pour = found.acts[0]
    assert pour.at_s == EIGHT_S
    assert pour.room_chance == 0.0
    assert "The room is below 18 °C" in pour.warning


def test_too_warm_and_too_damp_count_as_too_cold_does():
    damp = replace(room(21.0), humidity_pct=np.full((PATHS, 433), 86.0))
    for future, word, how in ((room(32.0), "above 30 °C", "warmer"),
                              (damp, "above 80 % RH", "damper")):  # fmt: skip
        found = plan(flood(moments=()), RESINS, future, speeds(), Wishes(), EIGHT_S)
        assert not found.found
        assert word in found.reasons[0].words
        assert how in found.give_up.words


def test_a_glue_line_is_set_before_the_night_and_a_film_lies_open_through_it():
    """The first night counts for a film of resin; glue holds within half an hour."""
    now_s = MONDAY_S + 17 * HOUR_S
    at_s = now_s + 600.0 * np.arange(433.0)
    hour = (at_s / HOUR_S) % 24.0
    temp_c = np.where((hour >= 22.0) | (hour < 7.0), 9.0, 21.0)
    future = RoomPaths(at_s, np.tile(temp_c, (PATHS, 1)), np.full((PATHS, at_s.size), 50.0))
    hands_off = Wishes(done_when="hands_off")
    glue = Recipe("g", "Glue", (Step("dam", "adhesive_dam", "Dam", "fast_adhesive"),))

    glued = plan(glue, RESINS, future, speeds(), hands_off, now_s, otherwise=False)
    coated = plan(flood(moments=()), RESINS, future, speeds(), hands_off, now_s, otherwise=False)

    assert glued.acts[0].at_s == now_s
    # Warm from seven on; the half hour before the pour counts with it, and ten minutes.
    assert local_hour(coated.acts[0].at_s) == pytest.approx(7.0 + 40.0 / 60.0)


@pytest.mark.parametrize("temp_c", [16.5, 18.5, 21.0, 25.5])
@pytest.mark.parametrize("swing_k", [0.5, 2.5])
@pytest.mark.parametrize("resin", ["coating_2_1", "slow_art"])
def test_no_pour_is_planned_that_the_verdict_before_pouring_speaks_against(resin, temp_c, swing_k):
    """Both judge by limits.py; here each is asked on its own, by its own grid."""
    future = room(temp_c, swing_k=swing_k)
    recipe = Recipe("r", "R", (Step("c", "casting", "C", resin),))
    wishes = Wishes(done_when="hands_off", probability=0.6)
    nothing = RoomSeries(np.empty(0), np.empty(0), np.empty(0))

    found = plan(recipe, RESINS, future, speeds(), wishes, EIGHT_S, otherwise=False)

    def spoken_against(at_s):
        layer = Layer(0, 0, "C", RESINS[resin], at_s)
        told = outlook(layer, nothing, future, speeds()[resin], (), EIGHT_S)
        air = Air(EIGHT_S, float(np.median(future.temp_c[:, 0])), 50.0)
        judged = fitness(layer, air, future, told, EIGHT_S)
        likely = [words for words in judged.after.reasons if words.startswith("Likely")]
        return judged.room.answer in ("wait", "no") or bool(likely)

    if found.found:
        assert not spoken_against(found.acts[0].at_s)
    else:
        assert all(spoken_against(EIGHT_S + hours * HOUR_S) for hours in (0, 2, 4, 8, 12, 24, 26))
