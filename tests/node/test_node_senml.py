"""Messages that are not as they should be, and the round trip of those that are."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_side.senml import SenmlError, SenmlRecord, encode, read, resolve

NOW_S = 1_764_000_000.0
GOOD = {"n": "bench/dht22/temperature", "u": "Cel", "v": 21.5, "t": NOW_S}


def message(*records):
    return json.dumps(list(records)).encode()


def test_it_keeps_the_good_records_beside_a_bad_one():
    good, faults = read(message(GOOD, {**GOOD, "v": "warm"}, {**GOOD, "v": 22.0}), NOW_S)

    assert [r.value for r in good] == [21.5, 22.0]
    assert faults == [
        "wrong type: v of record 2 ('bench/dht22/temperature') is a string, expected a number"
    ]


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"v": True}, "wrong type"),
        ({"v": None}, "wrong type"),
        ({"v": [1]}, "wrong type"),
        ({"v": 10**400}, "not a finite number"),
        ({"t": False}, "wrong type"),
        ({"t": "now"}, "wrong type"),
        ({"t": 10**400}, "not a finite number"),
        ({"n": 5}, "wrong type"),
        ({"n": "a b"}, "wrong name"),
        ({"n": "a" * 201}, "wrong name"),
        ({"u": 5}, "wrong type"),
        ({"seq": 1.5}, "wrong type"),
        ({"seq": True}, "wrong type"),
        ({"seq": -1}, "wrong type"),
        ({"low": 2**60}, "wrong type"),
        ({"boot": 5}, "wrong type"),
        ({"boot": ""}, "wrong type"),
        ({"vb": True}, "more than one value"),
    ],
)
def test_it_names_what_is_wrong_with_a_record(change, reason):
    good, faults = read(message({**GOOD, **change}, GOOD), NOW_S)

    assert len(good) == 1
    assert [fault.split(":")[0] for fault in faults] == [reason]


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "not JSON"),
        (b"21.5 degC", "not JSON"),
        (b"\xff\xfe", "not JSON"),
        (b"[" * 100_000, "not JSON"),
        (b"[" + b"9" * 10_000 + b"]", "not JSON"),
        (b"{}", "not SenML"),
        (b"[]", "not SenML"),
        (b"null", "not SenML"),
        (b"[1]", "not a record"),
        (b"[[]]", "not a record"),
        (b'[{"n":"a"}]', "no value"),
        (b'[{"v":1,"u":"Cel"}]', "no name"),
        (b'[{"n":"a","v":1}]', "no unit"),
        (b'[{"n":"a","u":"Cel","vs":"x"}]', "not a number"),
        (b'[{"n":"a","u":"Cel","vb":true}]', "not a number"),
        (b'[{"n":"a","u":"Cel","s":1}]', "not a number"),
        (b'[{"n":"a","u":"Cel","v":NaN}]', "not a finite number"),
        (b'[{"n":"a","u":"Cel","v":-Infinity}]', "not a finite number"),
        (b'[{"n":"a","u":"Cel","v":1e999}]', "not a finite number"),
        (b'[{"bver":true,"n":"a","u":"Cel","v":1}]', "unknown version"),
        (b" " * 1_000_001, "message too large"),
    ],
)
def test_it_refuses_with_a_named_reason(payload, reason):
    good, faults = read(payload, NOW_S)

    assert good == []
    assert [fault.split(":")[0] for fault in faults] == [reason]


def test_it_refuses_more_records_than_it_was_told_to_take():
    good, faults = read(message(*[GOOD] * 11), NOW_S, max_records=10)

    assert (good, faults) == ([], ["too many records: 11, at most 10"])


def test_it_does_not_lean_on_a_base_field_that_could_not_be_read():
    pack = message(
        {"bn": "bench/", "bt": "yesterday", "n": "a", "u": "Cel", "v": 1},
        {"n": "b", "u": "Cel", "v": 2},
        {"bt": NOW_S, "n": "c", "u": "Cel", "v": 3},
    )

    good, faults = read(pack, NOW_S)

    assert [r.name for r in good] == ["bench/c"]
    assert [fault.split(":")[0] for fault in faults] == ["wrong type", "base field unreadable"]


def test_it_carries_the_numbering_of_the_node():
    record = SenmlRecord("n/s/temperature", "Cel", 21.5, NOW_S, seq=7, boot="abc", low=3)

    good, faults = read(encode([record], "n/s/"), 0.0)

    assert (good, faults) == ([record], [])


def test_it_sends_undated_readings_relative_to_now():
    uptime_s = 500.0
    record = SenmlRecord("n/s/temperature", "Cel", 21.5, 480.0)

    payload = encode([record], "n/s/", relative_to_s=uptime_s)

    assert json.loads(payload) == [
        {"bn": "n/s/", "n": "temperature", "u": "Cel", "t": -20, "v": 21.5}
    ]
    assert read(payload, NOW_S)[0][0].at_s == NOW_S - 20.0


def test_it_will_not_write_a_name_outside_its_base():
    with pytest.raises(SenmlError, match=r"'x/temperature' does not start with 'n/s/'"):
        encode([SenmlRecord("x/temperature", "Cel", 1.0, NOW_S)], "n/s/")


numbers = st.floats(allow_nan=False, allow_infinity=False, min_value=-1e6, max_value=1e6)


@given(
    st.lists(
        st.builds(
            SenmlRecord,
            st.sampled_from(["n/s/temperature", "n/s/humidity"]),
            st.sampled_from(["Cel", "%RH"]),
            numbers,
            # Whole milliseconds: what the wire keeps.
            st.integers(1_600_000_000_000, 2_000_000_000_000).map(lambda ms: ms / 1000),
            st.integers(0, 2**53 - 1),
            st.text("0123456789abcdef", min_size=1, max_size=12),
            st.integers(0, 2**53 - 1),
        ),
        min_size=1,
        max_size=20,
    )
)
def test_what_is_written_is_read_back(records):
    good, faults = read(encode(records, "n/s/"), NOW_S)

    assert faults == []
    assert len(good) == len(records)
    for before, after in zip(records, good, strict=True):
        # Base time and offset are added in doubles: 2e9 s leaves 2.4e-7 s.
        assert math.isclose(after.at_s, before.at_s, abs_tol=1e-6)
        assert (after.name, after.unit, after.value) == (before.name, before.unit, before.value)
        assert (after.seq, after.boot, after.low) == (before.seq, before.boot, before.low)


@given(st.binary(max_size=300))
def test_no_bytes_make_it_raise(payload):
    read(payload, NOW_S)


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3)
    ),
    max_leaves=5,
)
labels = st.sampled_from(
    ["bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut", "seq"]
)


@given(st.lists(st.dictionaries(labels, json_values, max_size=6), max_size=4))
def test_no_records_make_it_raise_or_give_a_number_that_is_none(pack):
    good, _ = read(json.dumps(pack).encode(), NOW_S)

    assert all(math.isfinite(r.value) and math.isfinite(r.at_s) for r in good)


def test_strict_reading_refuses_the_whole_message():
    with pytest.raises(SenmlError, match="record 2"):
        resolve(message(GOOD, {**GOOD, "v": True}), NOW_S)
