"""What is wrong with a room and with the works, judged at one moment."""

from __future__ import annotations

import csv
import gzip
import math
from datetime import datetime

import numpy as np
import pytest
from opendata import open_data

from monitor.core.alarms import rules, states
from monitor.core.alarms.words import local_words, moment
from monitor.core.vocabulary import AlarmState, Layer, ResinProfile, RoomPaths

T0 = 1_700_000_000.0
DAY_S = 86400.0


def resin(**fields):
    return ResinProfile("r", "Coating", "pour", 23.0, {}, **fields)


def layer(id=1, poured_at_s=T0, ended_at_s=None, name="Tray", **fields):
    return Layer(id, 1, name, resin(**fields), poured_at_s, ended_at_s=ended_at_s)


def room(temp_c, humidity_pct=40.0, layers=None, **kwargs):
    layers = [layer()] if layers is None else layers
    found = rules.room_now("home/n1/air", T0 + 60, temp_c, humidity_pct, layers, **kwargs)
    return {condition.key: condition for condition in found}


# --- the alarm list


def test_each_rule_says_what_follows_what_to_do_and_why():
    for key, rule in rules.RULES.items():
        assert rule.key == key
        for text in (rule.consequence, rule.act, rule.reason):
            assert text.endswith("."), (key, text)
            assert 8 < len(text) < 200, (key, text)
        assert rule.on_delay_s >= 0
        assert rule.off_delay_s >= 0


def test_the_rooms_delays_and_deadband_are_those_of_alarm_practice():
    # Proposed for this program from ISA-18.2 / IEC 62682 practice (from memory): 0.5 K is the
    # sensor's own uncertainty, 5 and 10 minutes outlast an opened door.
    cold = rules.RULES["room_too_cold"]
    assert (cold.on_delay_s, cold.off_delay_s, cold.deadband) == (300.0, 600.0, 0.5)


# --- the room now


@pytest.mark.parametrize(
    ("temp_c", "wrong"), [(14.9, True), (15.0, None), (15.4, None), (15.5, False), (22, False)]
)
def test_cold_is_below_the_limit_and_over_once_back_by_the_deadband(temp_c, wrong):
    found = room(temp_c, layers=[layer(min_temp_c=15.0)])["room_too_cold"]

    assert found.wrong is wrong
    assert (found.value, found.limit, found.at_s) == (temp_c, 15.0, T0 + 60)


@pytest.mark.parametrize(("temp_c", "wrong"), [(30.1, True), (30.0, None), (29.5, False)])
def test_hot_is_above_the_limit_and_over_once_back_by_the_deadband(temp_c, wrong):
    assert room(temp_c)["room_too_hot"].wrong is wrong


def test_the_neediest_layer_sets_the_limit_and_is_named():
    both = [layer(1, name="Tray", min_temp_c=15.0), layer(2, name="River table", min_temp_c=18.0)]

    found = room(17.0, layers=both)["room_too_cold"]

    assert (found.wrong, found.limit) == (True, 18.0)
    assert found.words == "17 °C, below the 18 °C River table needs."
    # A value just past its limit does not look like it.
    words = room(17.96, layers=both)["room_too_cold"].words
    assert words == "17.96 °C, below the 18 °C River table needs."


@pytest.mark.parametrize(
    "layers",
    [[], [layer(poured_at_s=T0 + 61)], [layer(ended_at_s=T0 + 60)]],
    ids=["no layer", "not poured yet", "ended"],
)
def test_with_nothing_curing_the_room_is_nobodys_business(layers):
    assert [c.meaningful for c in room(5.0, 95.0, layers).values()] == [False] * 3


# Margins from the dew points of two reference libraries (PsychroLib 2.5.0 and CoolProp), as
# tabled for 101 325 Pa: 20 °C at 65 % gives 13.23 °C; 15 °C at 85 % gives 12.50 °C; 25 °C at
# 80 % gives 21.31 °C. A dew point is good to 0.03 K here, far from each verdict's edge.
@pytest.mark.parametrize(
    ("temp_c", "humidity_pct", "offset_c", "margin_c", "wrong"),
    [
        (20.0, 65.0, 0.0, 6.77, False),
        (20.0, 65.0, -3.5, 3.27, None),
        (20.0, 65.0, -4.0, 2.77, True),
        (15.0, 85.0, 0.0, 2.50, True),
        (25.0, 80.0, 0.0, 3.69, None),  # far enough from dew, but at the highest humidity
    ],
)
def test_damp_is_a_surface_near_the_dew_point(temp_c, humidity_pct, offset_c, margin_c, wrong):
    layers = [layer(max_humidity_pct=90.0 if humidity_pct > 80 else 80.0)]

    found = room(temp_c, humidity_pct, layers, surface_offset_c=offset_c)["room_too_damp"]

    assert found.wrong is wrong
    assert found.value == pytest.approx(margin_c, abs=0.03)
    assert found.limit == 3.0


