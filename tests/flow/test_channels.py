"""Notices from the store to real sinks on loopback: nothing lost, nothing twice."""

from __future__ import annotations

import json

import pytest
from flow.sinks import (
    LIBRARY_WARNS,
    SECRET,
    T0,
    HttpSink,
    MailSink,
    local,
    queue,
    raised,
    run_an_hour,
)

from monitor.channels.base import ChannelError
from monitor.channels.dispatch import (
    FAILING_AFTER,
    GIVE_UP_S,
    LONGEST_RETRY_S,
    Dispatcher,
    retry_at,
)
from monitor.channels.library import LibraryChannel
from monitor.channels.mqtt import MqttChannel
from monitor.channels.webhook import WebhookChannel
from monitor.core.alarms.rules import RULES
from monitor.store import alarms, notices
from monitor.store.connection import open_owner


@pytest.fixture
def store(tmp_path):
    con = open_owner(tmp_path / "pourside.db")
    yield con
    con.close()


def test_a_mail_says_what_is_wrong_what_follows_and_what_to_do(store):
    sink = MailSink()
    queue(store, raised())
    with sink.up():
        assert Dispatcher([sink.channel()], local).run_once(store, T0) == 1

    (mail,) = sink.got
    assert mail["Subject"] == "Room too cold"
    assert mail["To"] == "kim@example.org"
    lines = mail.get_content().splitlines()
    assert lines[0].endswith("14 °C since minute 1.")
    assert lines[1:] == [RULES["room_too_cold"].consequence, RULES["room_too_cold"].act]


def test_a_webhook_gets_one_json_object(store):
    sink = HttpSink()
    queue(store, raised())
    with sink.up():
        Dispatcher([WebhookChannel(sink.url, name="sink")], local).run_once(store, T0)

    (got,) = sink.got
    assert got["title"] == "Room too cold"
    assert got["priority"] == "urgent"
    assert got["alarms"] == [
        {"key": "room_too_cold", "subject": "room:home/n1/air", "at": T0},
    ]


@LIBRARY_WARNS
def test_the_notice_library_reaches_the_same_sink(store, monkeypatch):
    pytest.importorskip("apprise")
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    sink = HttpSink()
    queue(store, raised())
    url = f"json://127.0.0.1:{sink.port}/in?+X-Key={SECRET}"
    with sink.up():
        Dispatcher([LibraryChannel(url, name="sink")], local).run_once(store, T0)

    assert notices.last_error(store, "sink") == ""
    (got,) = sink.got
    assert got["title"] == "Room too cold"
    assert "14 °C since minute 1." in got["message"]


def test_an_mqtt_notice_waits_in_the_store_while_the_broker_is_away(store):
    taken, there = [], [False]

    def publish(topic, payload):
        if there[0]:
            taken.append((topic, json.loads(payload)["title"]))
        return there[0]

    queue(store, raised(), channel="mqtt")
    dispatcher = Dispatcher([MqttChannel("home", publish)], local)

    dispatcher.run_once(store, T0)
    assert (taken, notices.waiting(store)) == ([], 1)
    there[0] = True
    dispatcher.run_once(store, T0 + 60)

    assert taken == [("pourside/home/notices", "Room too cold")]
    assert notices.waiting(store) == 0


# --- down and up again


@pytest.mark.parametrize("kind", ["mail", "webhook"])
def test_a_sink_down_for_an_hour_loses_nothing_and_gets_nothing_twice(store, kind):
    sink = MailSink() if kind == "mail" else HttpSink()
    channel = sink.channel() if kind == "mail" else WebhookChannel(sink.url, name="sink")
    dispatcher = Dispatcher([channel], local)
    keys = ["room_too_cold", "tack_free", "disk_low", "full_cure", "overheating"]
    matters = [f"Matter number {i}." for i in range(len(keys))]
    for i, key in enumerate(keys):
        change = raised(key, f"layer:{i}", T0 + 600.0 * i, matters[i])
        queue(store, change, at_s=T0 + 600.0 * i)

    assert run_an_hour(dispatcher, store, T0) == 0
    assert dispatcher.faults()["sink"] is not None
    with sink.up():
        # The two notes ride along with the most pressing of the three others.
        assert run_an_hour(dispatcher, store, T0 + 3600) == 3
        assert run_an_hour(dispatcher, store, T0 + 7200) == 0

    if kind == "mail":
        texts = [mail.get_content() for mail in sink.got]
    else:
        texts = ["\n".join((got["words"], *got["also"])) for got in sink.got]
        told = [alarm["key"] for got in sink.got for alarm in got["alarms"]]
        assert sorted(told) == sorted(keys)
    assert ["\n".join(texts).count(matter) for matter in matters] == [1] * len(matters)
    assert notices.waiting(store) == 0
    assert dispatcher.faults() == {"sink": None}


