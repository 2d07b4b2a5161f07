"""More than any studio sends: bounded, counted, and the house goes on thinking."""

from __future__ import annotations

import json
import threading

import paho.mqtt.publish
import pytest

from firmware_side import senml
from monitor import inbox, intake
from monitor.inbox import Delivery, Inbox
from monitor.mqtt_link import Link
from monitor.store import intake_rows, readings

NOW = 1_790_000_000.0


class Line:
    """A line that holds deliveries, without a broker."""

    def __init__(self, deliveries=()):
        self.inbox = Inbox()
        for one in deliveries:
            self.inbox.put(one)
        self.told = {}
        self.said = 0
        self.reconnected = 0

    def acknowledge(self, delivery):
        pass

    def publish(self, topic, payload, retain=False):
        self.told[topic] = json.loads(payload)
        self.said += 1

    def reconnect(self):
        self.reconnected += 1


def delivery(node, sensor, qos=1, **labels):
    record = {"n": f"{node}/{sensor}/temperature", "u": "Cel", "v": 20.0, "t": NOW, **labels}
    return Delivery(f"pourside/home/{node}/senml", json.dumps([record]).encode(), False, 1, qos, 1)


def refused(con):
    return {one.reason: one.count for one in readings.refusals(con)}


def test_sensors_beyond_the_most_a_house_has_are_refused_and_counted(con, monkeypatch):
    monkeypatch.setattr(intake_rows, "MOST_SENSORS", 3)
    flood = [delivery("bench", f"s{n}", boot="a", seq=n, low=0) for n in range(10)]
    line = Line(flood)
    assert intake.drain(con, line, "home", {}, NOW) == 3
    assert len(readings.sensors(con)) == 3
    assert refused(con) == {"more than 64 sensors: remove one in Settings": 7}
    # Dealt with all the same, so that none is sent for ever; a known sensor still gets through.
    assert line.told == {"pourside/home/bench/committed": {"a": 9}}
    later = Line([delivery("bench", "s0", t=NOW + 10, boot="a", seq=10, low=0)])
    assert intake.drain(con, later, "home", {}, NOW + 10) == 1


def test_nodes_beyond_the_most_a_house_has_are_refused_and_counted(con, monkeypatch):
    monkeypatch.setattr(intake_rows, "MOST_SENSORS", 3)
    intake.drain(con, Line([delivery(f"m{n}", "air") for n in range(10)]), "home", {}, NOW)
    assert intake_rows.nodes(con, "home") == ["m0", "m1", "m2"]
    assert refused(con) == {intake_rows.NODES_FULL: 7}


def test_names_that_never_brought_a_reading_hold_no_place_against_a_node_that_does(
    con, monkeypatch
):
    monkeypatch.setattr(intake_rows, "MOST_SENSORS", 3)
    flood = [Delivery(f"pourside/home/n{n}/status", b"online", True, 1, 1, 1) for n in range(10)]
    intake.drain(con, Line(flood), "home", {}, NOW)
    assert len(intake_rows.nodes(con, "home")) <= 3
    assert intake.drain(con, Line([delivery("bench", "air")]), "home", {}, NOW) == 1


def test_a_transaction_is_never_held_up_by_repeats(con):
    line = Line([delivery("bench", "air")] * 500)
    taken = [intake.drain(con, line, "home", {}, NOW) for _ in range(3)]
    assert (sum(taken), line.inbox.empty()) == (1, True)


# --- what waits is bounded


def test_what_nobody_keeps_is_dropped_beyond_the_bound_and_counted(con, monkeypatch):
    monkeypatch.setattr(inbox, "MOST_MESSAGES", 20)
    line = Line([delivery(f"n{n % 10}", "air", qos=0, t=NOW + n) for n in range(50)])
    assert intake.drain(con, line, "home", {}, NOW) == 20
    assert refused(con) == {"came too fast": 30}
    assert line.inbox.empty()
    # Counted once, and the line is open again.
    line.inbox.put(delivery("n1", "air", qos=0, t=NOW + 60))
    assert intake.drain(con, line, "home", {}, NOW) == 1
    assert refused(con) == {"came too fast": 30}


def test_a_board_that_does_not_know_the_time_gets_through_the_flood_of_another(con, monkeypatch):
    """Its readings go at QoS 0, as the flood does."""
    monkeypatch.setattr(inbox, "MOST_MESSAGES", 20)
    line = Line([delivery("fl", "s1", qos=0, t=NOW + n) for n in range(1000)])
    line.inbox.put(delivery("bench", "air", qos=0, t=-1))
    intake.drain(con, line, "home", {}, NOW)
    assert {one.key: one.count for one in readings.sensors(con)} == {
        "home/bench/air": 1,
        "home/fl/s1": 5,
    }
    # What was taken makes room for the next of the same topic.
    line.inbox.put(delivery("fl", "s1", qos=0, t=NOW + 1000))
    assert intake.drain(con, line, "home", {}, NOW + 1000) == 1


