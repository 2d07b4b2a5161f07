"""The outlook of a layer: right in the label's room, honest elsewhere."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor import shelf
from monitor.core.cure.outlook import outlook
from monitor.core.vocabulary import Layer, Mark, RateDraws, RoomPaths, RoomSeries

NOW_S = 1_760_000_000.0
HOUR_S = 3600.0
LIBRARY = {profile.key: profile for profile in shelf.library()}
EMPTY = np.empty(0)
NO_READINGS = RoomSeries(EMPTY, EMPTY, EMPTY)
SURE = RateDraws(np.zeros(5), np.full(5, 55_000.0))
UNSURE = RateDraws(np.linspace(-0.4, 0.4, 41), np.full(41, 55_000.0))


def layer(key="coating_2_1", hours_ago=5.0, **changes):
    depth = {"depth_mm": 3.0} if key == "coating_2_1" else {}
    return Layer(1, 1, "coat", LIBRARY[key], NOW_S - hours_ago * HOUR_S, **(depth | changes))


def readings(temp_c=23.0, humidity_pct=50.0, hours=300.0):
    at_s = np.arange(NOW_S - hours * HOUR_S, NOW_S + 1.0, 600.0)
    return RoomSeries(at_s, np.full(at_s.size, temp_c), np.full(at_s.size, humidity_pct))


def ahead(temp_c=23.0, humidity_pct=50.0, paths=5):
    at_s = NOW_S + np.arange(0.0, 72.1, 1.0 / 6.0) * HOUR_S
    shape = (paths, at_s.size)
    return RoomPaths(at_s, np.full(shape, temp_c), np.full(shape, humidity_pct))


def steady(temp_c, humidity_pct=50.0, draws=SURE, marks=(), now_s=NOW_S, **changes):
    """An outlook in a room that never changes."""
    return outlook(
        layer(**changes),
        readings(temp_c, humidity_pct),
        ahead(temp_c, humidity_pct),
        draws,
        marks,
        now_s,
    )


def stage(found, key):
    return next(stage for stage in found.stages if stage.key == key)


def hours_to(found, key):
    return (stage(found, key).p50_s - stage(found, key).label_at_s) / HOUR_S + stage(
        found, key
    ).label_h


@pytest.mark.parametrize("key", ["coating_2_1", "slow_art", "deep_casting", "fast_adhesive"])
def test_in_the_labels_own_room_every_stage_meets_the_label(key):
    found = steady(23.0, key=key, hours_ago=0.01, depth_mm=LIBRARY[key].ref_depth_mm)

    for each in found.stages:
        # A hundredth: the heat model runs on another grid for the label than for the layer.
        assert hours_to(found, each.key) == pytest.approx(each.label_h, rel=0.01, abs=0.02)


def test_a_film_that_does_not_warm_itself_follows_the_arrhenius_clock():
    found = steady(16.0, key="fast_adhesive", hours_ago=0.0)

    # Independent: ASTM C1074 factor of 0.582315 at 16 degC, Ea 55 kJ/mol, against 23.
    assert hours_to(found, "handling_set") == pytest.approx(0.5 / 0.582315, rel=1e-3)


def test_stages_come_in_order_with_ordered_bands():
    found = steady(19.0, draws=UNSURE)

    medians = [each.p50_s for each in found.stages]
    assert medians == sorted(medians)
    for each in found.stages:
        assert each.p10_s <= each.p50_s <= each.p90_s


def test_a_stage_is_reached_only_once_its_whole_band_is_past():
    found = steady(23.0, draws=UNSURE, hours_ago=4.2)

    assert stage(found, "tape_window_open").reached_at_s is not None
    assert stage(found, "tape_window_close").p50_s < NOW_S
    assert stage(found, "tape_window_close").reached_at_s is None


def test_a_cold_room_stalls_the_cure_and_the_remedy_finishes_it():
    found = steady(12.0, hours_ago=24.0)

    assert found.stalled
    assert found.remedy.temp_c <= LIBRARY["coating_2_1"].warm_limit_c
    assert "levels off in this cold" in stage(found, "full_cure").why

    cold = readings(12.0)
    warm_from_s = NOW_S + 8.0 * 24.0 * HOUR_S
    at_s = NOW_S + np.arange(0.0, 24.0 * 12.0, 0.5) * HOUR_S
    warmed = np.where(
        (at_s >= warm_from_s) & (at_s <= warm_from_s + found.remedy.hours * HOUR_S),
        found.remedy.temp_c,
        12.0,
    )
    shape = (5, at_s.size)
    finished = outlook(
        layer(hours_ago=24.0),
        cold,
        RoomPaths(at_s, np.broadcast_to(warmed, shape).copy(), np.full(shape, 50.0)),
        SURE,
        (),
        NOW_S,
    )
    # An hour of grace: the room of the test changes between two half hours.
    assert stage(finished, "full_cure").p50_s <= warm_from_s + (found.remedy.hours + 1.0) * HOUR_S


@pytest.mark.parametrize("temp_c", [20.0, 23.0, 28.0])
def test_a_usual_room_does_not_stall(temp_c):
    assert not steady(temp_c, hours_ago=24.0).stalled


def soft_notes(**given):
    found = steady(**given)
    assert found.state == "soft"
    return [note for note in found.notes if "soft, " in note or "Still soft" in note]


def test_without_a_touch_a_cold_room_is_cause_enough_and_the_mix_is_not_blamed():
    cold_h = 14.5  # past the label's 8 h; here tack-free comes at 14.8 h
    (note,) = soft_notes(temp_c=16.0, hours_ago=cold_h)
    assert note == "Still soft: the room is 7 °C below the label's. Keep it warm."

    tacky = Mark(1, 1, "tacky", NOW_S - 60.0)
    (felt,) = soft_notes(temp_c=16.0, hours_ago=cold_h, marks=[tacky])
    assert felt.endswith("Likely: the room is 7 °C below the label's.")
    (warm,) = soft_notes(temp_c=22.0, hours_ago=9.5, marks=[tacky])
    assert "parts not mixed through" in warm


def test_past_its_likely_time_only_a_touch_says_whether_it_is_soft():
    at_h = hours_to(steady(16.0, hours_ago=0.01), "tack_free")
    assert soft_notes(temp_c=16.0, hours_ago=at_h - 0.2)
    assert soft_notes(temp_c=16.0, hours_ago=at_h + 0.2) == []


def test_what_marks_taught_is_said_once_and_not_at_every_stage():
    taught = replace(SURE, why="Your one marked layer ran at the label's pace.")
    told = [each.key for each in steady(20.0, draws=taught).stages if taught.why in each.why]
    assert told == ["tack_free"]


@pytest.mark.parametrize(
    ("temp_c", "said"), [(17.2, "averages 17.2 °C"), (17.9, "just under the 18 °C"), (18.0, "")]
)
def test_a_room_at_the_limit_is_not_told_as_if_it_met_it(temp_c, said):
    notes = " ".join(steady(temp_c).notes)
    assert "18.0 °C" not in notes
    assert said in notes if said else "wants at least" not in notes


def test_still_soft_and_hard_but_under_cured_are_told_apart():
    soft = steady(12.0, hours_ago=20.0)
    hard = steady(12.0, hours_ago=24.0 * 9.0)

    assert soft.state == "soft"
    assert any("Still soft" in note for note in soft.notes)
    assert hard.state == "hard_undercured"
    assert any("Do not wrap or ship" in note for note in hard.notes)
    assert hard.glass_transition_c > 12.0 + 15.0


@pytest.mark.parametrize(
    ("hours_ago", "state"),
    [(0.2, "liquid"), (4.0, "gelling"), (9.0, "soft"), (30.0, "firm"), (90.0, "cured")],
)
def test_states_follow_one_another_in_the_labels_room(hours_ago, state):
    assert steady(23.0, hours_ago=hours_ago).state == state


def test_no_readings_widen_the_band_and_say_so():
    known = steady(23.0)
    guessed = outlook(layer(), NO_READINGS, ahead(), SURE, (), NOW_S)

    assert width(guessed) > width(known)
    assert any("No reading of this room yet" in note for note in guessed.notes)


def test_one_reading_is_used_and_its_age_told():
    past = RoomSeries(np.array([NOW_S - 6.0 * HOUR_S]), np.array([17.0]), np.array([50.0]))
    found = outlook(layer(), past, ahead(17.0), SURE, (), NOW_S)

    assert found.knowledge_age_s == 6.0 * HOUR_S
    assert width(found) > width(steady(17.0))
    assert any("6.0 h old" in note for note in found.notes)


def test_a_gap_is_bridged_widened_and_named():
    whole = readings(20.0)
    kept = (whole.at_s < NOW_S - 4.5 * HOUR_S) | (whole.at_s > NOW_S - 1.5 * HOUR_S)
    past = RoomSeries(whole.at_s[kept], whole.temp_c[kept], whole.humidity_pct[kept])
    found = outlook(layer(), past, ahead(20.0), SURE, (), NOW_S)

    assert any("1 gap in the readings" in note for note in found.notes)
    assert width(found) > width(steady(20.0))
    assert hours_to(found, "tack_free") == pytest.approx(
        hours_to(steady(20.0), "tack_free"), rel=0.02
    )


def test_a_pour_planned_for_later_starts_then():
    found = outlook(layer(hours_ago=-6.0), readings(), ahead(), SURE, (), NOW_S)

    assert found.state == "liquid"
    assert found.degree_of_cure == 0.0
    assert hours_to(found, "tack_free") == pytest.approx(8.0, rel=0.01)


def test_what_a_person_saw_bounds_the_stages():
    early = steady(23.0, marks=(Mark(1, 1, "tack_free", NOW_S - HOUR_S),))
    late = steady(23.0, hours_ago=12.0, marks=(Mark(1, 1, "tacky", NOW_S - 60.0),))
    aside = steady(23.0, marks=(Mark(1, 1, "tack_free", NOW_S - HOUR_S, set_aside=True),))

    assert stage(early, "tack_free").reached_at_s == NOW_S - HOUR_S
    assert stage(early, "tape_window_close").p90_s <= NOW_S - HOUR_S
    assert stage(late, "tack_free").p10_s >= NOW_S - 60.0
    assert stage(aside, "tack_free").reached_at_s is None


@pytest.mark.parametrize("ratio", [0.3, 4.0])
def test_a_mix_that_never_gels_never_sets(ratio):
    found = steady(23.0, hours_ago=48.0, hardener_ratio=ratio)

    assert stage(found, "tack_free").p50_s is None
    assert found.state == "gelling"
    assert any("start again" in note for note in found.notes)


def test_too_little_hardener_cannot_cure_fully_and_is_no_stall():
    found = steady(23.0, hours_ago=48.0, hardener_ratio=0.8)

    assert stage(found, "full_cure").p50_s is None
    assert "nothing to react with" in stage(found, "full_cure").why
    assert not found.stalled


def test_paint_dries_slowly_in_damp_air_and_never_in_saturated_air():
    dry, damp, wet = (
        steady(23.0, humidity, key="paint_lines", hours_ago=0.0) for humidity in (50.0, 75.0, 100.0)
    )

    assert hours_to(dry, "touch_dry") == pytest.approx(0.5, rel=1e-3)
    assert hours_to(damp, "touch_dry") == pytest.approx(1.0, rel=1e-3)  # half the deficit
    assert stage(wet, "touch_dry").p50_s is None
    assert "too damp" in stage(wet, "touch_dry").why


def test_rate_now_is_label_speed_in_the_labels_room():
    assert steady(23.0, key="fast_adhesive", hours_ago=0.1).rate_now == pytest.approx(1.0)
    assert steady(12.0, key="fast_adhesive", hours_ago=0.1).rate_now == pytest.approx(
        0.42, abs=0.01
    )


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"depth_mm": -3.0}, "depth_mm is -3 mm; it must be above 0"),
        ({"hardener_ratio": 0.0}, "hardener_ratio is 0"),
        ({"volume_ml": float("nan")}, "volume_ml is nan ml"),
        ({"pour_temp_c": 400.0}, "pour_temp_c is 400 °C"),
        ({"depth_mm": None, "volume_ml": 9_000.0, "area_cm2": 1.0}, "check depth, volume and area"),
        ({"resin": replace(LIBRARY["coating_2_1"], ref_temp_c=400.0)}, "ref_temp_c is 400 °C"),
    ],
)
def test_numbers_that_make_no_sense_are_refused_in_words(changes, words):
    with pytest.raises(ValueError) as refused:
        outlook(replace(layer(), **changes), readings(), ahead(), SURE, (), NOW_S)

    assert words in str(refused.value)


def test_a_forecast_with_holes_is_refused():
    holed = ahead()
    holed.temp_c[0, 3] = math.nan
    with pytest.raises(ValueError) as refused:
        outlook(layer(), readings(), holed, SURE, (), NOW_S)

    assert "room forecast" in str(refused.value)


@given(
    st.sampled_from(sorted(LIBRARY)),
    st.floats(0.0, 200.0),
    st.lists(st.tuples(st.floats(-5.0, 45.0), st.floats(0.0, 100.0)), max_size=6),
    st.floats(0.0, 40.0),
    st.floats(0.4, 2.5),
)
@settings(max_examples=25, deadline=None)
def test_whatever_the_room_no_nan_and_no_disorder(key, hours_ago, seen, later_c, ratio):
    at_s = NOW_S - HOUR_S * np.linspace(hours_ago + 1.0, 0.5, len(seen))
    temp_c, damp = (np.array([pair[k] for pair in seen]) for k in (0, 1))
    found = outlook(
        layer(key, hours_ago, hardener_ratio=ratio),
        RoomSeries(at_s, temp_c, damp),
        ahead(later_c),
        UNSURE,
        (),
        NOW_S,
    )

    numbers = [found.degree_of_cure, found.equivalent_age_h, found.rate_now, found.surface.risk]
    assert all(math.isfinite(number) for number in numbers)
    assert 0.0 <= found.degree_of_cure <= 1.0
    if found.curve is not None:
        assert found.curve.at_s.size <= 300
        assert np.all(np.isfinite(found.curve.glass_transition_c))
        assert np.all(np.diff(found.curve.degree_of_cure) >= 0.0)
    earlier_s = 0.0
    for each in found.stages:
        levels = [t for t in (each.p10_s, each.p50_s, each.p90_s) if t is not None]
        assert levels == sorted(levels)
        if each.p50_s is not None:
            assert each.p50_s >= earlier_s
            earlier_s = each.p50_s


def width(found):
    """Width of the band of tack-free [s]."""
    band = stage(found, "tack_free")
    return band.p90_s - band.p10_s
