"""The alarms' own figures, on journals written by hand.

Thresholds: ISA-18.2 / IEC 62682, from memory: chattering is three or more raisings within a
minute, standing a shift, stale more than a day.
"""

from __future__ import annotations

import pytest

from monitor.core.alarms.figures import figures, stretches
from monitor.core.alarms.rules import RULES
from monitor.core.vocabulary import AlarmChange, AlarmState

T0 = 1_700_000_000.0
HOUR = 3600.0
DAY = 86400.0
DAYS = [T0 + n * DAY for n in range(30)]
END = T0 + 30 * DAY - 1
ROOM = "room:a"


def step(key, at_s, before, after, subject=ROOM):
    priority = RULES[key].priority
    told = after == "unacknowledged"
    return AlarmChange(key, subject, T0 + at_s, before, after, "", priority, told)


def stood(key, from_s, to_s, subject=ROOM):
    """A life without anybody looking: raised, then gone."""
    return [
        step(key, from_s, "normal", "unacknowledged", subject),
        step(key, to_s, "unacknowledged", "returned", subject),
    ]


def held(key, raised_s, phase="unacknowledged", subject=ROOM):
    return AlarmState(key, subject, phase, raised_at_s=T0 + raised_s)


def made(changes=(), states=(), days=DAYS, to_s=END):
    return figures(changes, states, days, to_s)


def test_a_month_in_which_nothing_happened_is_all_noughts():
    found = made()

    assert (found.alarms, found.acts, found.mean_a_day, found.worst_a_day) == (0, 0, 0.0, 0)
    assert found.alarms_by_priority == {"urgent": 0, "soon": 0, "note": 0}
    assert (found.chattering, found.standing, found.stale, found.frequent) == ((), (), (), ())
    assert (found.response_s, found.never_seen) == (None, 0)


def test_alarms_a_day_are_a_mean_a_median_and_a_worst_day():
    journal = [
        *stood("room_too_cold", 2 * HOUR, 3 * HOUR),
        *(
            change
            for n in range(5)
            for change in stood("room_too_damp", 3 * DAY + n * HOUR, 3 * DAY + n * HOUR + 600)
        ),
    ]

    found = made(journal)

    assert found.alarms == 6
    assert found.mean_a_day == pytest.approx(6 / 30)
    assert found.median_a_day == 0
    assert (found.worst_day_s, found.worst_a_day) == (T0 + 3 * DAY, 5)


def test_a_day_of_25_hours_is_one_day():
    days = [T0, T0 + 25 * HOUR]

    found = made(stood("room_too_cold", 24.5 * HOUR, 24.6 * HOUR), days=days, to_s=T0 + 30 * HOUR)

    assert found.a_day == (1, 0)


def test_acts_are_no_alarms():
    found = made(stood("tape_window_closing", 0, HOUR, "layer:1"))

    assert (found.alarms, found.acts, found.never_seen) == (0, 1, 0)
    assert found.acts_by_priority["urgent"] == 1
    assert found.alarms_by_priority["urgent"] == 0
    assert [one.key for one in found.frequent] == ["tape_window_closing"]


def test_shares_are_told_by_priority():
    journal = [
        *stood("room_too_cold", 0, 600),
        *stood("room_will_be_too_cold", 0, 600),
        *stood("disk_low", 0, 600, "works:disk"),
    ]

    assert made(journal).alarms_by_priority == {"urgent": 1, "soon": 2, "note": 0}


@pytest.mark.parametrize(("apart_s", "chatters"), [(30, True), (31, False)])
def test_chattering_is_three_raisings_within_a_minute(apart_s, chatters):
    journal = [
        change
        for n in range(3)
        for change in stood("sensor_silent", n * apart_s, n * apart_s + 1, "node:a")
    ]

    assert made(journal).chattering == ((("sensor_silent", "node:a"),) if chatters else ())


def test_three_alarms_in_a_minute_in_three_places_do_not_chatter():
    journal = [c for n in range(3) for c in stood("sensor_silent", n, n + 30, f"node:{n}")]

    assert made(journal).chattering == ()


@pytest.mark.parametrize(
    ("hours", "standing", "stale"), [(8.0, 0, 0), (8.1, 1, 0), (24.0, 1, 0), (24.1, 1, 1)]
)
def test_standing_is_longer_than_a_shift_and_stale_longer_than_a_day(hours, standing, stale):
    found = made(stood("room_too_cold", 0, hours * HOUR))

    assert (len(found.standing), len(found.stale)) == (standing, stale)


