"""Messages that no sane sender sends: judged and counted, and the good ones beside them kept.

The broker sends again what was not acknowledged, so a message that ends the monitor would end
it at every start.
"""

from __future__ import annotations

import json

import pytest

from monitor import intake, validation
from monitor.inbox import Delivery
from monitor.store import readings
from monitor.store.connection import writing

NOW = 1_790_000_000.0
TOPIC = "pourside/home/bench/senml"
FOREIGN = {"workshop/climate": ("workshop", validation.Fields("shelf"))}
# RFC 8259 section 8.2 lets an escape stand for half a character; no store keeps such a text.
HALF = "\ud800"


def take(con, *messages):
    """Store messages, each (topic, payload), as one batch; returns new readings."""
    batch = [Delivery(topic, payload, False, 1, 1, 1) for topic, payload in messages]
    with writing(con):
        return intake.store_batch(con, "home", FOREIGN, batch, NOW, {})


def senml(**labels):
    record = {"n": "bench/air/temperature", "u": "Cel", "v": 20.0, "t": NOW - 10, **labels}
    return TOPIC, json.dumps([record]).encode()


GOOD = senml(t=NOW, boot="a1", seq=0, low=0)


@pytest.mark.parametrize(
    "labels",
    [
        {"boot": HALF, "seq": 1},
        {"boot": f"a{HALF}", "seq": 1},
        {"boot": "a\0b", "seq": 1},
        {"n": HALF},
        {"u": HALF},
        {f"{HALF}_": 1},
    ],
    ids=lambda labels: ascii(labels),
)
def test_text_that_no_store_can_keep_is_refused_beside_a_good_message(con, labels):
    assert take(con, senml(**labels), GOOD) == 1
    assert [one.count for one in readings.refusals(con)] == [1]


def test_a_strangers_half_characters_are_refused_and_shown(con):
    payload = json.dumps({"temperature": HALF}).encode()
    assert take(con, ("workshop/climate", payload), GOOD) == 1
    (refusal,) = readings.refusals(con)
    assert refusal.example.isprintable()


def test_numbered_samples_that_are_all_told_as_just_now_are_all_kept(con):
    """A board without the time; the line brought a burst of its messages at once."""
    burst = [senml(t=0, boot="a1", seq=seq, low=0, v=20.0 + seq) for seq in range(5)]
    assert take(con, *burst) == 5
    assert take(con, *burst) == 0
    temps = readings.raw(con, "home/bench/air", NOW - 1, NOW + 1).temp_c
    assert sorted(temps.tolist()) == [20.0, 21.0, 22.0, 23.0, 24.0]
