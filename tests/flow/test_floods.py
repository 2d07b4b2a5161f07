"""More than any studio sends: bounded, counted, and the house goes on thinking."""

from __future__ import annotations

import json
import queue

from monitor import intake
from monitor.mqtt_link import Delivery
from monitor.store import intake_rows, readings

NOW = 1_790_000_000.0


class Line:
    """A line that holds deliveries, without a broker."""

    def __init__(self, deliveries=()):
        self.inbox = queue.SimpleQueue()
        for one in deliveries:
            self.inbox.put(one)
        self.told = {}

    def acknowledge(self, delivery):
        pass

    def publish(self, topic, payload, retain=False):
        self.told[topic] = json.loads(payload)


def delivery(node, sensor, **labels):
    record = {"n": f"{node}/{sensor}/temperature", "u": "Cel", "v": 20.0, "t": NOW, **labels}
    return Delivery(f"pourside/home/{node}/senml", json.dumps([record]).encode(), False, 1, 1, 1)


def test_sensors_beyond_the_most_a_house_has_are_refused_and_counted(con, monkeypatch):
    monkeypatch.setattr(intake_rows, "MOST_SENSORS", 3)
    flood = [delivery("bench", f"s{n}", boot="a", seq=n, low=0) for n in range(10)]
    line = Line(flood)
    assert intake.drain(con, line, "home", {}, NOW) == 3
    assert len(readings.sensors(con)) == 3
    assert [(one.reason, one.count) for one in readings.refusals(con)] == [("too many sensors", 7)]
    # Dealt with all the same, so that none is sent for ever; a known sensor still gets through.
    assert line.told == {"pourside/home/bench/committed": {"a": 9}}
    later = Line([delivery("bench", "s0", t=NOW + 10, boot="a", seq=10, low=0)])
    assert intake.drain(con, later, "home", {}, NOW + 10) == 1


def test_nodes_beyond_the_most_a_house_has_are_refused_and_counted(con, monkeypatch):
    monkeypatch.setattr(intake_rows, "MOST_SENSORS", 3)
    flood = [
        Delivery(f"pourside/home/n{n}/status", b"online", True, 1, 1, 1) for n in range(10)
    ] + [delivery(f"m{n}", "air") for n in range(10)]
    intake.drain(con, Line(flood), "home", {}, NOW)
    assert len(intake_rows.nodes(con, "home")) == 3
    assert [(one.reason, one.count) for one in readings.refusals(con)] == [("too many nodes", 17)]


def test_a_transaction_is_never_held_up_by_repeats(con):
    line = Line([delivery("bench", "air")] * 500)
    taken = [intake.drain(con, line, "home", {}, NOW) for _ in range(3)]
    assert (sum(taken), line.inbox.empty()) == (1, True)
