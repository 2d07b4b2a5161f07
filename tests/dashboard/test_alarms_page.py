"""The alarms' page over a real store: ways to reach people, figures, journal, browsers."""

from __future__ import annotations

import json
import re
from contextlib import closing

import pytest

from dashboard.app import create_app
from dashboard.options import Options
from monitor import assembly
from monitor.channels.base import ChannelError
from monitor.channels.browser import BrowserChannel
from monitor.channels.dispatch import Dispatcher
from monitor.clock import Clock
from monitor.config import ChannelConfig, Config
from monitor.core.alarms.rules import RULES
from monitor.core.vocabulary import AlarmChange, AlarmState
from monitor.store import alarms, connection, notices, settings, shown, status, trials
from monitor.store.connection import writing
from monitor.store.shown import OnShow

SECRET = "hunter2-token"
NOW = 1_790_000_000.0
HOUR = 3600.0
DAY = 86400.0
WAYS = [
    {"name": "mqtt", "kind": "mqtt", "goes_to": "topic pourside/home/notices", "least": "note"},
    {"name": "phone", "kind": "webhook", "goes_to": "http://….example.org/…", "least": "soon"},
]


class Sink:
    """A channel that remembers, or fails while `fault` says how."""

    goes_to = "here"

    def __init__(self, name="phone"):
        self.name = name
        self.fault = None
        self.got = []

    def send(self, notice):
        if self.fault is not None:
            raise ChannelError(self.fault)
        self.got.append(notice)


@pytest.fixture
def owner(store_path):
    with closing(connection.open_owner(store_path)) as con:
        with writing(con):
            status.beat(con, "monitor", NOW, {"rules": [], "channels": WAYS})
        yield con


@pytest.fixture
def client(owner, store_path):
    return create_app(Options(store_path, lambda: NOW, zone="Europe/Lisbon")).test_client()


def page(client, path="/alarms"):
    answer = client.get(path)
    assert answer.status_code == 200
    return answer.get_data(as_text=True).replace("\N{NO-BREAK SPACE}", " ")


def change(key, at_s, before, after, subject="room:a", by="program"):
    rule = RULES[key]
    return AlarmChange(key, subject, at_s, before, after, "14 °C.", rule.priority, False, by)


def record(con, *changes, states=()):
    with writing(con):
        return alarms.record(con, states, changes)


# --- ways to reach people


def test_each_way_is_named_with_where_it_goes_and_how_it_fares(client, owner):
    (number,) = record(owner, change("room_too_cold", NOW - HOUR, "normal", "unacknowledged"))
    with writing(owner):
        notices.mark_sent(owner, notices.queue(owner, number, "phone", NOW - HOUR), NOW - HOUR)
        notices.queue(owner, number, "mqtt", NOW)

    text = page(client)

    assert "“phone”: http://….example.org/…<" in text
    assert "Gets: urgent and soon. Last sent 14:13." in text  # 13:13 UTC, summer time in Lisbon
    assert "Gets: everything. Nothing sent yet. 1 waiting." in text


def test_a_notice_is_put_up_for_browsers_not_said_to_be_seen(client, owner):
    way = {"name": "browser", "kind": "browser", "goes_to": "open pages", "least": "note"}
    (number,) = record(owner, change("room_too_cold", NOW - HOUR, "normal", "unacknowledged"))
    with writing(owner):
        status.beat(owner, "monitor", NOW, {"rules": [], "channels": [*WAYS, way]})
    assert page(client).count("Nothing sent yet.") == len(WAYS)
    with writing(owner):
        notices.mark_sent(owner, notices.queue(owner, number, "browser", NOW - HOUR), NOW - HOUR)
    assert "Last put up 14:13." in page(client)


def test_the_quiet_hours_are_named_where_the_ways_are(client, owner):
    assert "Quiet hours: none." in page(client)
    with writing(owner):
        settings.put(owner, "quiet_from", "22:00", NOW)
        settings.put(owner, "quiet_to", "07:00", NOW)

    assert "Quiet hours: from 22:00 to 07:00." in page(client)


def test_a_tap_tries_the_channel_and_the_page_says_that_it_went_out(client, owner):
    sink = Sink()
    dispatcher = Dispatcher([sink], str)

    assert client.post("/channels/phone/try").status_code == 302
    assert "Test asked for at 15:13; waiting for the monitor." in page(client)
    assert dispatcher.answer_trials(owner, NOW) == 1

    assert [notice.title for notice in sink.got] == ["Test of this channel"]
    assert "The test was sent at 15:13." in page(client)
    assert dispatcher.answer_trials(owner, NOW) == 0


