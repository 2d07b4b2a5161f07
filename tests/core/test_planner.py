"""What a plan promises. Its optimality is checked against exhaustive search elsewhere
(tests/published/test_planner_bruteforce.py); its stage times here against the outlook, which
reckons each layer on its own.
"""

import re
from dataclasses import replace

import numpy as np
import pytest
from planned import (
    DAY_S,
    EIGHT_S,
    HOUR_S,
    MONDAY_S,
    RECIPES,
    RESINS,
    flood,
    local_hour,
    planned,
    room,
    speeds,
)

from monitor.core.cure.outlook import outlook
from monitor.core.cure.planner import Done, Wishes, plan
from monitor.core.cure.recipe import Moment, Recipe, Step
from monitor.core.vocabulary import Layer, RoomPaths, RoomSeries


@pytest.mark.parametrize("key", RECIPES)
def test_every_act_falls_where_hands_are_free_in_order_and_within_its_window(key):
    wishes = Wishes(waking_h=((7.5, 21.0),) * 5 + ((9.0, 22.0), None))
    offset_s = 2 * HOUR_S

    found = planned(RECIPES[key], wishes, local_offset_s=offset_s, swing_k=1.5)

    assert found.found
    over_s = EIGHT_S
    for act in found.acts:
        weekday = int((act.at_s + offset_s - MONDAY_S) // DAY_S) % 7
        from_h, to_h = wishes.waking_h[weekday]
        assert weekday != 6
        assert local_hour(act.at_s, offset_s) >= from_h
        assert local_hour(act.until_s, offset_s) <= to_h
        assert act.at_s >= over_s
        assert act.at_s % 600.0 == 0.0
        assert act.chance >= 0.8
        assert act.good_from_s <= act.at_s <= act.good_until_s
        over_s = act.until_s
    assert found.finish_s >= over_s


@pytest.mark.parametrize("resin", ["coating_2_1", "slow_art", "deep_casting"])
@pytest.mark.parametrize("temp_c", [14.0, 18.0, 21.0])
def test_stage_times_are_the_outlooks_own(resin, temp_c):
    recipe = Recipe("r", "R", (Step("c", "casting", "C", resin, moments=(Moment("demould"),)),))
    day_and_night = Wishes(waking_h=((0.0, 24.0),) * 7, within_limits=False)
    nothing = RoomSeries(np.empty(0), np.empty(0), np.empty(0))

    cured = planned(recipe, day_and_night, temp_c=temp_c)
    found = planned(recipe, replace(day_and_night, done_when="hands_off"), temp_c=temp_c)

    layer = Layer(1, 1, "C", RESINS[resin], found.acts[0].at_s)
    told = outlook(layer, nothing, room(temp_c), speeds()[resin], (), EIGHT_S)
    stages = {stage.key: stage for stage in told.stages}
    # A slot of ten minutes, and 3 %: own heat is taken at the mean of the room ahead, and
    # diffusion on steps of hours.
    opens_s = found.acts[1].window.opens.p50_s - EIGHT_S
    assert pytest.approx(stages["demouldable"].p50_s - EIGHT_S, abs=700.0, rel=0.03) == opens_s
    full = stages["full_cure"]
    # Without a plan where the outlook's full cure is not in sight, nor else.
    assert cured.found == (full.p90_s is not None)
    if cured.found:
        finish_s = cured.finish.p50_s - EIGHT_S
        assert pytest.approx(full.p50_s - EIGHT_S, abs=700.0, rel=0.03) == finish_s


def test_a_room_too_cold_to_cure_in_is_named_and_warmth_is_offered():
    """At 14 °C a 16 h resin levels off short of full cure: see the outlook's own stall."""
    recipe = Recipe("r", "R", (Step("c", "casting", "C", "slow_art"),))

    found = planned(recipe, Wishes(within_limits=False), temp_c=14.0, otherwise=True)

    assert not found.found
    assert found.reasons[0].key == "never_cured"
    assert found.give_up.wish == "full_cure"
    assert {"warm_nights", "warm_room"} <= {offer.key for offer in found.alternatives}


def test_no_pour_puts_the_tape_into_the_night_and_the_plan_says_so():
    """Eight-hour coating: tape comes off 2 to 4 h after the pour at 23 °C."""
    found = planned(flood(), now_s=MONDAY_S + 20 * HOUR_S, temp_c=21.0)

    pour, tape = found.acts
    # Tonight there is no evening left for the tape: it waits for the morning.
    assert local_hour(pour.at_s) == pytest.approx(7.0)
    assert tape.what == "pull_tape"
    later = next(reason for reason in pour.reasons if reason.key == "later_blocked")
    assert "pulling the tape of Coat" in later.words
    assert "when you are not free" in later.words
    assert local_hour(later.values["act_s"]) >= 22.0 or local_hour(later.values["act_s"]) < 7.0
    assert re.search(r"⟦\d+⟧", later.words)


def test_a_second_coat_meets_the_recoat_window_or_is_sanded_where_sleep_forbids_it():
    only_evenings = Wishes(waking_h=((18.0, 21.0),) * 7)

    bonded = planned(flood(moments=(), second="recoat_window"))
    sanded = planned(flood(moments=(), second="recoat_or_sanded"), only_evenings)
    none = planned(flood(moments=(), second="recoat_window"), only_evenings, otherwise=True)

    assert bonded.acts[1].window.opens_with == "recoat_window_open"
    assert sanded.acts[1].window.opens_with == "sandable"
    assert not none.found
    assert none.acts == ()
    assert "recoat_without_sanding" in {offer.wish for offer in none.alternatives}
    assert none.give_up == none.alternatives[0]


def test_the_latest_plan_starts_late_and_still_meets_the_deadline():
    deadline_s = EIGHT_S + 10 * DAY_S
    soon = planned(flood(), Wishes(deadline_s=deadline_s))
    late = planned(flood(), Wishes(deadline_s=deadline_s, mode="latest"))

    assert soon.acts[0].at_s == EIGHT_S
    assert late.acts[0].at_s > soon.acts[0].at_s + 4 * DAY_S
    assert late.finish_s <= deadline_s


def test_a_deadline_too_soon_is_the_one_wish_named():
    found = planned(flood(), Wishes(deadline_s=EIGHT_S + 2 * DAY_S), otherwise=True)

    assert not found.found
    assert found.reasons[0].key == "deadline"
    assert found.give_up.wish == "deadline"
    assert found.give_up.finish_s > EIGHT_S + 2 * DAY_S


def test_a_resin_too_little_known_asks_for_less_certainty():
    """Tape window 2 to 4 h: at a speed known to 30 % no moment is safe at 90 %."""
    found = planned(flood(), Wishes(probability=0.9), draws=speeds(0.45), otherwise=True)

    assert not found.found
    assert found.reasons[0].key == "uncertain"
    assert found.give_up.wish == "probability"
    assert 0.3 <= found.give_up.probability < 0.9


def test_a_warmer_night_is_offered_with_what_it_gains():
    anywhere = Wishes(within_limits=False)
    found = planned(RECIPES["coaster_set"], anywhere, temp_c=17.0, swing_k=2.0, otherwise=True)

    warm = {offer.key: offer for offer in found.alternatives}
    assert warm["warm_nights"].temp_c == 22.0
    assert warm["warm_nights"].gain_s >= HOUR_S
    assert warm["warm_room"].gain_s >= warm["warm_nights"].gain_s
    assert warm["warm_nights"].finish_s == found.finish_s - warm["warm_nights"].gain_s


def test_a_day_off_stays_free():
    found = planned(flood(), Wishes(days_off=("2025-10-06", "2025-10-07")))

    assert found.acts[0].at_s >= MONDAY_S + 2 * DAY_S


def test_late_hours_reach_past_midnight():
    found = planned(flood(), Wishes(waking_h=((12.0, 26.0),) * 7), now_s=MONDAY_S + 22 * HOUR_S)

    assert found.acts[0].at_s == MONDAY_S + 22 * HOUR_S
    assert 0.0 <= local_hour(found.acts[1].until_s) <= 2.0


def test_local_time_may_change_under_way():
    """Clocks go back on 26 October 2025, 01:00 UTC: seven in the morning moves by an hour."""
    change_s = 1_761_440_400.0

    def offset_s(at_s):
        return 7200.0 if at_s < change_s else 3600.0

    found = planned(flood(), now_s=change_s - 4 * HOUR_S, local_offset_s=offset_s)

    assert local_hour(found.acts[0].at_s, 3600.0) == pytest.approx(7.0)


def test_it_plans_again_from_what_is_done():
    recipe = flood(second="recoat_window")
    now_s = EIGHT_S + 3 * HOUR_S
    readings_s = np.arange(EIGHT_S - DAY_S, now_s + 1, 600.0)
    past = RoomSeries(readings_s, np.full(readings_s.size, 21.0), np.full(readings_s.size, 50.0))
    poured = Done("coat", EIGHT_S + 130.0)
    pulled = Done("coat", EIGHT_S + 130.0, moments=("pull_tape",))

    whole = planned(recipe)
    rest = planned(recipe, now_s=now_s, done=[poured], past=past)
    later = planned(recipe, now_s=now_s, done=[pulled], past=past)

    assert [act.what for act in whole.acts] == ["pour", "pull_tape", "pour"]
    assert [act.what for act in rest.acts] == ["pull_tape", "pour"]
    assert [act.what for act in later.acts] == ["pour"]
    # Poured two minutes late in the room foreseen: the second coat moves by a slot at most.
    assert later.acts[0].at_s == pytest.approx(whole.acts[-1].at_s, abs=1200.0)


def test_a_stage_known_to_be_reached_stands_for_every_future():
    recipe = flood(moments=(), second="recoat_window")
    now_s = EIGHT_S + 2 * HOUR_S
    seen = Done("coat", EIGHT_S, reached={"recoat_window_open": now_s - 600.0})

    found = planned(recipe, now_s=now_s, done=[seen])

    assert found.acts[0].at_s == now_s
    assert found.acts[0].chance == 1.0


def test_a_piece_all_done_has_nothing_left_to_do_but_cure():
    found = planned(flood(), now_s=EIGHT_S + DAY_S, done=[Done("coat", EIGHT_S, ("pull_tape",))])

    assert found.found
    assert found.acts == ()
    assert found.finish_s > EIGHT_S + 2 * DAY_S


def test_one_question_has_one_answer():
    recipe = RECIPES["layered_panel"]

    assert planned(recipe, swing_k=1.0) == planned(recipe, swing_k=1.0)


def test_it_plans_without_any_forecast_or_reading():
    nothing = RoomPaths(np.empty(0), np.empty((0, 0)), np.empty((0, 0)))

    found = plan(flood(), RESINS, nothing, speeds(), Wishes(probability=0.6), EIGHT_S)

    assert found.found
    assert any("No reading" in note for note in found.notes)


@pytest.mark.parametrize(
    ("wishes", "words"),
    [
        (Wishes(probability=1.4), "probability is 1.4"),
        (Wishes(deadline_s=EIGHT_S - 1.0), "deadline has passed"),
        (Wishes(mode="latest"), "a deadline is needed"),
        (Wishes(waking_h=((9.0, 5.0),) * 7), "make no day"),
        (Wishes(waking_h=((9.0, 17.0),)), "give all 7"),
        (Wishes(days_off=("Tuesday",)), "is not a date"),
    ],
)
def test_a_wish_that_makes_no_sense_is_refused_in_words(wishes, words):
    with pytest.raises(ValueError, match=re.escape(words)):
        planned(flood(), wishes)


def test_marks_that_make_no_sense_are_refused_in_words():
    recipe = flood(second="recoat_window")
    for done, words in (
        ([Done("base", EIGHT_S)], "not in the recipe"),
        ([Done("coat", EIGHT_S + 9.0)], "has not come"),
        ([Done("second", EIGHT_S - 9.0)], "say when it was done"),
        ([Done("coat", EIGHT_S - 9.0, reached={"sandable": float("nan")})], "not a time"),
    ):
        with pytest.raises(ValueError, match=re.escape(words)):
            planned(recipe, done=done)


def test_draws_that_are_missing_are_named():
    draws = {key: value for key, value in speeds().items() if key != "coating_2_1"}

    with pytest.raises(ValueError, match="'coating_2_1' are missing"):
        planned(replace(flood(), name="Bare"), draws=draws)


def test_a_chance_for_the_whole_is_no_greater_than_that_of_any_act():
    found = planned(RECIPES["layered_panel"], Wishes(probability=0.6), draws=speeds(0.2))

    assert found.found
    assert 0.0 < found.chance <= min(act.chance for act in found.acts)


def test_work_without_any_resin_is_planned_too():
    recipe = Recipe("r", "Sanding", (Step("a", "sand", "Sand", hands_on_min=45.0),))

    found = planned(recipe, now_s=MONDAY_S + 23 * HOUR_S, otherwise=True)

    assert [local_hour(act.at_s) for act in found.acts] == [7.0]
    assert found.finish_s == found.acts[0].until_s


def test_where_no_plan_is_sure_enough_the_surest_there_is_may_stand_in_and_says_so():
    """Tape window 2 to 4 h, a speed known to 30 %: nothing meets it nine times in ten."""
    wishes = Wishes(probability=0.9)

    strict = planned(flood(), wishes, draws=speeds(0.30))
    content = planned(flood(), wishes, draws=speeds(0.30), content_from=0.5, otherwise=True)

    assert not strict.found
    assert content.found
    assert 0.5 <= content.content_with < 0.9
    assert content.reasons == strict.reasons
    assert all(act.chance >= content.content_with for act in content.acts)
    # The next step of five per cent up has none: this is the surest.
    surer = Wishes(probability=content.content_with + 0.05)
    assert not planned(flood(), surer, draws=speeds(0.30)).found
    assert "probability" not in {offer.wish for offer in content.alternatives}


def test_a_plan_as_sure_as_wished_says_nothing_of_being_content():
    assert planned(flood(), content_from=0.5).content_with is None


@pytest.mark.parametrize("mode", ["soonest", "latest"])
def test_with_nothing_left_to_do_neither_hours_nor_a_deadline_bind_the_cure(mode):
    done = [Done("coat", EIGHT_S, ("pull_tape",))]
    now_s = EIGHT_S + DAY_S
    never = Wishes(waking_h=(None,) * 7, deadline_s=now_s + 60.0, mode=mode)

    found = planned(flood(), never, now_s=now_s, done=done)

    assert found.found
    assert found.acts == ()
    assert found.finish_s > EIGHT_S + 2 * DAY_S
