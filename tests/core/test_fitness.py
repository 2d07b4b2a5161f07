"""Is this a good moment to pour? Rooms made up for the question, judged by a resin's own limits.

The limits (18 to 30 degC, 80 %RH) are common practice, no published source; 3 K above the dew
point is ISO 8502-4 guidance. Nothing here is measured.
"""

from __future__ import annotations

import numpy as np
import pytest

from monitor import shelf
from monitor.core.cure.fitness import Air, fitness
from monitor.core.cure.outlook import outlook
from monitor.core.vocabulary import Layer, RateDraws, RoomPaths, RoomSeries

T0 = 1_790_000_000.0
HOUR = 3600.0
COATING = next(one for one in shelf.library() if one.key == "coating_2_1")
GLUE = next(one for one in shelf.library() if one.key == "fast_adhesive")
AT_S = T0 + 600.0 * np.arange(1, 289)
FLAT = np.full(AT_S.size, 21.0)


def judged(temp_c=FLAT, humidity=48.0, *, air=None, later_h=0.0, resin=COATING, **size):
    """The verdict in a room that follows `temp_c`; every path but for its small spread alike."""
    spread = np.linspace(-0.3, 0.3, 20)[:, None]
    damp = np.broadcast_to(humidity, AT_S.shape)
    future = RoomPaths(AT_S, temp_c + spread, damp + spread)
    layer = Layer(0, 0, "p", resin, T0 + later_h * HOUR, **size)
    start = air if air is not None else Air(T0 - 60, float(temp_c[0]), float(damp[0]))
    past = RoomSeries(np.array([T0 - 60]), np.array([start.temp_c]), np.array([50.0]))
    found = outlook(layer, past, future, RateDraws(np.zeros(1), np.full(1, 55e3)), (), T0)
    return fitness(layer, start, future, found, T0)


def night(cold_c, from_h=3.0, to_h=9.0):
    hours = (AT_S - T0) / HOUR
    return np.where((hours >= from_h) & (hours <= to_h), cold_c, 21.0)


def test_a_warm_dry_room_is_a_yes():
    found = judged(depth_mm=3.0, area_cm2=500.0)
    assert (found.answer, found.room.answer, found.after.answer) == ("yes", "yes", "yes")
    assert "21.0 °C and 48 % RH" in found.room.reasons[0]


def test_a_cold_night_ahead_says_wait_from_when_to_when_and_until_when():
    found = judged(night(14.0))
    assert (found.room.answer, found.after.answer) == ("yes", "wait")
    first, last = AT_S[17], AT_S[53]  # 3 h and 9 h on the 10-minute grid
    words = f"Likely below 18 °C from ⟦{first:.0f}⟧ until ⟦{last:.0f}⟧, down to 14.0 °C."
    assert words in found.after.reasons
    # From the first grid point after the cold on, twelve hours are right.
    assert found.after.from_s == pytest.approx(last + 600.0)


def test_a_room_that_is_cold_now_and_warm_later_says_wait_until_then():
    found = judged(np.where(AT_S < T0 + 2 * HOUR, 15.0, 21.0), air=Air(T0, 15.0, 48.0))
    assert found.room.answer == "wait"
    assert "15.0 °C; this resin wants at least 18 °C." in found.room.reasons
    assert found.room.from_s == pytest.approx(T0 + 2 * HOUR)


def test_a_room_that_stays_cold_is_a_no():
    found = judged(np.full(AT_S.size, 14.0))
    assert (found.room.answer, found.after.answer, found.answer) == ("no", "no", "no")


def test_damp_is_a_no_and_the_dew_point_is_counted_by_three_kelvin():
    # 21 degC and 85 %RH: dew point 18.4 degC, 2.6 K below (Magnus, worked by hand).
    found = judged(humidity=85.0, air=Air(T0, 21.0, 85.0))
    words = " ".join(found.room.reasons)
    assert "85 % RH; this resin bears at most 80 % RH." in words
    assert "2.6 °C above the dew point" in words


def test_damp_does_not_matter_to_a_glue():
    assert judged(humidity=85.0, air=Air(T0, 21.0, 85.0), resin=GLUE).room.answer == "yes"


@pytest.mark.parametrize(("depth_mm", "answer"), [(3.0, "yes"), (60.0, "no")])
def test_a_pour_that_heats_itself_past_its_limit_is_a_no_in_any_room(depth_mm, answer):
    found = judged(depth_mm=depth_mm, area_cm2=400.0)
    assert found.pour.answer == answer
    assert (found.answer == "no") == (answer == "no")


def test_an_old_reading_is_not_the_room_of_now():
    found = judged(air=Air(T0 - 3 * HOUR, 21.0, 48.0))
    assert found.room.answer == "unknown"
    assert "is not known" in found.room.reasons[0]


def test_a_later_pour_is_judged_by_the_room_of_that_hour():
    assert judged(night(14.0), later_h=5.0).room.answer == "wait"
    assert judged(night(14.0), later_h=10.0).answer == "yes"


def test_a_small_chance_of_cold_is_a_caution_and_not_a_wait():
    paths = np.tile(FLAT, (10, 1))
    paths[:3, 20:40] = 15.0
    layer = Layer(0, 0, "p", COATING, T0)
    future = RoomPaths(AT_S, paths, np.full_like(paths, 48.0))
    past = RoomSeries(np.array([T0]), np.array([21.0]), np.array([48.0]))
    found = outlook(layer, past, future, RateDraws(np.zeros(1), np.full(1, 55e3)), (), T0)
    verdict = fitness(layer, Air(T0, 21.0, 48.0), future, found, T0).after
    assert verdict.answer == "yes"
    assert "Perhaps below 18 °C: a chance of about 30 %." in verdict.cautions


def test_without_a_thermometer_nothing_is_claimed():
    none = RoomPaths(np.empty(0), np.empty((0, 0)), np.empty((0, 0)))
    layer = Layer(0, 0, "p", COATING, T0)
    past = RoomSeries(np.array([T0]), np.array([21.0]), np.array([48.0]))
    future = RoomPaths(AT_S, FLAT[None], np.full((1, AT_S.size), 48.0))
    found = outlook(layer, past, future, RateDraws(np.zeros(1), np.full(1, 55e3)), (), T0)
    verdict = fitness(layer, None, none, found, T0)
    assert (verdict.room.answer, verdict.after.answer) == ("unknown", "unknown")