def test_an_alarm_that_stands_yet_is_as_long_as_it_has_stood():
    raised = step("disk_low", 29 * DAY, "normal", "unacknowledged", "works:disk")
    state = held("disk_low", 29 * DAY, subject="works:disk")

    assert made([raised], [state]).stale == ()
    assert len(made([raised], [state], to_s=END + 2 * DAY).stale) == 1


def test_an_alarm_raised_before_the_month_is_stale_but_no_new_alarm():
    found = made(states=[held("disk_low", -50 * DAY, subject="works:disk")])

    assert found.alarms == 0
    (stale,) = found.stale
    assert stale.length_s(END) == pytest.approx(80 * DAY - 1)


def test_one_that_cleared_in_the_month_and_began_before_it_counts_from_its_first_day():
    found = made([step("room_too_cold", 10 * HOUR, "acknowledged", "normal")])

    (standing,) = found.standing
    assert (standing.from_s, standing.to_s) == (T0, T0 + 10 * HOUR)


def test_hiding_an_alarm_ends_its_stretch_and_its_return_is_a_new_one():
    journal = [
        step("room_too_cold", 0, "normal", "unacknowledged"),
        step("room_too_cold", 2 * HOUR, "unacknowledged", "shelved"),
        step("room_too_cold", 10 * HOUR, "shelved", "unacknowledged"),
        step("room_too_cold", 11 * HOUR, "unacknowledged", "acknowledged"),
        step("room_too_cold", 12 * HOUR, "acknowledged", "normal"),
    ]

    found = stretches(journal, [], T0)

    assert [(one.from_s - T0, one.to_s - T0) for one in found] == [
        (0.0, 2 * HOUR),
        (10 * HOUR, 12 * HOUR),
    ]
    assert made(journal).alarms == 2


def test_a_reminder_is_not_a_new_alarm():
    journal = [
        step("room_too_cold", 0, "normal", "unacknowledged"),
        step("room_too_cold", 5 * HOUR, "unacknowledged", "unacknowledged"),
    ]

    assert made(journal).alarms == 1
    assert len(stretches(journal, [], T0)) == 1


def test_the_response_is_the_median_time_until_somebody_knew():
    journal = []
    for day, minutes in enumerate((5, 10, 60)):
        at_s = day * DAY
        journal += [
            step("room_too_cold", at_s, "normal", "unacknowledged"),
            step("room_too_cold", at_s + minutes * 60, "unacknowledged", "acknowledged"),
            step("room_too_cold", at_s + 2 * HOUR, "acknowledged", "normal"),
        ]
    journal += stood("room_too_damp", 5 * DAY, 5 * DAY + HOUR)

    found = made(journal)

    assert found.response_s == 10 * 60
    assert found.never_seen == 1


def test_never_seen_counts_what_was_raised_in_the_span_and_nobody_saw_or_hid():
    journal = [
        *stood("room_too_cold", 0, HOUR),
        step("room_too_damp", HOUR, "normal", "unacknowledged"),
        step("room_too_damp", 2 * HOUR, "unacknowledged", "shelved"),
        step("disk_low", 3 * HOUR, "unacknowledged", "returned", "works:disk"),
    ]

    found = made(journal)

    assert (found.alarms, found.never_seen) == (2, 1)


def test_the_order_of_the_journal_does_not_matter_and_outside_the_span_nothing_counts():
    journal = [*stood("room_too_cold", 0, HOUR), *stood("room_too_damp", DAY, DAY + HOUR)]
    outside = [*stood("room_too_cold", -DAY, -DAY + HOUR), *stood("disk_low", 40 * DAY, 41 * DAY)]

    assert made([*reversed(journal), *outside]) == made(journal)


def test_the_most_frequent_come_first_with_their_longest_stretch():
    journal = [
        *stood("disk_low", 0, HOUR, "works:disk"),
        *stood("room_too_cold", 0, HOUR),
        *stood("room_too_cold", DAY, DAY + 3 * HOUR),
    ]

    assert [(one.key, one.times, one.longest_s) for one in made(journal).frequent] == [
        ("room_too_cold", 2, 3 * HOUR),
        ("disk_low", 1, HOUR),
    ]


@pytest.mark.parametrize("days", [[], [T0 + DAY, T0], [T0, T0], [END + 1]])
def test_days_that_make_no_span_are_refused(days):
    with pytest.raises(ValueError, match="expected rising moments"):
        made(days=days)
