"""A DHT22 made of pulses, and the real library listening to it on a made-up clock."""

import importlib
import sys
import types
from collections import deque

from firmware_side.sensors.dht22 import Dht22

# Datasheet (as quoted by makers; min, typical, max in microseconds).
LOW_US = (48, 50, 55)
ZERO_US = (22, 26, 30)
ONE_US = (68, 70, 75)
ANSWER_US = (75, 80, 85)
END_US = (45, 50, 55)


def frame(temp_c, humidity_pct):
    """The five bytes of a reading: humidity, sign and magnitude of temperature, checksum."""
    temperature = round(abs(temp_c) * 10) | (0x8000 if temp_c < 0 else 0)
    humidity = round(humidity_pct * 10)
    data = bytes([humidity >> 8, humidity & 255, temperature >> 8, temperature & 255])
    return data + bytes([sum(data) & 255])


def pulses(data, chance=None):
    """The 83 lengths of a frame on the wire; with `chance` jittered within the datasheet."""

    def length(limits):
        return limits[1] if chance is None else chance.randint(limits[0], limits[2])

    out = [length(ANSWER_US), length(ANSWER_US)]
    for byte in data:
        for bit in range(7, -1, -1):
            out += [length(LOW_US), length(ONE_US if byte >> bit & 1 else ZERO_US)]
    return [*out, length(END_US)]


class WireClock:
    """Time that moves only when somebody waits; the library's `time` and the node's clock."""

    def __init__(self):
        self.s = 1000.0

    def monotonic(self):
        self.s += 4e-6  # so long takes one look at the pin
        return self.s

    def sleep(self, seconds):
        self.s += seconds

    def now_s(self):
        return self.s

    def monotonic_s(self):
        return self.s

    def wait(self, event, seconds):
        self.s += seconds
        return event.is_set()


class Wire:
    """What the sensor will put on the wire at each reading, in order; then silence."""

    def __init__(self):
        self.clock = WireClock()
        self.answers = deque()
        self.reads = 0

    def say(self, *answers):
        self.answers.extend(answers)

    def next_answer(self):
        self.reads += 1
        return self.answers.popleft() if self.answers else []


def _capturing(wire):
    class PulseIn:
        def __init__(self, pin, maxlen, idle_state):
            self._maxlen = maxlen
            self._got = deque()

        def pause(self):
            pass

        def clear(self):
            self._got.clear()

        def resume(self, trigger_duration):
            self._got.extend(wire.next_answer()[-self._maxlen :])

        def popleft(self):
            return self._got.popleft()

        def __len__(self):
            return len(self._got)

        def deinit(self):
            pass

    return PulseIn


def _watched(wire):
    class Pin:
        """High until the answer begins 30 us after release, then low and high in turn."""

        def __init__(self, pin):
            self._edges_s = []
            self.pull = None

        def __enter__(self):
            return self

        def __exit__(self, *_):
            pass

        @property
        def direction(self):
            return None

        @direction.setter
        def direction(self, direction):
            if not self._edges_s and "INPUT" in str(direction).upper():
                at_s = wire.clock.s + 30e-6
                for length in wire.next_answer():
                    self._edges_s.append(at_s)
                    at_s += length * 1e-6
                if self._edges_s:
                    self._edges_s.append(at_s)

        @property
        def value(self):
            passed = 0
            for edge_s in self._edges_s:
                if edge_s > wire.clock.s:
                    break
                passed += 1
            return passed % 2 == 0

        @value.setter
        def value(self, value):
            pass

    return Pin


def real_library(monkeypatch, wire):
    """The real decoder, its pulse capture, pin and clock replaced by the wire's."""
    monkeypatch.setitem(sys.modules, "pulseio", types.SimpleNamespace(PulseIn=_capturing(wire)))
    monkeypatch.delitem(sys.modules, "adafruit_dht", raising=False)
    library = importlib.import_module("adafruit_dht")
    library.time = wire.clock
    library.DigitalInOut = _watched(wire)
    return library


def sensor(monkeypatch, wire, **options):
    """Our driver over the real library over the wire."""
    library = real_library(monkeypatch, wire)
    directions = types.SimpleNamespace(INPUT="INPUT", OUTPUT="OUTPUT")
    library.Direction = directions

    def opener(pin, method):
        return library.DHT22(pin, use_pulseio=method != "bitbang")

    return Dht22("D4", clock=wire.clock, opener=opener, **options)
