"""Messages that cannot be believed: each refused for one reason, the good ones beside it kept."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor import validation

NOW = 1_790_000_000.0
GOOD = {"n": "bench/air/temperature", "u": "Cel", "v": 21.5, "t": NOW}
GOOD_HUMIDITY = {"n": "bench/air/humidity", "u": "%RH", "v": 48.0, "t": NOW}


def judge(message):
    payload = message if isinstance(message, bytes) else json.dumps(message).encode()
    return validation.senml_message("home", "bench", payload, NOW)


def test_a_good_message_is_one_sample():
    verdict = judge([GOOD, GOOD_HUMIDITY])
    assert verdict.refused == {}
    (one,) = verdict.arrivals
    assert (one.sensor, one.taken_at_s, one.temp_c, one.humidity_pct) == (
        "home/bench/air",
        NOW,
        21.5,
        48.0,
    )


@pytest.mark.parametrize(
    ("bad", "reason"),
    [
        ({**GOOD, "u": "F", "n": "a/temperature"}, "wrong unit for temperature"),
        ({**GOOD, "u": "K", "n": "a/temperature"}, "wrong unit for temperature"),
        ({**GOOD_HUMIDITY, "v": 140, "n": "a/humidity"}, "humidity outside 0 to 100"),
        ({**GOOD_HUMIDITY, "v": 255, "n": "a/humidity"}, "humidity outside 0 to 100"),
        ({**GOOD, "v": -3266.7, "n": "a/temperature"}, "temperature outside -40 to 80"),
        ({**GOOD, "v": math.nan, "n": "a/temperature"}, "not a finite number"),
        ({**GOOD, "v": math.inf, "n": "a/temperature"}, "not a finite number"),
        ({**GOOD, "v": "21.5", "n": "a/temperature"}, "wrong type"),
        ({**GOOD, "v": True, "n": "a/temperature"}, "wrong type"),
        ({**GOOD, "t": 300_000_000, "n": "a/temperature"}, "time before 2000"),
        ({**GOOD, "t": 4_102_444_800, "n": "a/temperature"}, "time in the future"),
        ({**GOOD, "n": "a/voltage", "u": "V"}, "not a room quantity"),
        ({**GOOD_HUMIDITY, "n": "b/humidity"}, "humidity without a temperature beside it"),
        ("not an object", "not a record"),
        (None, "not a record"),
    ],
)
def test_a_bad_record_costs_only_itself(bad, reason):
    verdict = judge([GOOD, bad, GOOD_HUMIDITY])
    assert [one.temp_c for one in verdict.arrivals] == [21.5]
    assert [found.startswith(reason) for found in verdict.refused] == [True]
    assert list(verdict.refused.values()) == [1]
    assert verdict.example


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "not JSON"),
        (b"21.5 degrees", "not JSON"),
        (b"\xff\xfe", "not JSON"),
        (b"[" * 5000, "not JSON"),
        (b"{}", "not SenML"),
        (b"[]", "not SenML"),
        (b'[{"n":"a/temperature","u":"Cel","v":1e999}]', "not a finite number"),
        (b'[{"n":"a/temperature","u":"Cel","v":21,"now_":1}]', "must-understand label"),
        (json.dumps([GOOD] * 5001).encode(), "too many records"),
        (b"[" + b"{}," * 1_000_000 + b"{}]", "message too large"),
    ],
    ids=lambda value: str(value)[:24],
)
def test_a_message_that_is_none_is_refused_whole(payload, reason):
    verdict = judge(payload)
    assert verdict.arrivals == ()
    assert {found.partition(":")[0] for found in verdict.refused} == {reason}


def test_sample_numbers_are_dealt_with_even_where_the_value_is_not_believed():
    pair = {"seq": 7, "boot": "x", "low": 3}
    verdict = judge([{**GOOD, "v": 999, **pair}, {**GOOD_HUMIDITY, **pair}])
    assert verdict.arrivals == ()
    assert [(one.boot, one.seq) for one in verdict.handled] == [("x", 7)]
    assert verdict.lows == {"x": 3}


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("bench/air/temperature", "home/bench/air"),
        ("temperature", "home/bench/air"),
        ("surface/temperature", "home/bench/surface"),
        ("urn:dev:ow:10e2073a01080063:temperature", "home/bench/urn:dev:ow:10e2073a01080063"),
        ("a/b/c/temperature", "home/bench/a.b.c"),
    ],
)
def test_the_sensor_is_named_by_what_stands_before_the_quantity(name, key):
    assert [one.sensor for one in judge([{**GOOD, "n": name}]).arrivals] == [key]


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
        lambda inner: (
            st.lists(inner, max_size=4)
            | st.dictionaries(
                st.sampled_from(["n", "u", "v", "t", "bn", "bt", "seq", "boot", "low", "x"]), inner
            )
        ),
        max_leaves=12,
    )
)
def test_no_json_whatsoever_is_an_accident(value):
    verdict = validation.senml_message("home", "bench", json.dumps(value).encode(), NOW)
    assert all(-40 <= one.temp_c <= 80 for one in verdict.arrivals)
    assert verdict.arrivals or verdict.refused


FIELDS = validation.Fields("probe", "climate.temp", "climate.rh")


def test_a_strangers_sensor_is_read_by_the_fields_named_for_it():
    payload = b'{"climate": {"temp": 19.25, "rh": 61}, "battery": 3.1}'
    verdict = validation.foreign_message("home", "hall", FIELDS, payload, NOW)
    assert [(a.sensor, a.temp_c, a.humidity_pct) for a in verdict.arrivals] == [
        ("home/hall/probe", 19.25, 61.0)
    ]


def test_a_strangers_fahrenheit_is_turned_into_celsius():
    fields = validation.Fields("probe", "t", "", fahrenheit=True)
    verdict = validation.foreign_message("home", "hall", fields, b'{"t": 73.4}', NOW)
    assert verdict.arrivals[0].temp_c == pytest.approx(23.0)


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"nonsense", "not JSON"),
        (b'{"climate": 3}', "no number under 'climate.temp'"),
        (b'{"climate": {"temp": NaN}}', "no number under 'climate.temp'"),
        (b'{"climate": {"temp": 300}}', "temperature outside -40 to 80"),
    ],
)
def test_a_strangers_bad_value_is_refused_with_its_reason(payload, reason):
    verdict = validation.foreign_message("home", "hall", FIELDS, payload, NOW)
    assert verdict.arrivals == ()
    assert list(verdict.refused) == [reason]


def test_a_low_above_its_own_number_is_refused_with_the_reason_and_moves_nothing():
    """Believed, 'committed through' would pass over 900 samples that never came."""
    numbers = {"boot": "a", "seq": 1, "low": 900}
    for record in ({**GOOD, **numbers}, {**GOOD, **numbers, "v": "not a number"}):
        verdict = judge([{**GOOD, "t": NOW - 10, "boot": "a", "seq": 0, "low": 0}, record])
        assert (verdict.arrivals, verdict.handled, verdict.lows) == ((), (), {})
        assert verdict.refused == {"low above seq": 1}
        assert "seq 1 and low 900" in verdict.example
    honest = judge([{**GOOD, "boot": "a", "seq": 900, "low": 900}])
    assert (honest.refused, honest.lows) == ({}, {"a": 900})
