"""What a plan promises. Its optimality is checked against exhaustive search elsewhere
(tests/published/test_planner_bruteforce.py); its stage times here against the outlook, which
reckons each layer on its own.
"""

import re
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from monitor.core.cure.fitness import Air, fitness
from monitor.core.cure.outlook import outlook
from monitor.core.cure.planner import Done, Wishes, plan
from monitor.core.cure.recipe import Moment, Recipe, Step, faults, from_dict, to_dict
from monitor.core.cure.resin import from_mapping
from monitor.core.vocabulary import Layer, RateDraws, RoomPaths, RoomSeries

DATA = Path(__file__).resolve().parents[2] / "monitor" / "data"
HOUR_S, DAY_S = 3600.0, 86_400.0
MONDAY_S = 1_759_708_800.0  # Monday 6 October 2025, midnight UTC
EIGHT_S = MONDAY_S + 8 * HOUR_S
PATHS = 40


def tables(name):
    with (DATA / name).open("rb") as file:
        return {key: {"key": key, **table} for key, table in tomllib.load(file).items()}


RESINS = {key: from_mapping(table) for key, table in tables("resins.toml").items()}
RECIPES = {key: from_dict(table) for key, table in tables("recipes.toml").items()}


def room(temp_c, now_s=EIGHT_S, swing_k=0.0, spread_k=0.3):
    """Three days of paths, warmest at four in the afternoon."""
    at_s = now_s + 600.0 * np.arange(433.0)
    daily = swing_k * np.sin(2.0 * np.pi * ((at_s / HOUR_S) % 24.0 - 10.0) / 24.0)
    offsets = np.linspace(-spread_k, spread_k, PATHS)[:, None]
    return RoomPaths(at_s, temp_c + daily + offsets, np.full((PATHS, at_s.size), 50.0))


def speeds(sd=0.08):
    """A well-known resin: its speed within about eight per cent."""
    places = (np.arange(PATHS) * 17 % PATHS + 0.5) / PATHS
    rates = sd * np.sqrt(12.0) * (places - 0.5)
    return {key: RateDraws(rates, np.full(PATHS, p.ea_j_mol), 5) for key, p in RESINS.items()}


def planned(recipe, wishes=None, now_s=EIGHT_S, temp_c=21.0, draws=None, **rest):
    future = room(temp_c, now_s, rest.pop("swing_k", 0.0))
    rest.setdefault("otherwise", False)
    wishes = Wishes() if wishes is None else wishes
    return plan(recipe, RESINS, future, draws or speeds(), wishes, now_s, **rest)


PULL = (Moment("pull_tape"),)


def flood(*, moments=PULL, second=None):
    steps = [Step("coat", "flood_coat", "Coat", "coating_2_1", moments=moments)]
    if second is not None:
        steps.append(Step("second", "flood_coat", "Second", "coating_2_1", second))
    return Recipe("r", "Coats", tuple(steps))


def local_hour(at_s, offset_s=0.0):
    return ((at_s + offset_s) % DAY_S) / HOUR_S


# --- recipes ------------------------------------------------------------------------


@pytest.mark.parametrize("key", RECIPES)
def test_a_recipe_of_the_house_is_sound_and_survives_the_way_to_a_file(key):
    kinds = {name: profile.kind for name, profile in RESINS.items()}

    assert faults(RECIPES[key], kinds) == ()
    assert from_dict(to_dict(RECIPES[key])) == RECIPES[key]


def test_what_is_wrong_with_a_recipe_is_said_all_at_once_in_words():
    with pytest.raises(ValueError) as told:
        from_dict(
            {
                "key": "x",
                "name": "X",
                "colour": "red",
                "steps": [{"key": "a", "kind": "varnish", "depth_mm": "thick"}, 7],
            }
        )

    words = str(told.value)
    assert "colour is not a setting of the recipe" in words
    assert "depth_mm of step 1 is 'thick'" in words
    assert "step 2 is 7" in words