def test_a_test_that_failed_says_why_and_may_be_asked_for_again(client, owner):
    sink = Sink()
    dispatcher = Dispatcher([sink], str)
    sink.fault = "http://… answered 403"
    client.post("/channels/phone/try")
    dispatcher.answer_trials(owner, NOW)
    assert "The test at 15:13 failed: http://… answered 403" in page(client)

    sink.fault = None
    client.post("/channels/phone/try")
    dispatcher.answer_trials(owner, NOW + 1)

    assert "The test was sent at 15:13." in page(client)


def test_a_channel_nobody_knows_cannot_be_tried(client, owner):
    assert client.post("/channels/nonsense/try").status_code == 404
    assert trials.asked(owner) == []


def test_a_test_asked_for_while_the_monitor_was_away_is_not_sent_hours_later(client, owner):
    client.post("/channels/phone/try")

    Dispatcher([Sink()], str).decline_trials(owner, NOW + 9 * HOUR)

    assert "the monitor was not running then; try again" in page(client)
    assert trials.asked(owner) == []


def test_asking_anew_while_a_test_is_under_way_is_not_answered_by_the_old_one(owner):
    with writing(owner):
        trials.ask(owner, "phone", NOW)
        (old,) = trials.asked(owner)
        trials.ask(owner, "phone", NOW + 1)
        trials.answer(owner, old, NOW + 2, "")

    assert [trial.asked_s for trial in trials.asked(owner)] == [NOW + 1]


def test_no_secret_of_a_channel_reaches_the_page(owner, store_path, tmp_path):
    channels = (
        ChannelConfig("hook", "webhook", f"https://u:{SECRET}@{SECRET}.example.org/{SECRET}?{SECRET}"),
        ChannelConfig("chat", "library", f"tgram://{SECRET}/{SECRET}"),
        ChannelConfig(
            "post", "mail", host="mail.example.org", sender="a@example.org",
            to=f"kim.{SECRET}@example.org", username=SECRET, password=SECRET,
        ),
        ChannelConfig("light", "lamp"),
    )  # fmt: skip
    config = Config(data_dir=tmp_path, channels=channels)
    monitor, _ = assembly.monitor_of(config, Clock(NOW))
    with writing(owner):
        status.beat(owner, "monitor", NOW, dict(monitor.watch.facts))
    client = create_app(Options(store_path, lambda: NOW)).test_client()

    text = page(client)

    assert SECRET not in text
    assert SECRET not in client.get("/alarms-now").get_data(as_text=True)
    for shown_words in (
        "https://….example.org/…",
        "tgram://…",
        "k…@example.org by mail.example.org",
        "pretended pins",
        "topic pourside/home/notices",
        "every browser that has this page open",
    ):
        assert shown_words in text


def test_a_channel_may_not_take_the_name_of_one_that_is_always_there(tmp_path):
    config = Config(data_dir=tmp_path, channels=(ChannelConfig("browser", "lamp"),))

    with pytest.raises(assembly.ConfigError, match="'browser': that one is always there"):
        assembly.monitor_of(config, Clock(NOW))


# --- browsers


def notices_now(client):
    return json.loads(client.get("/notices-now").get_data(as_text=True))


def test_a_notice_is_on_show_for_browsers_once_it_is_due_and_once_only(client, owner, store_path):
    now = [NOW - 60]
    dispatcher = Dispatcher([BrowserChannel(store_path, lambda: now[0])], lambda _at_s: "noon")
    told = change("room_too_cold", NOW - 9 * HOUR, "normal", "unacknowledged")
    (number,) = record(owner, told)
    with writing(owner):
        notices.queue(owner, number, "browser", NOW - 30)  # held until then by quiet hours

    dispatcher.run_once(owner, NOW - 31)
    assert notices_now(client)["notices"] == []
    dispatcher.run_once(owner, NOW - 30)
    dispatcher.run_once(owner, NOW)

    (one,) = notices_now(client)["notices"]
    assert one["title"] == "Room too cold"
    assert one["body"].splitlines() == [
        "14 °C.",
        RULES["room_too_cold"].consequence,
        RULES["room_too_cold"].act,
    ]


