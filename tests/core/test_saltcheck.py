"""When a sensor in a jar, in ice or beside a thermometer can be judged, and how."""

import numpy as np
import pytest

from monitor.core.room.saltcheck import (
    IN_A_JAR,
    IN_AIR,
    IN_ICE,
    SALTS,
    fit,
    point,
    salt_humidity_pct,
    settling,
)

T0 = 1_790_000_000.0
MINUTE = 60.0


def jar(
    minutes, end_pct=71.2, start_pct=45.0, tau_min=20.0, every_s=10.0, noise=0.1, drift_k_h=0.0
):
    """A sensor put into a jar at T0 that nears the jar's humidity, in steps of 0.1."""
    at_s = T0 + np.arange(0.0, minutes * MINUTE + 1.0, every_s)
    hours = (at_s - T0) / 3600.0
    humid = end_pct + (start_pct - end_pct) * np.exp(-hours * 60.0 / tau_min)
    humid += np.random.default_rng(1).normal(0.0, noise, len(at_s))
    temp = 21.0 + drift_k_h * hours
    return at_s, np.round(temp, 1), np.round(humid, 1)


def seen(readings, minutes, habit=IN_A_JAR):
    return settling(*readings, T0, T0 + minutes * MINUTE, habit)


def test_the_first_minutes_are_the_hands_and_it_says_how_long_is_left():
    found = seen(jar(20), 20)

    assert found.stand == "begun"
    assert found.wait_s == 25 * MINUTE


def test_a_value_still_on_its_way_is_not_judged_and_its_speed_is_told():
    # tau 60 min: after 50 min, 26.2 %RH x exp(-35/60) / 1 h is the slope in mid-stretch.
    found = seen(jar(50, tau_min=60.0), 50)

    assert found.stand == "moving"
    assert found.slope_per_h == pytest.approx(26.2 * np.exp(-35.0 / 60.0), rel=0.05)


def test_once_it_stands_still_it_is_judged_and_little_is_left_to_come():
    first = next(m for m in range(45, 240) if seen(jar(m), m).stand == "settled")
    found = seen(jar(first), first)

    # 26.2 %RH apart at the start, tau 20 min: the limit of 0.5 %RH/h is reached at about 85 min
    # in mid-stretch; what is left then is below the salt's own uncertainty and a step of 0.1.
    assert 80 <= first <= 130
    assert found.mean == pytest.approx(71.2, abs=0.3)
    assert found.temp_c == pytest.approx(21.0)


@pytest.mark.parametrize("every_s", [10.0, 60.0, 180.0])
def test_it_can_be_told_at_any_usual_interval(every_s):
    assert seen(jar(180, every_s=every_s), 180).stand == "settled"


def test_a_warming_jar_is_not_judged():
    assert seen(jar(180, drift_k_h=1.0), 180).stand == "warming"


def test_values_that_leap_about_are_not_judged():
    assert seen(jar(180, noise=2.0), 180).stand == "unsteady"


def test_one_wild_value_does_not_spoil_it():
    at_s, temp, humid = jar(180)
    humid[-5] = 20.0

    found = seen((at_s, temp, humid), 180)

    assert found.stand == "settled"
    assert found.mean == pytest.approx(71.2, abs=0.1)


def test_a_silent_sensor_is_not_judged():
    at_s, temp, humid = jar(180)
    heard = at_s < T0 + 160 * MINUTE

    assert seen((at_s[heard], temp[heard], humid[heard]), 180).stand == "few"
    assert seen((at_s[:0], temp[:0], humid[:0]), 180).stand == "few"


def test_what_came_before_the_jar_does_not_count():
    at_s, temp, humid = jar(180)

    assert settling(at_s, temp, humid, T0 + 170 * MINUTE, T0 + 180 * MINUTE, IN_A_JAR).count == 0


def test_a_thermometer_alone_cannot_be_checked_for_humidity():
    at_s, temp, humid = jar(180)

    assert seen((at_s, temp, np.full_like(humid, np.nan)), 180).stand == "no_value"


@pytest.mark.parametrize(("habit", "minutes"), [(IN_ICE, 40), (IN_AIR, 120)])
def test_a_thermometer_in_ice_or_in_air_settles(habit, minutes):
    at_s = T0 + np.arange(0.0, minutes * MINUTE + 1.0, 10.0)
    tau_s = 300.0 if habit is IN_ICE else 1200.0
    temp = np.round(0.3 + 20.7 * np.exp(-(at_s - T0) / tau_s), 1)
    nothing = np.full_like(temp, np.nan)

    found = settling(at_s, temp, nothing, T0, at_s[-1], habit)

    assert found.stand == "settled"
    # Its own end is 0.3; a step is 0.1 and the limits leave at most 0.1.
    assert found.mean == pytest.approx(0.3, abs=0.15)


def test_it_says_how_far_off_and_whether_that_is_within_the_data_sheet():
    found = point("humidity", 71.2, 75.3, 0.2)

    assert found.error == pytest.approx(-4.1)
    assert (found.told, found.within, found.believable) == (True, False, True)
    assert point("humidity", 75.2, 75.3, 0.2).told is False
    assert point("temperature", 0.4, 0.0, 0.1).within is True
    assert point("temperature", 0.6, 0.0, 0.1).within is False


def test_a_jar_that_is_far_off_is_not_believed():
    assert point("humidity", 45.0, 75.3, 0.2).believable is False
    assert point("temperature", 6.0, 0.0, 0.1).believable is False


def test_two_points_give_their_mean_offset_and_what_it_leaves_at_each():
    found = fit([point("humidity", 31.0, 33.1, 0.2), point("humidity", 71.4, 75.5, 0.2)])

    assert found.offset == pytest.approx(3.1)
    assert found.left_over == pytest.approx((1.0, -1.0))
    assert found.enough is True


def test_an_error_that_grows_with_the_value_is_more_than_an_offset_can_mend():
    found = fit([point("humidity", 33.1, 33.1, 0.2), point("humidity", 70.5, 75.5, 0.2)])

    assert found.left_over == pytest.approx((2.5, -2.5))
    assert found.enough is False


def test_points_of_two_quantities_are_not_mixed():
    with pytest.raises(ValueError, match="expected some of one"):
        fit([point("humidity", 33.0, 33.1, 0.2), point("temperature", 0.1, 0.0, 0.1)])
    with pytest.raises(ValueError, match="0 points"):
        fit([])


@pytest.mark.parametrize("temp_c", [4.9, 35.1, float("nan")])
def test_a_jar_beyond_the_range_of_the_table_is_refused(temp_c):
    with pytest.raises(ValueError, match="expected 5 to 35"):
        salt_humidity_pct("sodium_chloride", temp_c)
    with pytest.raises(ValueError, match="expected one of"):
        salt_humidity_pct("sugar", 20.0)


def test_no_salt_moves_by_more_than_a_few_tenths_for_a_wrong_degree():
    # So the sensor's own temperature, right to a degree, is good enough to look up the jar.
    for salt in SALTS:
        for temp_c in range(10, 30):
            step = salt_humidity_pct(salt, temp_c + 1.0) - salt_humidity_pct(salt, temp_c)
            assert abs(step) < 0.2
