"""Reading quality: each fault as it is in the field, and what is no fault."""

from __future__ import annotations

import csv
import gzip
from datetime import UTC, datetime

import numpy as np
import pytest
from opendata import open_data

from monitor.core.room.quality import Flag, judge, reason_words, room_series

STEP_S = 600.0
T0_S = 1_700_000_000.0


def room(rows=1_000, step_s=STEP_S, seed=1):
    """A made-up sound room at the DHT22's resolution of 0.1: a daily wave and some noise."""
    rng = np.random.default_rng(seed)
    at = T0_S + step_s * np.arange(rows)
    wave = np.sin(at / 86_400 * 2 * np.pi)
    temp = np.round(20 + 1.5 * wave + rng.normal(0, 0.08, rows), 1)
    humidity = np.round(45 - 4 * wave + rng.normal(0, 0.3, rows), 1)
    return at, temp, humidity


def test_a_sound_room_is_not_blamed():
    assert not judge(*room()).any()


@pytest.mark.parametrize(
    ("temp_c", "humidity_pct", "flag"),
    [
        # The first two as real loggers wrote them: raw DHT22 log of the open data.
        (-0.1, 255.0, Flag.SENTINEL),
        (-200.0, 255.0, Flag.SENTINEL),
        (0.0, 0.0, Flag.SENTINEL),  # 40 zero bits: the checksum of nothing is nothing
        (-3266.7, 40.0, Flag.RANGE),  # -10.1 degC read as two's complement, physics notes 8.1
        (20.0, 130.0, Flag.RANGE),
        (float("nan"), 40.0, Flag.MISSING),
        (20.0, 1.0, Flag.HUMIDITY_STUCK),
        (20.0, 99.9, Flag.HUMIDITY_STUCK),
        # A compensating bit error the checksum lets through: 65.2 %, 35.1 degC read so.
        (9.5, 90.8, Flag.SPIKE),
    ],
)
def test_one_bad_reading_is_flagged_and_its_neighbours_are_not(temp_c, humidity_pct, flag):
    at, temp, humidity = room()
    temp[500], humidity[500] = temp_c, humidity_pct
    flags = judge(at, temp, humidity)
    assert flags[500] & flag
    assert np.count_nonzero(flags) == 1


def test_a_leap_stays_in_doubt_until_the_next_reading_bears_it_out():
    at, temp, humidity = room(300)
    temp[-1] += 6.0
    assert judge(at, temp, humidity)[-1] == Flag.SPIKE
    # A heater, not a bit error: the next readings stay up there.
    temp[-3:] = temp[-4] + 6.0
    assert not judge(at, temp, humidity)[-3:].any()


def test_a_value_that_repeats_for_half_a_day_is_frozen():
    at, temp, humidity = room()
    temp[400:472], humidity[400:472] = temp[400], humidity[400]
    frozen = (judge(at, temp, humidity) & Flag.FROZEN) != 0
    assert frozen[400:472].all()
    assert np.count_nonzero(frozen) <= 74  # a neighbour may happen to be the same


def test_a_steady_room_read_coarsely_is_not_frozen():
    """Whole per cents in a climate chamber repeat for a day (seen in the raw DHT22 log)."""
    rng = np.random.default_rng(2)
    rows = 1_500
    at = T0_S + 3_600.0 * np.arange(rows)
    temp = np.round(29.0 + 0.04 * np.cumsum(rng.choice((-1, 0, 0, 0, 1), rows)) / 3, 1)
    assert not judge(at, temp, np.full(rows, 33.0)).any()


def test_fog_that_creeps_up_to_the_end_of_the_scale_is_weather():
    at, temp, humidity = room()
    humidity[300:400] = np.concatenate(
        (np.linspace(50, 99.9, 40), np.full(20, 99.9), np.linspace(99.8, 50, 40))
    )
    assert not (judge(at, temp, humidity) & Flag.HUMIDITY_STUCK).any()


def test_a_clock_that_woke_in_1970_is_flagged():
    at, temp, humidity = room()
    at[:3] = (-10_799.0, 20.0, 620.0)
    flags = judge(at, temp, humidity)
    assert (flags[:3] == Flag.CLOCK).all()
    assert not flags[3:].any()


def test_an_hour_stamped_twice_is_flagged_where_the_stamps_jumped_ahead():
    at, temp, humidity = room()
    at[500:506] += 3_600.0
    flags = judge(at, temp, humidity)
    assert (flags[500:506] == Flag.DUPLICATE_HOUR).all()
    assert np.count_nonzero(flags) == 6


