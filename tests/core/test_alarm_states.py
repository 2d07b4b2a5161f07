"""An alarm's life: exhaustively against the table, then against a model by random walks.

The states and their names are those of ISA-18.2 / IEC 62682 (from memory); the table below is
written out by hand here, apart from the one in the code.
"""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from monitor.core.alarms import states
from monitor.core.alarms.states import IllegalEvent, following, person, step, tick
from monitor.core.vocabulary import AlarmPhase, AlarmRule, AlarmState, Condition

COLD = AlarmRule("cold", "urgent", 300.0, 600.0, 0.5, "It stays soft.", "Warm it.", "test")
HIDDEN = ("shelved", "out_of_service")  # by a person
T0 = 1_700_000_000.0
WINDOW_S = states.REPEAT_WINDOW_S["urgent"]

# Rows: phases. Columns: events. '-' is illegal.
EXPECTED = """
               wrong acknowledge right shelve take_out suppress back_wrong back_right lapse remind
normal         U     -           -     S      O        D        -          -          -     -
unacknowledged -     A           R     S      O        D        -          -          -     U
acknowledged   -     -           N     S      O        D        -          -          -     -
returned       U     N           -     S      O        D        -          -          N     -
shelved        -     -           -     S      O        -        U          N          -     -
out_of_service -     -           -     -      -        -        U          N          -     -
suppressed     -     -           -     S      O        -        U          N          -     -
"""
LETTERS = {
    "N": "normal",
    "U": "unacknowledged",
    "A": "acknowledged",
    "R": "returned",
    "S": "shelved",
    "O": "out_of_service",
    "D": "suppressed",
}


def judged(at_s, wrong, meaningful=True, words="14.0 °C"):
    return Condition("cold", "room:a", T0 + at_s, wrong, words, 14.0, 15.0, meaningful)


def alarm(**fields):
    return AlarmState("cold", "room:a", **fields)


def fed(state, *pairs):
    """The state after conditions at (seconds, wrong), and every change on the way."""
    changes = []
    for at_s, wrong in pairs:
        state, change = step(state, COLD, judged(at_s, wrong))
        if change is not None:
            changes.append((change.at_s - T0, change.before, change.after, change.notice))
    return state, changes


def expected_table():
    head, *rows = EXPECTED.strip().splitlines()
    for row in rows:
        phase, *cells = row.split()
        for event, cell in zip(head.split(), cells, strict=True):
            yield phase, event, LETTERS.get(cell)


@pytest.mark.parametrize(("phase", "event", "after"), list(expected_table()))
def test_every_phase_answers_every_event_as_the_table_says(phase, event, after):
    if after is None:
        with pytest.raises(IllegalEvent, match=f"{event}.*{phase}"):
            following(phase, event)
    else:
        assert following(phase, event) == after


def test_the_hand_written_table_covers_all_phases_and_events():
    assert {(p, e) for p, e, _ in expected_table()} == {
        (p, e) for p in get_args(AlarmPhase) for e in get_args(states.Event)
    }


@pytest.mark.parametrize("phase", get_args(AlarmPhase))
def test_an_act_without_meaning_changes_nothing(phase):
    at_rest = alarm(
        phase=phase, since_s=T0, shelved_until_s=T0 + 60 if phase == "shelved" else None
    )
    events = {"acknowledge": "acknowledge", "shelve": "shelve", "out_of_service": "take_out"}
    for act in get_args(states.Act):
        legal = (
            (phase, events[act]) in states.TABLE
            if act in events
            else (phase == {"unshelve": "shelved", "in_service": "out_of_service"}[act])
        )

        after, change = person(at_rest, COLD, act, T0 + 1, T0 + 50, "Kim")

        assert (change is not None) == legal, act
        if not legal:
            assert after == at_rest
        else:
            assert (change.by, change.before, change.after) == ("Kim", phase, after.phase)


def test_an_unknown_act_is_refused_by_name():
    with pytest.raises(ValueError, match="'ignore' is unknown"):
        person(alarm(), COLD, "ignore", T0)


def test_a_condition_of_another_alarm_is_refused():
    with pytest.raises(ValueError, match="must agree"):
        step(alarm(), COLD, replace(judged(0, True), subject="room:b"))


def test_it_is_raised_at_the_first_reading_that_completes_the_on_delay():
    _, changes = fed(alarm(), (0, True), (120, True), (290, True), (310, True), (400, True))

    assert changes == [(310, "normal", "unacknowledged", True)]


def test_a_dip_shorter_than_the_on_delay_raises_nothing():
    _, changes = fed(alarm(), (0, True), (240, True), (280, False), (300, True), (500, True))

    assert changes == []


def test_the_deadband_keeps_the_on_delay_running():
    _, changes = fed(alarm(), (0, True), (120, None), (240, True), (300, True))

    assert changes == [(300, "normal", "unacknowledged", True)]


