"""One cause, one message; what may wait until morning."""

from __future__ import annotations

import pytest

from monitor.core.alarms.flood import (
    due_at,
    gather,
    heard,
    hold_until,
    reaches,
    ride_along,
    worded,
    worth_telling,
)
from monitor.core.alarms.rules import RULES
from monitor.core.vocabulary import AlarmChange

T0 = 1_700_000_000.0


def raised(key, subject, at_s=0.0, words="", notice=True):
    rule = RULES[key]
    words = words or f"{key} at {subject}."
    return AlarmChange(
        key, subject, T0 + at_s, "normal", "unacknowledged", words, rule.priority, notice
    )


def test_a_cold_room_and_what_it_does_to_its_layers_are_one_message():
    changes = [
        raised("will_not_finish", "layer:1"),
        raised("room_will_be_too_cold", "room:a"),
        raised("room_too_cold", "room:a", words="14 °C."),
        raised("will_not_finish", "layer:2"),
    ]

    (notice,) = gather(changes, {"layer:1": "room:a", "layer:2": "room:a"}, {"room:a": "Attic"})

    assert (notice.first.key, notice.title, notice.priority) == (
        "room_too_cold",
        "Room too cold",
        "urgent",
    )
    assert notice.words.splitlines()[0] == "Attic: 14 °C."
    assert set(notice.changes) == set(changes)
    assert notice.body.splitlines()[-1] == RULES["room_too_cold"].act


def test_different_rooms_and_different_causes_stay_apart_most_pressing_first():
    changes = [
        raised("tack_free", "layer:3"),
        raised("room_too_cold", "room:a"),
        raised("room_too_cold", "room:b", 1.0),
        raised("room_too_damp", "room:a", 2.0),
        raised("will_not_finish", "layer:1"),
    ]

    found = [(n.first.key, n.first.subject) for n in gather(changes, {"layer:1": "room:b"})]

    assert found == [
        ("room_too_cold", "room:a"),
        ("room_too_cold", "room:b"),
        ("room_too_damp", "room:a"),
        ("tack_free", "layer:3"),
    ]


def test_a_lost_broker_explains_the_silence_of_every_node():
    changes = [raised("sensor_silent", f"node:home/n{i}") for i in range(4)]

    (notice,) = gather([*changes, raised("broker_away", "works:broker")])

    assert notice.first.key == "broker_away"
    assert len(notice.changes) == 5


def test_only_changes_that_ask_for_it_are_told():
    assert gather([raised("tack_free", "layer:1", notice=False)]) == ()


def test_an_effect_soon_after_its_cause_was_told_is_no_news_but_the_reverse_is():
    rooms = {"layer:1": "room:a"}
    cold = raised("room_too_cold", "room:a")
    stalled = raised("will_not_finish", "layer:1", 1800.0)
    later = raised("will_not_finish", "layer:1", 3601.0)
    worse = raised("room_too_cold", "room:a", 1800.0)

    assert gather([stalled], rooms, told=[cold]) == ()
    assert len(gather([later], rooms, told=[cold])) == 1
    assert len(gather([worse], rooms, told=[raised("room_will_be_too_cold", "room:a")])) == 1


def test_a_cause_that_a_channel_never_heard_of_explains_nothing_to_it():
    away = raised("broker_away", "works:broker")  # soon
    silent = raised("sensor_silent", "node:home/bench", 900.0)  # urgent

    assert gather([silent], told=heard([away], "note")) == ()
    assert len(gather([silent], told=heard([away], "urgent"))) == 1


def test_a_notice_keeps_its_id_from_attempt_to_attempt():
    first = gather([raised("tack_free", "layer:1")])[0]
    again = gather([raised("tack_free", "layer:1")])[0]

    assert first.id == again.id
    assert first.id != gather([raised("tack_free", "layer:2")])[0].id


NIGHT = ("22:00", "07:00")


def held_h(key, local_hour, quiet=NIGHT):
    """Hours a notice is held, with `now` at a local hour of a zone two hours ahead."""
    now_s = 19_000 * 86400.0 + (local_hour - 2.0) * 3600.0
    (notice,) = gather([raised(key, "layer:1")])
    return (hold_until(notice, now_s, now_s + 7200.0, *quiet) - now_s) / 3600.0