def test_late_rows_are_no_fault_and_early_ones_are():
    at, temp, humidity = room()
    received = at + 2.0
    received[100:200] += 50_000.0  # an outbox emptied after an outage
    order = np.argsort(received, kind="stable")
    at[700] += 4_000.0  # stamped ahead of its own arrival
    flags = judge(at[order], temp[order], humidity[order], received[order])
    assert np.count_nonzero(flags) == 1
    assert flags[order == 700] == Flag.CLOCK


def test_two_rooms_under_one_name_are_told():
    at, temp, humidity = room()
    temp[300:400:2] += 4.0
    flags = judge(at, temp, humidity)
    assert np.count_nonzero(flags[300:400] & Flag.TWO_ROOMS) >= 95
    assert not flags[:270].any()


def test_humidity_that_marches_up_for_weeks_is_drift_and_stays_in_use():
    at, temp, humidity = room(30 * 144)
    humidity = np.round(humidity + 0.9 * (at - T0_S) / 86_400, 1)
    flags = judge(at, temp, humidity)
    assert (flags & Flag.DRIFT).all()
    assert room_series(at, temp, humidity).at_s.size == at.size


def test_the_series_is_in_time_order_counts_what_it_left_out_and_adds_offsets():
    at, temp, humidity = room()
    temp[10], humidity[10] = -200.0, 255.0
    humidity[600:640] = 1.0
    order = np.random.default_rng(3).permutation(at.size)
    # Shuffled as far as time goes: an outbox has no order to promise.
    series = room_series(
        at[order], temp[order], humidity[order], 0.5, -2.0, received_s=np.full(at.size, at[-1])
    )
    assert (np.diff(series.at_s) > 0).all()
    assert series.dropped["read failure"] == 1
    plain = room_series(at, temp, humidity, 0.5, -2.0)
    assert plain.dropped["humidity filled in, temperature kept"] == 40
    assert plain.at_s.size == at.size - 1
    kept = np.delete(np.arange(at.size), 10)
    np.testing.assert_allclose(plain.temp_c, temp[kept] + 0.5)
    # Filled humidity lies between its sound neighbours, less the offset.
    assert 30.0 < plain.humidity_pct[599:639].min() < plain.humidity_pct[599:639].max() < 60.0


def test_nothing_and_one_reading_are_judged_too():
    empty = np.empty(0)
    assert judge(empty, empty, empty).size == 0
    assert room_series(empty, empty, empty).at_s.size == 0
    assert judge(np.array([T0_S]), np.array([20.0]), np.array([50.0])).tolist() == [0]


def test_shapes_that_differ_are_refused_by_name():
    with pytest.raises(ValueError, match="one length"):
        judge(np.zeros(3), np.zeros(2), np.zeros(3))


def test_reasons_are_words():
    assert reason_words(Flag.SPIKE | Flag.CLOCK) == ("spike", "clock not set")
    assert reason_words(0) == ()


def test_the_labelled_office_is_told_apart():
    """Targets of this project: 95 % of faulty rows flagged, 0.5 % of good ones at most."""
    name = "labelled/LABELLED_energy_office_2016-01-11_03-31.csv.gz"
    with gzip.open(open_data(name), "rt") as file:
        rows = list(csv.DictReader(file))
    at = [datetime.fromisoformat(row["ts"]).replace(tzinfo=UTC).timestamp() for row in rows]
    values = np.array([[float(row["temp_c"]), float(row["rh_pct"])] for row in rows])
    flagged = judge(np.array(at), *values.T) > 0
    bad = np.array([row["label"] != "ok" for row in rows])
    assert np.mean(flagged[bad]) >= 0.95
    assert np.mean(flagged[~bad]) <= 0.005


def test_the_chambers_failed_reads_are_told_and_their_steadiness_is_not_blamed():
    with gzip.open(open_data("indoor/raw_dht22_chambers_s09-12_s17-20.csv.gz"), "rt") as file:
        rows = list(csv.DictReader(file, delimiter=";"))
    good = good_flagged = failed = failed_flagged = 0
    for sensor in {row["ID_SENSOR"] for row in rows}:
        own = [row for row in rows if row["ID_SENSOR"] == sensor]
        columns = ("TIMESTAMP", "TEMPERATURE", "HUMIDITY")
        at, temp, humidity = np.array([[float(row[c]) for c in columns] for row in own]).T
        flagged = judge(at, temp, humidity) > 0
        bad = (humidity == 255.0) | (at < 1e9)
        failed, failed_flagged = failed + bad.sum(), failed_flagged + flagged[bad].sum()
        good, good_flagged = good + (~bad).sum(), good_flagged + flagged[~bad].sum()
    assert failed_flagged >= 0.95 * failed
    assert good_flagged <= 0.005 * good