def test_it_clears_only_after_the_off_delay_without_a_wrong_reading():
    _, changes = fed(
        alarm(),
        *((0, True), (300, True)),
        *((400, False), (900, True)),  # wrong again: the off-delay starts over
        *((1000, False), (1200, None), (1590, False), (1600, False)),
    )

    assert changes == [
        (300, "normal", "unacknowledged", True),
        (1600, "unacknowledged", "returned", False),
    ]


def test_feeding_the_same_readings_again_changes_nothing():
    state, _ = fed(alarm(), (0, True), (300, True), (400, False))

    again, changes = fed(state, (0, True), (300, True), (400, False))

    assert (again, changes) == (state, [])


def test_acknowledging_does_not_change_what_is_wrong():
    state, _ = fed(alarm(), (0, True), (300, True))
    state, change = person(state, COLD, "acknowledge", T0 + 310, by="Kim")
    assert (change.after, change.notice) == ("acknowledged", False)

    _, changes = fed(state, (400, True), (500, False), (1100, False))

    assert changes == [(1100, "acknowledged", "normal", False)]


def test_a_repeat_within_its_window_says_so_and_tells_nobody():
    state, _ = fed(alarm(), (0, True), (300, True), (400, False), (1000, False))

    state, change = step(state, COLD, judged(1300, True))
    state, change = step(state, COLD, judged(1600, True))

    assert (change.after, change.notice) == ("unacknowledged", False)
    assert state.repeats == 1
    assert "Again: 2 times since ⟦1700000300⟧" in change.words


def test_a_silent_repeat_that_still_stands_when_the_window_ends_is_told_once():
    state, _ = fed(alarm(), (0, True), (300, True), (400, False), (1000, False))
    state, _ = fed(state, (1300, True), (1600, True))
    over_s = T0 + 300 + WINDOW_S

    early = tick(state, COLD, over_s - 1)
    state, change = tick(state, COLD, over_s)

    assert early[1] is None
    assert (change.before, change.after, change.notice) == ("unacknowledged",) * 2 + (True,)
    assert tick(state, COLD, over_s + 2 * WINDOW_S)[1] is None


def test_after_the_window_it_is_news_again():
    state, _ = fed(alarm(), (0, True), (300, True), (400, False), (1000, False))
    late = WINDOW_S + 300

    state, changes = fed(state, (late, True), (late + 300, True))

    assert changes == [(late + 300, "returned", "unacknowledged", True)]
    assert state.repeats == 0


def test_shelving_ends_by_itself_and_a_matter_still_wrong_is_told_anew():
    state, _ = fed(alarm(), (0, True), (300, True))
    state, _ = person(state, COLD, "shelve", T0 + 310, T0 + 1000, "Kim")
    state, changes = fed(state, (600, True), (900, True))
    assert (state.phase, changes) == ("shelved", [])

    state, change = tick(state, COLD, T0 + 1000)

    assert (change.before, change.after, change.notice) == ("shelved", "unacknowledged", True)


def test_shelving_ends_in_peace_where_the_matter_has_gone():
    state, _ = fed(alarm(), (0, True), (300, True))
    state, _ = person(state, COLD, "shelve", T0 + 310, T0 + 2000, "Kim")
    state, _ = fed(state, (600, False), (1200, False))

    state, change = tick(state, COLD, T0 + 2000)

    assert (change.after, change.notice) == ("normal", False)


def test_no_shelf_outlasts_a_day_whatever_was_asked_or_the_clock_did():
    state, _ = person(alarm(), COLD, "shelve", T0, T0 + 90 * 86400, "Kim")
    assert state.shelved_until_s == T0 + 86400

    # Shelved while the clock stood in 2100, which was then put right.
    state, _ = tick(replace(state, shelved_until_s=4.1e9, since_s=4.1e9), COLD, T0)

    assert state.shelved_until_s == T0 + 86400


def test_shelving_that_ends_before_it_begins_is_none():
    assert person(alarm(), COLD, "shelve", T0, T0 - 1) == (alarm(), None)


def test_out_of_service_lasts_until_somebody_ends_it():
    state, _ = fed(alarm(), (0, True), (300, True))
    state, _ = person(state, COLD, "out_of_service", T0 + 310, by="Kim")
    assert tick(state, COLD, T0 + 1e8)[0].phase == "out_of_service"

    state, change = person(state, COLD, "in_service", T0 + 400, by="Kim")

    assert (change.after, change.notice) == ("unacknowledged", True)


def test_a_meaningless_alarm_is_suppressed_and_comes_back_only_after_a_full_on_delay():
    state, _ = fed(alarm(), (0, True), (300, True))
    state, change = step(state, COLD, judged(400, None, meaningful=False))
    assert (change.before, change.after) == ("unacknowledged", "suppressed")

    state, changes = fed(state, (500, True), (700, True), (800, True))

    # Nothing to tell between suppressed and normal; then the on-delay, then a silent repeat.
    assert changes == [(800, "normal", "unacknowledged", False)]


def test_an_act_with_no_delay_is_raised_straight_from_suppression():
    act = replace(COLD, on_delay_s=0.0, off_delay_s=0.0)
    state, _ = step(alarm(), act, judged(0, None, meaningful=False))
    assert state.phase == "suppressed"

    state, change = step(state, act, judged(10, True))

    assert (change.before, change.after, change.notice) == ("suppressed", "unacknowledged", True)