def test_damp_is_also_more_humidity_than_the_resin_bears():
    dry_resin = [layer(max_humidity_pct=60.0)]

    assert room(25.0, 61.0, dry_resin)["room_too_damp"].wrong is True
    assert room(25.0, 58.0, dry_resin)["room_too_damp"].wrong is None
    assert room(25.0, 57.0, dry_resin)["room_too_damp"].wrong is False


def test_damp_no_longer_matters_once_the_surface_is_tack_free():
    assert room(15.0, 95.0)["room_too_damp"].wrong is True
    assert room(15.0, 95.0, closed={1})["room_too_damp"].meaningful is False


@pytest.mark.parametrize("nothing", [None, math.nan, math.inf])
def test_a_value_that_is_not_there_is_no_verdict(nothing):
    assert [c.wrong for c in room(nothing, nothing).values()] == [None] * 3
    assert room(10.0, nothing)["room_too_cold"].wrong is True


# --- against a real cold room


def test_alarms_of_a_real_room_match_an_independent_reading_of_its_file():
    """A hysteresis with two delays, written over the bare CSV, gives the same moments."""
    limit_c = 19.0
    rows = []
    with gzip.open(open_data("indoor/energy_office_2016-01-11_03-31.csv.gz"), "rt") as lines:
        for row in csv.DictReader(lines):
            at = datetime.fromisoformat(row["ts"] + "+00:00").timestamp()
            rows.append((at, float(row["temp_c"]), float(row["rh_pct"])))
    expected, on, wrong_from, right_from = [], False, None, None
    for at, temp_c, _ in rows:
        if temp_c < limit_c:
            wrong_from, right_from = wrong_from or at, None
        elif temp_c >= limit_c + 0.5:
            right_from, wrong_from = right_from or at, None
        if not on and wrong_from and at - wrong_from >= 300:
            on = True
            expected.append((at, "raised"))
        elif on and right_from and at - right_from >= 600:
            on = False
            expected.append((at, "cleared"))

    piece = [layer(poured_at_s=rows[0][0], min_temp_c=limit_c)]
    state, found = AlarmState("room_too_cold", "room:s"), []
    for at, temp_c, humidity_pct in rows:
        cold = rules.room_now("s", at, temp_c, humidity_pct, piece)[0]
        state, change = states.step(state, rules.RULES[cold.key], cold)
        if change is not None:
            raised = change.after == "unacknowledged"
            found.append((change.at_s, "raised" if raised else "cleared"))

    assert len(expected) > 20
    assert found == expected


# --- the room to come


def futures(*temps_c, hours=24, step_s=900.0):
    """Paths that go linearly from 20 °C to each temperature over the hours."""
    at_s = T0 + step_s * np.arange(1, int(hours * 3600 / step_s) + 1)
    share = (at_s - T0) / (hours * 3600)
    temp_c = np.array([20.0 + (end - 20.0) * share for end in temps_c])
    return RoomPaths(at_s, temp_c, np.full_like(temp_c, 50.0))


def to_come(future, already_cold=None, **fields):
    layers = [layer(min_temp_c=15.0, **fields)]
    (found,) = rules.room_to_come("s", future, layers, T0, already_cold=already_cold)
    return found


def test_the_probability_of_cold_is_the_share_of_futures_that_fall_below():
    found = to_come(futures(10.0, 10.0, 10.0, 18.0))

    assert (found.wrong, found.value) == (True, 0.75)  # at least three in four
    # 20 to 10 °C in 24 h crosses 15 °C after 12 h; the next point of the path is below.
    assert found.words == f"Likely below 15 °C from {moment(T0 + 43200 + 900)}: too cold for Tray."


def test_what_is_near_needs_fewer_futures():
    near = futures(10.0, 19.0, hours=8)  # crosses 15 °C after 4 h
    far = futures(10.0, 19.0, hours=24)  # after 12 h

    assert (to_come(near).wrong, to_come(near).value) == (True, 0.5)
    assert (to_come(far).wrong, to_come(far).value) == (None, 0.5)