def test_a_notice_sent_again_after_a_crash_is_shown_once(owner):
    with writing(owner):
        for at_s in (NOW, NOW + 5):
            shown.show(owner, OnShow("a", at_s, "soon", "t", "b"))

    assert [one.shown_s for one in shown.latest(owner)] == [NOW]


def test_only_the_latest_stay_on_show_and_old_ones_are_no_news(client, owner):
    with writing(owner):
        for n in range(shown.KEEP + 5):
            shown.show(owner, OnShow(f"n{n}", NOW - 1000 + 40 * n, "soon", "t", "b"))

    assert len(shown.latest(owner)) == shown.KEEP
    ids = [one["id"] for one in notices_now(client)["notices"]]
    assert ids[0] == f"n{shown.KEEP + 4}"
    # Nothing older than a quarter of an hour.
    assert "n5" in ids
    assert "n2" not in ids


def test_looking_costs_nothing_while_nothing_is_new(client, owner):
    tag = client.get("/notices-now").headers["ETag"]

    answer = client.get("/notices-now", headers={"If-None-Match": tag})

    assert (answer.status_code, answer.data) == (304, b"")


def test_every_page_hears_that_the_monitor_has_stopped(owner, store_path):
    client = create_app(Options(store_path, lambda: NOW + 2 * HOUR)).test_client()

    assert "The monitor has stopped" in notices_now(client)["works"][0]
    assert "/static/notify.js" in page(client, "/resins")


def test_a_delivery_to_browsers_is_nobodys_receipt_and_not_in_the_journal(owner):
    (number,) = record(owner, change("tack_free", NOW, "normal", "unacknowledged"))
    with writing(owner):
        for channel in ("browser", "phone"):
            notices.mark_sent(owner, notices.queue(owner, number, channel, NOW), NOW)

    assert alarms.journal(owner)[0].sent == "phone sent"


# --- figures and journal


def test_the_month_is_told_in_words_and_a_table(client, owner):
    record(
        owner,
        change("room_too_cold", NOW - 3 * DAY, "normal", "unacknowledged"),
        change("room_too_cold", NOW - 3 * DAY + 600, "unacknowledged", "acknowledged"),
        change("room_too_cold", NOW - 1 * DAY, "acknowledged", "normal"),
        change("tape_window_open", NOW - 2 * DAY, "normal", "unacknowledged", "layer:1"),
        change("tape_window_open", NOW - 2 * DAY + HOUR, "unacknowledged", "returned", "layer:1"),
        change("room_too_cold", NOW - 90 * DAY, "normal", "unacknowledged"),
    )

    text = page(client)

    assert "1 alarm was raised: less than 0.1 a day on average" in text
    assert "1 on the worst (Fri 18 Sep)" in text
    assert "marked within 10 min." in text
    assert "Lasted over 8 h: 1." in text
    assert "Lasted over a day: 1 (Room too cold)." in text
    assert '<th scope="row">Urgent</th><td>1</td><td>0</td>' in text
    assert '<th scope="row">Room too cold</th><td>1</td><td>2 d</td>' in text


def test_a_month_without_alarms_says_so(client):
    text = page(client)

    assert "No alarm was raised." in text
    assert "No alarm has ever been raised." in text


def test_what_did_not_happen_has_no_line(client, owner):
    record(owner, *life("room_too_cold", NOW - DAY, NOW - DAY + HOUR))

    text = page(client)

    assert "within a minute" not in text
    assert "Lasted over" not in text
    assert "1 was over before anybody said &#39;seen&#39;." in text


def life(key, from_s, to_s, subject="room:a"):
    return (
        change(key, from_s, "normal", "unacknowledged", subject),
        change(key, to_s, "unacknowledged", "returned", subject),
    )


def lines(text):
    """The journal's lines, without their markup, by the heading of their day."""
    journal = text.partition('id="journal"')[2] or text.partition("Older alarms")[2]
    found = {}
    for day, rest in re.findall(
        r"<h[23]>(.*?)</h[23]>\s*<ul class=\"journal\">(.*?)</ul>", journal, re.S
    ):
        found[day] = [
            " ".join(re.sub(r"<[^>]+>", " ", line).split())
            for line in re.findall(r"<li>(.*?)</li>", rest, re.S)
        ]
    return found