@pytest.mark.parametrize(
    ("key", "local_hour", "hours"),
    [
        ("tack_free", 21.99, 0.0),
        ("tack_free", 22.0, 9.0),
        ("tack_free", 3.5, 3.5),
        ("tack_free", 7.0, 0.0),
        ("room_too_cold", 3.5, 0.0),  # urgent
        ("tape_window_open", 3.5, 0.0),  # shut by morning
        ("room_will_be_too_cold", 23.0, 0.0),
        ("disk_low", 3.5, 3.5),
    ],
)
def test_quiet_hours_hold_back_all_but_what_would_be_lost_by_morning(key, local_hour, hours):
    assert held_h(key, local_hour) == pytest.approx(hours, abs=1e-6)


@pytest.mark.parametrize(
    "quiet", [("", ""), ("22:00", ""), ("7", "9"), ("25:00", "07:00"), ("08:00",) * 2]
)
def test_without_readable_quiet_hours_nothing_is_held(quiet):
    assert held_h("tack_free", 8.0, quiet) == 0.0


def test_quiet_hours_may_lie_within_one_day():
    assert held_h("tack_free", 13.0, ("12:30", "14:00")) == pytest.approx(1.0)
    assert held_h("tack_free", 15.0, ("12:30", "14:00")) == 0.0


def test_a_channel_may_ask_for_pressing_notices_only():
    (note,) = gather([raised("tack_free", "layer:1")])
    (urgent,) = gather([raised("room_too_cold", "room:a")])

    assert [reaches(note, least) for least in ("urgent", "soon", "note")] == [False, False, True]
    assert [reaches(urgent, least) for least in ("urgent", "soon", "note")] == [True] * 3


def test_moments_are_local_when_read():
    (notice,) = gather([raised("tack_free", "layer:1", words="Since ⟦60⟧.")])

    assert worded(notice, lambda at_s: f"minute {at_s / 60:.0f}").words == "Since minute 1."


def test_what_nobody_loses_by_reading_later_is_on_the_page_without_a_notice():
    favour = raised("touch_test_wanted", "layer:1")
    closing = raised("recoat_window_closing", "layer:1")
    opening = raised("recoat_window_open", "layer:1")

    assert worth_telling([favour, closing, opening, raised("rest_over", "layer:2")]) == (closing,)
    assert worth_telling([raised("tack_free", "layer:1", notice=False)]) == ()


def test_whatever_is_urgent_is_told():
    urgent = [raised(key, "layer:1") for key, rule in RULES.items() if rule.priority == "urgent"]

    assert worth_telling(urgent) == tuple(urgent)


def test_notes_ride_along_with_the_most_pressing_notice():
    notices = gather(
        [
            raised("tack_free", "layer:1", words="Tray is tack-free since ⟦60⟧."),
            raised("disk_low", "works:disk"),
            raised("room_too_cold", "room:a"),
            raised("full_cure", "layer:2", words="Lid should be fully cured."),
        ]
    )

    cold, disk = ride_along(notices)

    assert (cold.first.key, cold.priority) == ("room_too_cold", "urgent")
    assert [change.key for change in cold.changes] == ["room_too_cold", "tack_free", "full_cure"]
    assert worded(cold, lambda at_s: f"minute {at_s / 60:.0f}").body.splitlines()[-3:] == [
        RULES["room_too_cold"].act,
        "Also: Tray is tack-free since minute 1.",
        "Also: Lid should be fully cured.",
    ]
    assert (disk.first.key, disk.also) == ("disk_low", ())


def test_notes_among_themselves_are_one_notice_and_a_lone_one_stays_as_it_is():
    both = gather([raised("tack_free", "layer:1"), raised("full_cure", "layer:2")])

    (one,) = ride_along(both)

    assert (one.priority, len(one.changes), len(one.also)) == ("note", 2, 1)
    assert ride_along(both[:1]) == both[:1]
    assert ride_along([]) == ()


@pytest.mark.parametrize(
    ("key", "local_hour", "hours"),
    [
        ("tack_free", 12.0, 3.0),  # waits for company
        ("tack_free", 20.0, 11.0),  # its three hours end in the quiet ones
        ("disk_low", 12.0, 0.0),
        ("disk_low", 23.0, 8.0),
        ("room_too_cold", 23.0, 0.0),
    ],
)
def test_a_note_waits_three_hours_for_company_and_never_ends_in_quiet_hours(key, local_hour, hours):
    now_s = 19_000 * 86400.0 + (local_hour - 2.0) * 3600.0
    (notice,) = gather([raised(key, "layer:1")])

    assert due_at(notice, now_s, 7200.0, *NIGHT) - now_s == pytest.approx(hours * 3600.0)