def test_the_neediest_layer_sets_the_limit_of_the_future_too():
    both = [layer(1, min_temp_c=15.0), layer(2, name="River table", min_temp_c=18.0)]

    (found,) = rules.room_to_come("s", futures(17.0), both, T0)

    assert found.wrong is True
    assert found.words.endswith("too cold for River table.")


def test_cold_that_is_more_than_a_day_away_can_wait():
    # 20 to 10 °C in 72 h crosses 15 °C after 36 h, beyond the sight of 24 h.
    assert to_come(futures(10.0, hours=72)).wrong is False


def test_some_cold_futures_are_no_warning_few_take_one_back_and_none_is_all_well():
    assert to_come(futures(10.0, *[18.0] * 9)).wrong is None
    assert to_come(futures(10.0, *[18.0] * 24)).wrong is False
    assert to_come(futures(18.0, 19.0)).wrong is False
    assert to_come(futures(18.0, 19.0)).value == 0.0


def test_a_room_that_is_cold_already_is_not_going_to_be():
    cold = futures(10.0, 10.0)
    cold = RoomPaths(cold.at_s, cold.temp_c - 10.0, cold.humidity_pct)

    assert to_come(cold).meaningful is False
    # The alarm of the present knows better than a forecast's first point.
    assert to_come(futures(10.0), already_cold=True).meaningful is False
    assert to_come(cold, already_cold=False).wrong is True


def test_with_nothing_curing_the_future_is_nobodys_business():
    assert to_come(futures(10.0), ended_at_s=T0 - 1).meaningful is False


def test_without_a_future_nothing_is_said():
    empty = RoomPaths(np.empty(0), np.empty((0, 0)), np.empty((0, 0)))

    assert to_come(empty).wrong is None


# --- the works


def works(**fields):
    well = {
        "last_heard_s": {"home/n1": T0 - 30},
        "silent_after_s": 900.0,
        "clock_set": True,
        "disk_free_bytes": 5e9,
        "broker_connected": True,
        "channel_faults": {"mail": None},
        "dropped_shares": {"home/n1/air": 0.0},
    }
    return {c.key: c for c in rules.works(T0, **{**well, **fields})}


def test_when_all_is_well_every_part_says_so():
    assert {key: found.wrong for key, found in works().items()} == dict.fromkeys(
        [
            *("sensor_silent", "sensor_doubtful", "clock_not_set"),
            *("disk_low", "broker_away", "channel_failing"),
        ],
        False,
    )


@pytest.mark.parametrize(
    ("key", "subject", "fields"),
    [
        ("sensor_silent", "node:home/n1", {"last_heard_s": {"home/n1": T0 - 901}}),
        ("sensor_doubtful", "room:home/n1/air", {"dropped_shares": {"home/n1/air": 0.21}}),
        ("clock_not_set", "works:clock", {"clock_set": False}),
        ("disk_low", "works:disk", {"disk_free_bytes": 1e8}),
        ("broker_away", "works:broker", {"broker_connected": False}),
        ("channel_failing", "works:channel:mail", {"channel_faults": {"mail": "no route"}}),
    ],
)
def test_each_failing_part_is_named(key, subject, fields):
    found = works(**fields)

    assert (found[key].wrong, found[key].subject) == (True, subject)
    assert [c.key for c in found.values() if c.wrong] == [key]


def test_a_last_reading_in_the_future_is_a_fault_not_freshness():
    ahead = works(last_heard_s={"home/n1": T0 + 601})["sensor_silent"]
    assert ahead.wrong
    assert "its time lies in the future" in ahead.words
    assert works(last_heard_s={"home/n1": T0 + 599})["sensor_silent"].wrong is False


def test_what_is_not_known_is_not_judged():
    found = works(
        last_heard_s={"home/n1": None},
        clock_set=None,
        disk_free_bytes=None,
        broker_connected=None,
        dropped_shares={"home/n1/air": None},
        channel_faults={},
    )

    assert {c.wrong for c in found.values()} == {None}


def test_moments_become_local_time_at_the_edge():
    words = f"Below 15 °C from {moment(T0)} to {moment(T0 + DAY_S)}."

    assert (
        local_words(words, lambda at_s: f"<{at_s - T0:.0f}>") == "Below 15 °C from <0> to <86400>."
    )
    with pytest.raises(ValueError, match="not a time"):
        moment(math.nan)