def test_the_journal_comes_ten_at_a_time_down_to_its_first_entry(client, owner):
    for n in range(25):
        record(owner, *life("room_too_cold", NOW - n * HOUR, NOW - n * HOUR + 600))
    seen, path = [], "/alarms"
    while path:
        text = page(client, path)
        seen += [line[:5] for day in lines(text).values() for line in day]
        assert sum(map(len, lines(text).values())) <= 10
        older = re.search(r'href="(/alarms\?older=\d+)">Older<', text)
        path = older[1] if older else ""

    # 15:13 back to 15:13 of the day before, an hour a line, none lost and none twice.
    assert seen == [f"{(15 - n) % 24:02d}:13" for n in range(25)]


def test_raising_and_end_are_one_line_under_the_day_it_was_raised(client, owner):
    record(
        owner,
        *life("room_too_cold", NOW - DAY, NOW - DAY + HOUR),
        *life("room_too_damp", NOW - 3 * DAY, NOW - HOUR),
        *life("room_too_cold", NOW - 4 * DAY, NOW - 3 * DAY - HOUR),
        change("room_too_hot", NOW - 60, "normal", "unacknowledged"),
    )

    assert lines(page(client)) == {
        "Mon 21 Sep": ["since 15:12 Room too hot 14 °C."],
        "Sun 20 Sep": ["15:13 to 16:13 Room too cold 14 °C."],
        "Fri 18 Sep": ["15:13 to Mon 21 Sep 14:13 Room too damp 14 °C."],
        "Thu 17 Sep": ["15:13 to 14:13 the next day Room too cold 14 °C."],
    }


def test_a_reminder_that_is_over_asks_for_nothing(client, owner):
    record(
        owner,
        *life("tape_window_closing", NOW - 2 * HOUR, NOW - HOUR, "layer:1"),
        change("tape_window_open", NOW - 60, "normal", "unacknowledged", "layer:1"),
    )

    assert lines(page(client)) == {
        "Mon 21 Sep": ["since 15:12 Tape window open 14 °C.", "13:13 to 14:13 Tape window closing"]
    }


def test_the_journal_tells_only_of_notices_that_did_not_go_out(client, owner):
    first, second = record(
        owner,
        change("room_too_cold", NOW - 120, "normal", "unacknowledged"),
        change("room_too_damp", NOW - 60, "normal", "unacknowledged"),
    )
    with writing(owner):
        notices.mark_sent(owner, notices.queue(owner, first, "phone", NOW), NOW)
        notices.queue(owner, second, "phone", NOW)

    assert lines(page(client))["Mon 21 Sep"] == [
        "since 15:12 Room too damp 14 °C. Waiting to be sent by phone.",
        "since 15:11 Room too cold 14 °C.",
    ]


def test_steps_of_one_moment_are_neither_lost_nor_shown_twice_between_pages(owner):
    record(owner, *(change("room_too_cold", NOW, "normal", "unacknowledged") for _ in range(7)))
    first = alarms.journal(owner, limit=3)
    rest = alarms.journal(owner, older_than=first[-1].id)

    assert sorted(entry.id for entry in (*first, *rest)) == [1, 2, 3, 4, 5, 6, 7]


@pytest.mark.parametrize("older", ["999999", "0", "-1", "x", "9" * 40])
def test_an_older_page_that_is_not_there_is_no_accident(client, older):
    page(client, f"/alarms?older={older}")


def test_the_journal_says_who_hid_an_alarm_until_when_and_how_long_one_stood_unseen(client, owner):
    with writing(owner):
        alarms.ask(owner, "room_too_cold", "room:a", "shelve", NOW - 600, NOW + 3000, "the page")
    record(
        owner,
        change("room_too_cold", NOW - 1200, "normal", "unacknowledged"),
        change("room_too_cold", NOW - 900, "unacknowledged", "acknowledged", by="the page"),
        change("room_too_cold", NOW - 600, "acknowledged", "shelved", by="the page"),
    )

    text = page(client)

    assert lines(text) == {
        "Mon 21 Sep": ["14:53 to 15:03 Room too cold 14 °C. Seen after 5 min. Hidden until 16:03."]
    }


def test_the_page_refreshes_only_what_changes(client, owner):
    tag = client.get("/alarms-now").headers["ETag"]
    assert client.get("/alarms-now", headers={"If-None-Match": tag}).status_code == 304

    state = AlarmState(
        "room_too_cold", "room:a", "unacknowledged", NOW, raised_at_s=NOW, words="14 °C."
    )
    record(owner, states=[state])

    answer = client.get("/alarms-now", headers={"If-None-Match": tag})
    assert answer.status_code == 200
    assert "Room too cold" in answer.get_data(as_text=True)
