"""SenML against RFC 8428: the examples of its section 5, as the standard prints them."""

import json

import pytest

from firmware_side.senml import SenmlError, read, resolve

NOW_S = 1_764_000_000.0
DEVICE = "urn:dev:ow:10e2073a01080063"


def test_it_resolves_the_single_data_point_of_section_5_1_1():
    payload = b'[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'

    (record,) = resolve(payload, NOW_S)

    assert (record.name, record.unit, record.value, record.at_s) == (DEVICE, "Cel", 23.1, NOW_S)


def test_it_resolves_base_name_and_units_of_section_5_1_2():
    payload = (
        b'[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},'
        b'{"n":"current","u":"A","v":1.2}]'
    )

    voltage, current = resolve(payload, NOW_S)

    assert (voltage.name, voltage.unit, voltage.value) == (DEVICE + ":voltage", "V", 120.1)
    assert (current.name, current.unit, current.value) == (DEVICE + ":current", "A", 1.2)


def test_it_resolves_base_time_unit_and_version_of_section_5_1_2():
    payload = (
        b'[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,'
        b'"n":"voltage","u":"V","v":120.1},{"n":"current","t":-5,"v":1.2},'
        b'{"n":"current","t":-4,"v":1.3},{"n":"current","t":-3,"v":1.4},'
        b'{"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},{"n":"current","v":1.7}]'
    )

    records = resolve(payload, NOW_S)

    assert [r.unit for r in records] == ["V"] + ["A"] * 6
    assert [r.value for r in records] == [120.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7]
    offsets = [0, -5, -4, -3, -2, -1, 0]
    assert [r.at_s for r in records] == [1_276_020_076.001 + offset for offset in offsets]


def test_it_resolves_section_5_1_3_to_the_table_of_section_5_1_4():
    payload = (
        b'[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},'
        b'{"u":"lon","v":24.30621},{"u":"lat","v":60.07965},{"t":60,"v":20.3},'
        b'{"u":"lon","t":60,"v":24.30622},{"u":"lat","t":60,"v":60.07965},{"t":120,"v":20.7},'
        b'{"u":"lon","t":120,"v":24.30623},{"u":"lat","t":120,"v":60.07966},'
        b'{"u":"%EL","t":150,"v":98},{"t":180,"v":21.2},{"u":"lon","t":180,"v":24.30628},'
        b'{"u":"lat","t":180,"v":60.07967}]'
    )

    records = resolve(payload, NOW_S)

    assert {r.name for r in records} == {DEVICE}
    table = [
        ("%RH", 1320067464, 20),
        ("lon", 1320067464, 24.30621),
        ("lat", 1320067464, 60.07965),
        ("%RH", 1320067524, 20.3),
        ("lon", 1320067524, 24.30622),
        ("lat", 1320067524, 60.07965),
        ("%RH", 1320067584, 20.7),
        ("lon", 1320067584, 24.30623),
        ("lat", 1320067584, 60.07966),
        ("%EL", 1320067614, 98),
        ("%RH", 1320067644, 21.2),
        ("lon", 1320067644, 24.30628),
        ("lat", 1320067644, 60.07967),
    ]
    assert [(r.unit, r.at_s, r.value) for r in records] == table


def test_it_resolves_the_collection_of_section_5_1_6():
    payload = (
        b'[{"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},'
        b'{"n":"humidity","u":"%RH","v":30},'
        b'{"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},'
        b'{"n":"humidity","u":"%RH","v":67}]'
    )

    good, faults = read(payload, NOW_S)

    assert faults == []
    assert [(r.name, r.unit, r.value) for r in good] == [
        ("2001:db8::2/temperature", "Cel", 25.2),
        ("2001:db8::2/humidity", "%RH", 30.0),
        ("2001:db8::1/temperature", "Cel", 12.3),
        ("2001:db8::1/humidity", "%RH", 67.0),
    ]
    assert {r.at_s for r in good} == {1_320_078_429.0}


# Section 4.5.3: times below 2**28 are relative to now, times from there on absolute.
@pytest.mark.parametrize(
    ("time_s", "expected_s"),
    [
        (0, NOW_S),
        (-5.5, NOW_S - 5.5),
        (60, NOW_S + 60),
        (2**28 - 1, NOW_S + 2**28 - 1),
        (2**28, float(2**28)),
    ],
)
def test_it_tells_relative_from_absolute_time_at_two_to_the_28(time_s, expected_s):
    payload = json.dumps([{"n": "a", "u": "Cel", "v": 1, "t": time_s}]).encode()

    assert resolve(payload, NOW_S)[0].at_s == expected_s


def test_it_refuses_a_label_that_must_be_understood():
    # Section 4.4: a label that ends in "_" and is not known is an error.
    with pytest.raises(SenmlError, match="must-understand label: 'odd_' in record 2"):
        resolve(b'[{"n":"a","v":1},{"n":"b","v":2,"odd_":0}]', NOW_S)


def test_it_passes_over_labels_it_does_not_know():
    # Section 4.4: other unknown labels are ignored.
    assert len(resolve(b'[{"n":"a","v":1,"odd":{"x":[1]},"ut":3600}]', NOW_S)) == 1


def test_it_refuses_a_version_above_ten():
    # Section 4.4: the document is version 10, and newer ones must be refused.
    with pytest.raises(SenmlError, match="unknown version"):
        resolve(b'[{"bver":11,"n":"a","v":1}]', NOW_S)


# Section 4.5.1: which characters a name may have, and how it may begin.
@pytest.mark.parametrize("name", ["a", "0", "A-b:c.d/e_f9", "urn:dev:mac:0024befffe804ff1/x"])
def test_it_takes_names_of_the_allowed_characters(name):
    assert resolve(json.dumps([{"n": name, "v": 1}]).encode(), NOW_S)[0].name == name


@pytest.mark.parametrize("name", ["", "/a", "_a", "a b", "é", "a\n", "a#", "a+b"])
def test_it_refuses_other_names(name):
    with pytest.raises(SenmlError, match=r"^(wrong|no) name: "):
        resolve(json.dumps([{"n": name, "v": 1}]).encode(), NOW_S)


def test_it_adds_base_value_and_base_sum():
    # Sections 4.1 and 4.6: base value and base sum are added to value and sum.
    first, second = resolve(b'[{"n":"a","bv":20,"bs":5,"v":1.5,"s":1},{"n":"a","v":2}]', NOW_S)

    assert (first.value, first.sum) == (21.5, 6.0)
    assert (second.value, second.sum) == (22.0, 5.0)