def test_attempts_back_off_and_a_channel_that_is_down_is_not_hammered(store):
    tries = []

    class Down:
        name = "sink"

        def send(self, notice):
            tries.append(notice.id)
            raise ChannelError("down")

    for i in range(10):
        queue(store, raised("tack_free", f"layer:{i}"))
    run_an_hour(Dispatcher([Down()], local), store, T0, step_s=0.5)

    # 5, 10, 20, 40, 80, 160 s, then every 300 s: 7 + (3600 - 315) / 300 at most.
    assert 12 <= len(tries) <= 18


def test_back_off_doubles_to_five_minutes():
    assert [retry_at(n, 0.0) for n in (1, 2, 3, 7)] == [5.0, 10.0, 20.0, LONGEST_RETRY_S]
    assert retry_at(10_000, 0.0) == LONGEST_RETRY_S


def test_a_channel_fails_by_name_after_several_attempts_in_a_row(store):
    sink = HttpSink()
    dispatcher = Dispatcher([WebhookChannel(sink.url, name="sink")], local)
    queue(store, raised())

    for i in range(FAILING_AFTER):
        assert dispatcher.faults() == {"sink": None}
        dispatcher.run_once(store, T0 + 400 * i)

    assert "cannot be reached" in dispatcher.faults()["sink"]
    assert "refused" in notices.last_error(store, "sink")


def test_what_a_server_refuses_for_good_does_not_hold_up_the_next_notice(store):
    sink = HttpSink()
    dispatcher = Dispatcher([WebhookChannel(sink.url, name="sink")], local)
    queue(store, raised(subject="room:a"))
    with sink.up():
        sink.answer = 403
        dispatcher.run_once(store, T0)
        assert dispatcher.faults()["sink"] == "http://… answered 403"
        sink.answer = 204
        queue(store, raised(subject="room:b"), at_s=T0 + 1)
        assert dispatcher.run_once(store, T0 + 1) == 1
        assert dispatcher.run_once(store, T0 + 3700) == 1

    assert [got["alarms"][0]["subject"] for got in sink.got] == ["room:b", "room:a"]


def test_a_mail_server_that_is_busy_is_asked_again(store):
    sink = MailSink()
    dispatcher = Dispatcher([sink.channel()], local)
    queue(store, raised())
    with sink.up():
        sink.answer = "451 come back later"
        dispatcher.run_once(store, T0)
        assert notices.waiting(store) == 1
        sink.answer = "250 taken"
        dispatcher.run_once(store, T0 + 60)

    assert len(sink.got) == 1


def test_yesterdays_notice_is_given_up_visibly(store):
    dispatcher = Dispatcher([WebhookChannel(HttpSink().url, name="sink")], local)
    queue(store, raised())

    dispatcher.run_once(store, T0 + GIVE_UP_S)

    assert notices.waiting(store) == 0
    assert alarms.journal(store)[0].sent == "sink given up"


def test_a_crash_between_sending_and_marking_sends_again_rather_than_never(store, monkeypatch):
    sink = HttpSink()
    queue(store, raised())
    with sink.up():
        with monkeypatch.context() as broken:
            broken.setattr(notices, "mark_sent", lambda *_: 1 / 0)
            with pytest.raises(ZeroDivisionError):
                Dispatcher([WebhookChannel(sink.url, name="sink")], local).run_once(store, T0)
        Dispatcher([WebhookChannel(sink.url, name="sink")], local).run_once(store, T0)

    # The same id both times, so that a receiver can tell.
    assert len(sink.got) == 2
    assert sink.got[0]["id"] == sink.got[1]["id"]


def test_a_bug_in_one_channel_does_not_stop_another(store):
    class Broken:
        name = "broken"

        def send(self, notice):
            raise KeyError(SECRET)

    sink = HttpSink()
    for channel in ("broken", "sink"):
        queue(store, raised(), channel=channel)
    with sink.up():
        dispatcher = Dispatcher([Broken(), WebhookChannel(sink.url, name="sink")], local)
        assert dispatcher.run_once(store, T0) == 1

    assert "unforeseen KeyError" in notices.last_error(store, "broken")


def test_a_channel_that_left_the_configuration_is_said_so(store):
    queue(store, raised(), channel="gone")

    Dispatcher([], local).run_once(store, T0)

    assert "no longer in the configuration" in notices.last_error(store, "gone")
