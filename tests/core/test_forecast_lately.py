"""Within the hour a room goes on as it goes; by the evening its habits have it again."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.room.forecast import forecast
from monitor.core.room.hourly import levelled
from monitor.core.room.lately import MOST_C, on_its_way
from monitor.core.vocabulary import RoomSeries

NOW = 1_790_000_000.0
LEADS_H = np.array([1 / 6, 0.5, 1.0, 3.0, 9.0, 24.0, 72.0])


def log(fall_k_min, minutes=20):
    """A still week at 21 degC by the minute, falling for its last minutes."""
    at_s = np.arange(NOW - 7 * 86_400.0, NOW + 1, 60.0)
    age_min = (NOW - at_s) / 60.0
    return at_s, 21.0 - fall_k_min * np.maximum(minutes - age_min, 0.0)


def test_a_falling_room_is_foretold_to_start_from_its_last_reading_and_fall_on():
    at_s, temp_c = log(0.1)
    future = forecast(RoomSeries(at_s, temp_c, np.full(at_s.size, 45.0)), NOW)
    middle_c = np.median(future.temp_c, axis=0)
    assert middle_c[0] < temp_c[-1] + 0.6
    assert middle_c[5] < temp_c[-1]


def test_a_still_room_and_one_measured_by_the_hour_are_on_no_way():
    at_s, temp_c = log(0.0)
    np.testing.assert_allclose(on_its_way(at_s, temp_c, NOW, LEADS_H), 0.0, atol=1e-9)
    hourly_s = NOW - 3_598.0 * np.arange(200.0)[::-1]
    hourly_c = np.linspace(25.0, 15.0, hourly_s.size)
    np.testing.assert_allclose(on_its_way(hourly_s, hourly_c, NOW, LEADS_H), 0.0, atol=1e-9)


@given(st.floats(-5.0, 5.0), st.integers(1, 60))
def test_it_goes_the_way_it_went_never_far_and_not_for_long(fall_k_min, minutes):
    at_s, temp_c = log(fall_k_min, minutes)
    added = on_its_way(at_s, temp_c, NOW, LEADS_H)
    assert np.all(added * -fall_k_min >= -1e-9)
    assert np.abs(added).max() <= 1.1 * MOST_C + 1e-9
    np.testing.assert_allclose(added[LEADS_H >= 9.0], 0.0, atol=1e-9)


def test_a_night_without_heating_and_the_heater_that_ended_it_moved_no_sensor():
    """A quick heater looks like a sensor carried about; the level it comes back to tells."""
    hours = np.arange(-14 * 24, 1)
    usual_c = np.where((hours % 24 >= 7) & (hours % 24 < 23), 21.5, 19.2)
    cold = (hours >= -20) & (hours < -6)
    values = np.where(cold, 15.0 - 0.5 * (hours + 20), usual_c)
    np.testing.assert_array_equal(levelled(values), values)
    moved = np.where(hours >= -6, usual_c - 9.0, usual_c)
    np.testing.assert_allclose(levelled(moved)[:-12], usual_c[:-12] - 9.0, atol=1.5)


def test_a_cold_night_makes_no_summer():
    """Rooms that never passed 22 degC are not foretold to, whatever one night did."""
    at_s = np.arange(NOW - 21 * 86_400.0, NOW + 1, 300.0)
    hour = (at_s - NOW) / 3600.0
    usual_c = np.where((hour % 24 >= 7) & (hour % 24 < 23), 21.5, 19.2)
    cold = (hour >= -66) & (hour < -52)
    room = RoomSeries(at_s, np.where(cold, 13.0, usual_c), np.full(at_s.size, 45.0))
    middle_c = np.median(forecast(room, NOW).temp_c, axis=0)
    assert middle_c.max() < 22.5
