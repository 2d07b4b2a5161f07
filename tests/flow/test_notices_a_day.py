"""One ordinary day with one coating, told to a channel that wants everything.

The bound is this program's own: at most six notices on the day, none repeated within its
repeat window. The room is made up: heated to 21.5 °C by day, and by night to what a test states.
"""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise

import pytest

from firmware_side.sensors.simulated import SimulatedStudio, Studio
from monitor import shelf
from monitor.channels.dispatch import Dispatcher
from monitor.core.alarms.rules import RULES
from monitor.core.alarms.states import REPEAT_WINDOW_S
from monitor.store import alarms, intake_rows, marks, notices, pieces
from monitor.store.connection import writing
from monitor.store.intake_rows import Arrival
from monitor.watch import Watch, Works

KEY = "home/bench/air"
HOUR = 3600.0
DAY = 86400.0
POURED = 1_790_064_000.0 - 1_790_064_000.0 % DAY + 9 * HOUR  # nine in the morning, UTC
STEP = 300.0
# The monitor looks every few seconds; here as often as the shortest window asks for.
LOOKS_H = [n / 4 for n in range(1, 25)] + [6 + n for n in range(1, 19)]
COATING = next(one for one in shelf.library() if one.key == "coating_2_1")


def readings(from_s, to_s, night_c):
    room = SimulatedStudio(3, Studio(night_set_c=night_c)).history(from_s, to_s, STEP)
    return [Arrival(KEY, float(t), float(c), float(h)) for t, c, h in zip(*room, strict=True)]


class Phone:
    """A channel that wants everything and remembers it."""

    name = "phone"
    goes_to = "here"

    def __init__(self):
        self.now_s = 0.0
        self.got = []

    def send(self, notice):
        self.got.append((self.now_s, notice))


def live(con, hours, night_c=20.5, act=lambda _hours, _layer: None):
    """The real watch and telling through so many hours after a pour; (moment, notice) each."""
    rows = readings(POURED - 4 * DAY, POURED + hours * HOUR, night_c)
    past = [row for row in rows if row.taken_at_s <= POURED]
    coming = [row for row in rows if row.taken_at_s > POURED]
    with writing(con):
        intake_rows.commit(con, "home", "bench", past, (), {}, POURED)
        piece = pieces.add_piece(con, "Tray", POURED)
        layer = pieces.add_layer(con, piece, "Flood", COATING, POURED, POURED, depth_mm=3.0)
    watch, phone = Watch(channels=(("phone", "note"),)), Phone()
    telling = Dispatcher([phone], str)
    before_s = POURED
    for look_h in (one for one in LOOKS_H if one <= hours):
        phone.now_s = now_s = POURED + look_h * HOUR
        new = [row for row in coming if before_s < row.taken_at_s <= now_s]
        before_s = now_s
        with writing(con):
            intake_rows.commit(con, "home", "bench", new, (), {}, now_s)
            act(look_h, layer)
        watch.think(con, now_s, Works())
        telling.run_once(con, now_s)
    return phone.got


def told(got):
    """What each notice was about, in order."""
    return [[change.key for change in notice.changes] for _, notice in got]


def test_a_day_on_which_nobody_logs_anything_sends_few_notices(con):
    got = live(con, 24)

    assert len(got) <= 6
    assert [keys for keys in told(got) if not keys[0].startswith("room")] == [
        ["working_time_nearly_up"],
        ["tape_window_open"],
        ["tape_window_closing"],
        ["recoat_window_closing", "tack_free"],
    ]
    # The others are in the journal and on the page all the same.
    assert {"recoat_window_open", "touch_test_wanted"} <= {
        entry.change.key for entry in alarms.journal(con, phases=("unacknowledged",))
    }


def test_who_logs_what_they_do_hears_less(con):
    def act(hours, layer):
        if hours == pytest.approx(3.0):
            marks.add_mark(con, layer, "tape_pulled", POURED + 3 * HOUR, "good")

    assert ["tape_window_closing"] not in told(live(con, 5.5, act=act))


def test_nothing_is_repeated_within_its_window_even_on_a_cold_night(con):
    got = live(con, 24, night_c=14.0)

    by_alarm = defaultdict(list)
    for at_s, notice in got:
        for change in notice.changes:
            by_alarm[change.key, change.subject].append(at_s)
    for (key, _), at_s in by_alarm.items():
        gaps = [after - before for before, after in pairwise(at_s)]
        assert all(gap >= REPEAT_WINDOW_S[RULES[key].priority] for gap in gaps), key
    assert {"room_too_cold", "room_will_be_too_cold"} & {key for key, _ in by_alarm}


def test_an_urgent_effect_reaches_a_channel_that_was_not_told_of_its_lesser_cause(con):
    rows = readings(POURED - 2 * HOUR, POURED, 20.5)
    with writing(con):
        intake_rows.commit(con, "home", "bench", rows, (), {}, POURED)
    watch = Watch(silent_after_s=900.0, channels=(("siren", "urgent"), ("phone", "note")))
    for after_s in (10.0, 140.0, 1000.0):
        watch.think(con, POURED + after_s, Works(broker_connected=False))

    sent = {(row.channel, row.change.key) for row in notices.due(con, POURED + 1000.0)}

    assert sent == {("phone", "broker_away"), ("siren", "sensor_silent")}
