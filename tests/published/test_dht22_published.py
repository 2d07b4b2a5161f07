"""The DHT22 against its datasheet, through the real library's decoder."""

import random

import pytest
from node.dht22_wire import Wire, frame, pulses, sensor

from firmware_side.sensors.base import SensorFault

METHODS = ["pulse", "bitbang"]


def bits(text):
    digits = text.replace(" ", "")
    return bytes(int(digits[i : i + 8], 2) for i in range(0, 40, 8))


# The datasheet's worked example (published by the maker, quoted in many drivers).
EXAMPLE = bits("0000 0010 1000 1100 0000 0001 0101 1111 1110 1110")
# Its example of a temperature below zero, 1000 0000 0110 0101, in a full frame.
NEGATIVE = bits("0000 0010 1000 1100 1000 0000 0110 0101 0111 0011")


@pytest.mark.parametrize("method", METHODS)
def test_it_reads_the_datasheets_example(monkeypatch, method):
    wire = Wire()
    wire.say(*[pulses(EXAMPLE)] * 3)

    sample = sensor(monkeypatch, wire, method=method).read()

    assert (sample.temp_c, sample.humidity_pct) == (35.1, 65.2)


@pytest.mark.parametrize("method", METHODS)
def test_it_reads_the_datasheets_temperature_below_zero(monkeypatch, method):
    wire = Wire()
    wire.say(*[pulses(NEGATIVE)] * 3)

    sample = sensor(monkeypatch, wire, method=method).read()

    assert (sample.temp_c, sample.humidity_pct) == (-10.1, 65.2)


def test_it_waits_two_seconds_between_readings_as_the_datasheet_asks(monkeypatch):
    wire = Wire()
    wire.say(*[pulses(EXAMPLE)] * 6)
    dht = sensor(monkeypatch, wire)
    started_s = wire.clock.s

    dht.read()
    dht.read()

    assert wire.reads == 6
    assert wire.clock.s - started_s >= 5 * 2.0


def test_it_accepts_no_wrong_value_in_ten_thousand_jittered_frames(monkeypatch):
    wire, chance = Wire(), random.Random(22)
    dht = sensor(monkeypatch, wire, readings=2)
    refused = 0
    for _ in range(5_000):
        truth = (chance.randint(-400, 800) / 10, chance.randint(1, 1000) / 10)
        wire.say(*[pulses(frame(*truth), chance) for _ in range(2)])
        try:
            sample = dht.read()
        except SensorFault:
            refused += 1
            continue
        assert (sample.temp_c, sample.humidity_pct) == truth

    assert wire.reads == 10_000
    assert refused == 0  # within the datasheet a one and a zero are 38 us apart


def test_it_accepts_none_of_ten_thousand_frames_with_a_flipped_bit(monkeypatch):
    wire, chance = Wire(), random.Random(40)
    dht = sensor(monkeypatch, wire, readings=1, attempts=1)
    for n in range(10_000):
        data = bytearray(frame(chance.randint(-400, 800) / 10, chance.randint(1, 1000) / 10))
        data[n // 8 % 5] ^= 1 << n % 8
        wire.say(pulses(bytes(data), chance))
        with pytest.raises(SensorFault, match="Checksum"):
            dht.read()

    assert wire.reads == 10_000


def test_it_refuses_errors_that_cancel_in_the_checksum(monkeypatch):
    # 03 8C 00 5F EE passes the checksum as 90.8 %RH and 9.5 degC (computed).
    wire = Wire()
    dht = sensor(monkeypatch, wire)
    wire.say(pulses(EXAMPLE), pulses(bytes.fromhex("038c005fee")), pulses(EXAMPLE))

    sample = dht.read()

    assert (sample.temp_c, sample.humidity_pct) == (35.1, 65.2)