def test_a_flood_of_large_bodies_leaves_room_for_another_topic():
    box = Inbox()
    for n in range(100):
        box.put(Delivery("pourside/home/fl/senml", b"x" * 900_000, False, n, 0, 1))
    box.put(delivery("bench", "air", qos=0))
    assert box.take(100)[-1].topic == "pourside/home/bench/senml"


@pytest.mark.parametrize("qos", [0, 1])
def test_the_bytes_that_wait_are_bounded_whatever_is_sent(qos):
    box = Inbox()
    for n in range(100):
        box.put(Delivery("t" * 1000, b"x" * 900_000, False, n, qos, 1))
    held = box.take(100)
    assert 0 < sum(len(one.topic) + len(one.payload) for one in held) <= inbox.MOST_BYTES


def test_a_count_that_could_not_be_written_is_kept_for_the_next_time(con, monkeypatch):
    monkeypatch.setattr(inbox, "MOST_MESSAGES", 4)
    line = Line([delivery(f"n{n}", "air", qos=0) for n in range(5)])
    con.execute("PRAGMA query_only = ON")
    assert intake.drain(con, line, "home", {}, NOW) == 0
    con.execute("PRAGMA query_only = OFF")
    assert not line.inbox.empty()
    intake.drain(con, line, "home", {}, NOW)
    assert refused(con) == {"came too fast": 1}


def test_a_body_too_large_is_refused_before_it_is_kept_and_dealt_with(con):
    line = Line()
    large = Delivery("pourside/home/bench/senml", b"x" * (senml.MAX_BYTES + 1), False, 1, 1, 1)
    assert not line.inbox.put(large)
    assert intake.drain(con, line, "home", {}, NOW) == 0
    assert refused(con) == {"message too large": 1}


def test_a_node_does_not_wait_behind_junk():
    box = Inbox()
    for n in range(1000):
        box.put(delivery("fl", "s1", qos=0, t=NOW + n))
    box.put(delivery("bench", "air"))
    first = box.take(1)[0]
    assert (first.topic, first.qos) == ("pourside/home/bench/senml", 1)


def test_what_is_left_with_the_broker_is_fetched_once_there_is_room(con, monkeypatch):
    monkeypatch.setattr(inbox, "MOST_MESSAGES", 3)
    line = Line([delivery("bench", "air", t=NOW + n) for n in range(5)])
    monkeypatch.setattr(intake, "BATCH", 2)
    intake.drain(con, line, "home", {}, NOW)
    assert line.reconnected == 0
    intake.drain(con, line, "home", {}, NOW)
    assert line.reconnected == 1
    assert refused(con) == {}
    line.inbox.put(delivery("bench", "air", t=NOW + 4))
    intake.drain(con, line, "home", {}, NOW)
    assert line.reconnected == 1


def test_through_a_real_broker_nothing_at_qos_1_is_lost_to_a_full_inbox(
    con, monkeypatch, mosquitto
):
    monkeypatch.setattr(inbox, "MOST_MESSAGES", 4)
    port, wake = mosquitto().port, threading.Event()
    line = Link("127.0.0.1", port, "monitor", intake.topics("home", {}), wake=wake)
    line.start()
    try:
        assert line.await_connected(20)
        bodies = [delivery("bench", "air", t=NOW + n).payload for n in range(30)]
        topic = "pourside/home/bench/senml"
        # The last word is the last to come: what is not here by then was left with the broker.
        sent = [{"topic": topic, "payload": body, "qos": 1} for body in bodies]
        paho.mqtt.publish.multiple(sent, "127.0.0.1", port)
        fresh = 0
        while fresh < 30:
            assert wake.wait(20)
            wake.clear()
            fresh += intake.drain(con, line, "home", {}, NOW)
        assert fresh == 30
        # More came than fits: the rest was fetched by new connections.
        assert line.epoch > 1
    finally:
        line.stop()


def test_a_node_is_told_once_a_batch(con):
    line = Line([delivery("bench", "air", t=NOW + n, boot="a", seq=n, low=0) for n in range(50)])
    intake.drain(con, line, "home", {}, NOW)
    assert (line.said, line.told) == (1, {"pourside/home/bench/committed": {"a": 49}})
