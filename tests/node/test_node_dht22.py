"""The traps of the sensor and of its library, each closed."""

import builtins
import random
import signal
import threading
import types

import pytest
from node.dht22_wire import Wire, frame, pulses, real_library, sensor

from firmware_side.sensors.base import SensorFault
from firmware_side.sensors.dht22 import Dht22, judged, open_driver

WARM = pulses(frame(21.4, 48.0))


def test_an_all_zero_frame_is_no_reading(monkeypatch):
    wire = Wire()
    wire.say(*[pulses(bytes(5))] * 6)

    with pytest.raises(SensorFault, match="all-zero frame"):
        sensor(monkeypatch, wire).read()


def test_freezing_air_alone_is_a_reading(monkeypatch):
    wire = Wire()
    wire.say(*[pulses(frame(0.0, 61.5))] * 3)

    assert sensor(monkeypatch, wire).read().temp_c == 0.0


def test_lost_first_edges_are_no_reading_when_watching_the_pin(monkeypatch):
    # High and low change places, every 50 us low is taken for a zero: the library says 0.0, 0.0.
    wire = Wire()
    wire.say(*[pulses(frame(35.1, 65.2))[3:]] * 6)

    with pytest.raises(SensorFault, match="all-zero frame"):
        sensor(monkeypatch, wire, method="bitbang").read()


def test_a_silent_sensor_never_gives_back_its_last_value(monkeypatch):
    wire = Wire()
    dht = sensor(monkeypatch, wire)
    wire.say(WARM, WARM, WARM)
    dht.read()

    with pytest.raises(SensorFault, match="check wiring"):
        dht.read()


@pytest.mark.parametrize(
    ("answer", "words"),
    [([], "check wiring"), (WARM[:60], "full buffer"), (pulses(frame(21.4, 101.0)), "unplaus")],
)
def test_it_says_why_there_is_no_reading(monkeypatch, answer, words):
    wire = Wire()
    wire.say(*[answer] * 6)

    with pytest.raises(SensorFault, match=words) as fault:
        sensor(monkeypatch, wire).read()

    assert not fault.value.permanent


# A clone that counts below zero in two's complement (reported by users, second-hand).
@pytest.mark.parametrize("temp_c", [-0.1, -10.1, -39.9])
def test_it_reads_clones_that_count_in_twos_complement(monkeypatch, temp_c):
    word = round(temp_c * 10) & 0xFFFF
    data = bytes([0x02, 0x8C, word >> 8, word & 255])
    wire = Wire()
    wire.say(*[pulses(data + bytes([sum(data) & 255]))] * 3)

    assert sensor(monkeypatch, wire).read().temp_c == temp_c


@pytest.mark.parametrize("temp_c", [80.1, 150.0, -3000.0])
def test_it_refuses_what_the_sensor_cannot_measure(temp_c):
    with pytest.raises(SensorFault, match="outside what it measures"):
        judged(temp_c, 50.0)


def test_it_tries_again_after_a_failed_reading(monkeypatch):
    wire = Wire()
    wire.say(WARM, [], WARM[:40], WARM)

    assert sensor(monkeypatch, wire).read().temp_c == 21.4
    assert wire.reads == 6


def test_the_middle_of_three_is_not_the_old_conversion(monkeypatch):
    wire = Wire()
    wire.say(pulses(frame(21.0, 48.0)), WARM, WARM)

    assert sensor(monkeypatch, wire).read().temp_c == 21.4


def test_readings_that_disagree_are_no_reading(monkeypatch):
    wire = Wire()
    wire.say(*[pulses(frame(10.0 + 2 * n, 40.0)) for n in range(6)])

    with pytest.raises(SensorFault, match=r"readings disagree: 10\.0 degC 40\.0 %, 12\.0"):
        sensor(monkeypatch, wire).read()