def test_what_returned_unseen_lapses_after_a_day():
    state, _ = fed(alarm(), (0, True), (300, True), (400, False), (1000, False))

    assert tick(state, COLD, T0 + 1000 + 86399)[1] is None
    state, change = tick(state, COLD, T0 + 1000 + 86400)

    assert (change.before, change.after, state.raised_at_s) == ("returned", "normal", None)


def test_a_clock_set_back_does_not_deafen_an_alarm():
    state, _ = step(alarm(), COLD, replace(judged(0, False), at_s=4.1e9))
    state, _ = tick(state, COLD, T0)

    _, changes = fed(state, (10, True), (310, True))

    assert changes == [(310, "normal", "unacknowledged", True)]


class AlarmLife(RuleBasedStateMachine):
    """Any order of readings, acts and ticks, against a model that knows nothing of phases."""

    def __init__(self):
        super().__init__()
        self.now = T0
        self.state = alarm()
        self.matter = False  # what counts as wrong, by a hysteresis with two delays
        self.wrong_from = self.right_from = None
        self.hidden_since_notice = False
        self.noticed = None
        self.until = None

    def take(self, result):
        state, change = result
        if change is None:
            assert state.phase == self.state.phase or {state.phase, self.state.phase} == {
                "normal",
                "suppressed",
            }
        else:
            assert (change.before, change.after) == (self.state.phase, state.phase)
            if change.after in HIDDEN:
                self.hidden_since_notice = True
            raised = change.after == "unacknowledged" and change.before != "unacknowledged"
            if raised and (change.before in HIDDEN or self.told_long_ago(change.at_s)):
                # No lost alarm: what is raised and is news is told at once.
                assert change.notice
            if change.notice:
                # No double notice: again only after the window, or after a person hid it.
                assert self.hidden_since_notice or self.told_long_ago(change.at_s)
                assert self.matter
                self.noticed, self.hidden_since_notice = change.at_s, False
        self.state = state

    def told_long_ago(self, at_s):
        """Never told, or before the repeat window."""
        return self.noticed is None or at_s - self.noticed >= WINDOW_S

    @rule(after_s=st.integers(1, 1200), wrong=st.sampled_from([True, True, None, False]))
    def reading(self, after_s, wrong):
        self.now += after_s
        if wrong is True:
            self.wrong_from, self.right_from = self.wrong_from or self.now, None
        elif wrong is False:
            self.right_from, self.wrong_from = self.right_from or self.now, None
        if not self.matter and self.wrong_from and self.now - self.wrong_from >= 300:
            self.matter = True
        elif self.matter and self.right_from and self.now - self.right_from >= 600:
            self.matter = False
        self.take(step(self.state, COLD, judged(self.now - T0, wrong)))

    @rule(after_s=st.integers(1, 1200))
    def meaningless(self, after_s):
        self.now += after_s
        self.matter, self.wrong_from, self.right_from = False, None, None
        self.take(step(self.state, COLD, judged(self.now - T0, None, meaningful=False)))

    @rule(age_s=st.integers(0, 5000), wrong=st.booleans())
    def old_reading(self, age_s, wrong):
        if self.state.seen_s is None:
            return
        old = replace(judged(0, wrong), at_s=self.state.seen_s - age_s)
        assert step(self.state, COLD, old) == (self.state, None)

    @rule(act=st.sampled_from(["acknowledge", "unshelve", "out_of_service", "in_service"]))
    def act(self, act):
        self.take(person(self.state, COLD, act, self.now, None, "Kim"))

    @rule(length_s=st.one_of(st.none(), st.integers(-10, 10 * 86400)))
    def shelve(self, length_s):
        until = None if length_s is None else self.now + length_s
        asked_s = 3600 if length_s is None else length_s
        self.take(person(self.state, COLD, "shelve", self.now, until, "Kim"))
        if self.state.phase == "shelved" and asked_s > 0:
            self.until = self.now + min(86400, asked_s)

    @rule(after_s=st.sampled_from([1, 60, 3600, 20000, 90000]))
    def wait(self, after_s):
        self.now += after_s
        self.take(tick(self.state, COLD, self.now))
        # Shelving always ends.
        assert self.state.phase != "shelved" or self.now < self.until
        # No lost alarm: what stands unacknowledged was told within the window, or since.
        if self.state.phase == "unacknowledged":
            told = self.state.last_noticed_s
            assert told is not None
            assert told >= self.state.raised_at_s or self.now - told < WINDOW_S

    @invariant()
    def what_is_wrong_and_not_hidden_is_shown(self):
        hidden = self.state.phase in HIDDEN
        if not hidden:
            assert (self.state.phase in ("unacknowledged", "acknowledged")) == self.matter
        if self.state.phase != "returned":
            assert (self.state.raised_at_s is not None) == self.matter


AlarmLife.TestCase.settings = settings(max_examples=120, stateful_step_count=50, deadline=None)
TestAlarmLife = AlarmLife.TestCase