@pytest.mark.parametrize(
    ("steps", "words"),
    [
        ((Step("a", "flood_coat", "A", "coating_2_1", "sanded"),), "no layer below"),
        ((Step("a", "flood_coat", "A", "nowhere"),), "not on the shelf"),
        ((Step("a", "flood_coat", "A", "paint_lines"),), "is a paint; it must be a pour"),
        ((Step("a", "sand", "A", "paint_lines"),), "is work alone"),
        ((Step("a", "tape", "A", moments=(Moment("pull_tape"),)),), "has no layer after it"),
        (
            (Step("a", "painted_lines", "A", "paint_lines"),
             Step("b", "flood_coat", "B", "coating_2_1", "recoat_window")),
            "has no such stage",
        ),
        (
            (Step("a", "painted_lines", "A", "paint_lines", moments=(Moment("demould"),)),),
            "makes no sense",
        ),
    ],
)  # fmt: skip
def test_a_recipe_that_cannot_be_done_is_refused(steps, words):
    with pytest.raises(ValueError, match=re.escape(words)):
        planned(Recipe("r", "R", steps))


# --- plans --------------------------------------------------------------------------


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
    assert "hands are not free" in later.words
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


# --- the room's limits ----------------------------------------------------------------


def morning(now_s=EIGHT_S, cold_until_h=9.6, cold_c=16.0, warm_c=21.0):
    """A room heated from some hour on: cold until then, warm for good after."""
    at_s = now_s + 600.0 * np.arange(433.0)
    temp_c = np.where(at_s < MONDAY_S + cold_until_h * HOUR_S, cold_c, warm_c)
    return RoomPaths(at_s, np.tile(temp_c, (PATHS, 1)), np.full((PATHS, at_s.size), 50.0))


def test_a_pour_waits_until_the_room_is_as_the_resin_wants_it_and_says_until_when():
    """The coating's own label: at least 18 °C."""
    found = plan(flood(moments=()), RESINS, morning(), speeds(), Wishes(), EIGHT_S, otherwise=False)

    pour = found.acts[0]
    # Cold readings until 09:30: the ten minutes from 09:40 are the first warm throughout.
    assert local_hour(pour.at_s) == pytest.approx(9.0 + 40.0 / 60.0)
    assert pour.room_chance == 1.0
    assert pour.warning == ""
    why = next(reason for reason in pour.reasons if reason.key == "room")
    assert f"the room is below 18 °C until ⟦{round(pour.at_s)}⟧" in why.words


def test_a_room_too_cold_for_the_label_is_named_with_warmth_first_and_the_cold_as_a_wish():
    found = planned(flood(moments=()), temp_c=15.0, otherwise=True)

    assert not found.found
    assert found.reasons[0].key == "room"
    assert "below 18 °C" in found.reasons[0].words
    assert found.alternatives[0].key in ("warm_nights", "warm_room")
    assert found.give_up.wish == "room_limits"
    assert found.give_up.words.startswith("Pour in a room colder than the label wants")


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
    # Warm from seven on; the ten minutes before the pour count with it.
    assert local_hour(coated.acts[0].at_s) == pytest.approx(7.0 + 10.0 / 60.0)


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


# --- certainty ----------------------------------------------------------------------


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


# --- nothing left -------------------------------------------------------------------


@pytest.mark.parametrize("mode", ["soonest", "latest"])
def test_with_nothing_left_to_do_neither_hours_nor_a_deadline_bind_the_cure(mode):
    done = [Done("coat", EIGHT_S, ("pull_tape",))]
    now_s = EIGHT_S + DAY_S
    never = Wishes(waking_h=(None,) * 7, deadline_s=now_s + 60.0, mode=mode)

    found = planned(flood(), never, now_s=now_s, done=done)

    assert found.found
    assert found.acts == ()
    assert found.finish_s > EIGHT_S + 2 * DAY_S