def test_a_lone_reading_counts_only_where_the_room_can_have_gone(monkeypatch):
    wire = Wire()
    dht = sensor(monkeypatch, wire)
    wire.say(WARM, WARM, WARM)
    dht.read()

    wire.say([], pulses(frame(21.7, 48.5)), [], [], [], [])
    assert dht.read().temp_c == 21.7

    wire.say([], pulses(frame(27.0, 48.5)), [], [], [], [])
    with pytest.raises(SensorFault, match="readings disagree"):
        dht.read()


def test_errors_that_cancel_in_the_checksum_never_become_a_reading(monkeypatch):
    # One bit down and one of the same weight up in another byte: the checksum holds.
    wire, chance, truth = Wire(), random.Random(3), (21.4, 48.0)
    dht = sensor(monkeypatch, wire)
    wire.say(*[pulses(frame(*truth))] * 3)
    dht.read()
    accepted = 0
    for _ in range(300):
        for _ in range(6):
            data = bytearray(frame(*truth))
            if chance.random() < 0.4:
                bit = 1 << chance.randrange(8)
                a, b = chance.sample(range(4), 2)
                if data[a] & bit and not data[b] & bit:
                    data[a] ^= bit
                    data[b] ^= bit
            wire.say(pulses(bytes(data), chance))
        try:
            sample = dht.read()
        except SensorFault:
            continue
        finally:
            wire.answers.clear()
        accepted += 1
        # What the filters let through is no larger than two readings may differ.
        assert abs(sample.temp_c - truth[0]) <= 0.5
        assert abs(sample.humidity_pct - truth[1]) <= 3.0

    assert accepted == 300


def test_stopping_ends_a_reading_at_once(monkeypatch):
    wire, stop = Wire(), threading.Event()
    dht = sensor(monkeypatch, wire, stop=stop)
    wire.say(WARM, WARM, WARM)
    stop.set()

    with pytest.raises(SensorFault, match="stopped while reading"):
        dht.read()


def test_it_begins_anew_when_the_helper_process_is_gone():
    opened = []

    class Broken:
        def measure(self):
            raise RuntimeError("Timed out waiting for PulseIn message.")

        def exit(self):
            opened.append("closed")

    def opener(pin, method):
        opened.append(pin)
        return Broken()

    dht = Dht22("D4", opener=opener, clock=Wire().clock)

    for _ in range(2):
        with pytest.raises(SensorFault, match="Timed out") as fault:
            dht.read()
        assert fault.value.permanent
    assert opened == ["D4", "closed", "D4", "closed"]


def test_it_falls_back_to_watching_the_pin_where_pulses_cannot_be_captured(monkeypatch):
    library = real_library(monkeypatch, Wire())
    del library.PulseIn
    import board

    monkeypatch.setattr(board, "D4", object(), raising=False)

    assert open_driver("D4", "auto")._use_pulseio is False
    with pytest.raises(SensorFault, match="DHT22 on D4") as fault:
        open_driver("D4", "pulse")
    assert fault.value.permanent


def test_a_pin_that_the_board_lacks_is_one_clear_line(monkeypatch):
    real_library(monkeypatch, Wire())

    with pytest.raises(SensorFault, match=r"has no pin 'D99'\. Set pin to one") as fault:
        Dht22("D99")

    assert fault.value.permanent


def test_a_missing_library_is_one_clear_line(monkeypatch):
    real_import = builtins.__import__

    def without(name, *rest):
        if name == "adafruit_dht":
            raise ModuleNotFoundError("No module named 'adafruit_dht'")
        return real_import(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without)

    with pytest.raises(SensorFault, match="Run: pip install") as fault:
        open_driver("D4", "auto")

    assert fault.value.permanent
    assert "\n" not in str(fault.value)


def test_the_library_does_not_keep_our_stop_signal(monkeypatch):
    library = real_library(monkeypatch, Wire())
    import board

    def greedy(*_args, **_options):
        signal.signal(signal.SIGTERM, lambda *_: None)
        return types.SimpleNamespace()

    monkeypatch.setattr(library, "DHT22", greedy)
    monkeypatch.setattr(board, "D4", object(), raising=False)
    before = signal.getsignal(signal.SIGTERM)

    open_driver("D4", "auto")

    assert signal.getsignal(signal.SIGTERM) is before
