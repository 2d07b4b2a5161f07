"""What may follow what in an alarm's life. Everything that decides it lives in this file.

Rules, in the terms of ISA-18.2 / IEC 62682 (in own words):

1. A condition raises an alarm only after it has persisted for the on-delay, and clears it
   only after it has been gone for the off-delay. Both are measured on the conditions' own
   times, so the moments do not depend on when the program looks. Inside the deadband
   (`wrong` is None) whatever is running goes on running.
2. Acknowledging says "I know". It never changes what is wrong.
3. Shelving hides an alarm for a stated time of at most `MAX_SHELF_S` and always ends by
   itself; out of service lasts until a person ends it; suppressed is the program's own word
   for "meaningless just now". Leaving any of the three with the matter still wrong raises
   the alarm anew, and it is told anew.
4. An alarm that comes again within its repeat window is raised, and says so in its words,
   but nobody is told again until the window is over: if it then still stands unacknowledged,
   they are told once.
5. One that cleared unseen stays `returned` until acknowledged, or for `LAPSE_S`.
6. Between `normal` and `suppressed` there is nothing to tell and nothing to write down: the
   state moves without a change.

`raised_at_s` is set exactly while the matter counts as wrong, whatever hides it; in
`returned` it stays as a memory of the past stretch.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Literal, get_args

from monitor.core.alarms.words import moment
from monitor.core.vocabulary import (
    AlarmChange,
    AlarmPhase,
    AlarmRule,
    AlarmState,
    Condition,
    Priority,
)

Event = Literal[
    "wrong",  # persisted for the on-delay
    "right",  # gone for the off-delay
    "acknowledge",
    "shelve",
    "take_out",
    "suppress",
    "back_wrong",  # hidden no longer, and the matter is wrong
    "back_right",  # hidden no longer, and all is well
    "lapse",
    "remind",
]
Act = Literal["acknowledge", "shelve", "unshelve", "out_of_service", "in_service"]

HOUR_S = 3600.0
MAX_SHELF_S = 24 * HOUR_S
SHELF_S = 1 * HOUR_S  # where a person states no end
LAPSE_S = 24 * HOUR_S
REPEAT_WINDOW_S: Mapping[Priority, float] = MappingProxyType(
    {"urgent": 4 * HOUR_S, "soon": 6 * HOUR_S, "note": 12 * HOUR_S}
)
CLOCK_SLACK_S = 120.0  # a node's clock may run ahead of ours by this much

TABLE: Mapping[tuple[AlarmPhase, Event], AlarmPhase] = MappingProxyType(
    {
        ("normal", "wrong"): "unacknowledged",
        ("normal", "shelve"): "shelved",
        ("normal", "take_out"): "out_of_service",
        ("normal", "suppress"): "suppressed",
        ("unacknowledged", "right"): "returned",
        ("unacknowledged", "acknowledge"): "acknowledged",
        ("unacknowledged", "shelve"): "shelved",
        ("unacknowledged", "take_out"): "out_of_service",
        ("unacknowledged", "suppress"): "suppressed",
        ("unacknowledged", "remind"): "unacknowledged",
        ("acknowledged", "right"): "normal",
        ("acknowledged", "shelve"): "shelved",
        ("acknowledged", "take_out"): "out_of_service",
        ("acknowledged", "suppress"): "suppressed",
        ("returned", "wrong"): "unacknowledged",
        ("returned", "acknowledge"): "normal",
        ("returned", "shelve"): "shelved",
        ("returned", "take_out"): "out_of_service",
        ("returned", "suppress"): "suppressed",
        ("returned", "lapse"): "normal",
        ("shelved", "back_wrong"): "unacknowledged",
        ("shelved", "back_right"): "normal",
        ("shelved", "shelve"): "shelved",
        ("shelved", "take_out"): "out_of_service",
        ("out_of_service", "back_wrong"): "unacknowledged",
        ("out_of_service", "back_right"): "normal",
        ("suppressed", "back_wrong"): "unacknowledged",
        ("suppressed", "back_right"): "normal",
        ("suppressed", "shelve"): "shelved",
        ("suppressed", "take_out"): "out_of_service",
    }
)


class IllegalEvent(Exception):
    """An event that the table does not allow in this phase: a fault of the caller."""


def following(phase: AlarmPhase, event: Event) -> AlarmPhase:
    """The phase after `event`. Raises IllegalEvent where the table has no entry."""
    try:
        return TABLE[phase, event]
    except KeyError:
        raise IllegalEvent(
            f"alarm event {event!r} cannot happen in phase {phase!r}; see states.TABLE"
        ) from None


def step(
    state: AlarmState, rule: AlarmRule, condition: Condition
) -> tuple[AlarmState, AlarmChange | None]:
    """Take in one condition; the change, if any, happens at the condition's own time.

    A condition not newer than the newest one taken in changes nothing, so feeding the same
    readings again is harmless. Raises ValueError for a condition of another alarm.
    """
    if (condition.key, condition.subject) != (state.key, state.subject) or rule.key != state.key:
        raise ValueError(
            f"condition {condition.key!r} of {condition.subject!r} was given to alarm "
            f"{state.key!r} of {state.subject!r} under rule {rule.key!r}; they must agree"
        )
    if state.seen_s is not None and condition.at_s <= state.seen_s:
        return state, None
    state = _timed(state, condition)
    if not condition.meaningful:
        if (state.phase, "suppress") not in TABLE:
            return replace(state, raised_at_s=None), None
        return _unwritten(_move(state, rule, "suppress", condition.at_s))

    comes = not active(state) and _lasted(state.wrong_since_s, condition.at_s, rule.on_delay_s)
    goes = active(state) and _lasted(state.right_since_s, condition.at_s, rule.off_delay_s)
    if state.phase == "suppressed":
        event: Event = "back_wrong" if comes else "back_right"
        return _unwritten(_move(state, rule, event, condition.at_s))
    if state.phase in ("shelved", "out_of_service"):
        if comes:
            state = replace(state, raised_at_s=condition.at_s)
        elif goes:
            state = replace(state, raised_at_s=None)
        return state, None
    if comes:
        return _move(state, rule, "wrong", condition.at_s)
    if goes:
        return _move(state, rule, "right", condition.at_s)
    return state, None


def person(
    state: AlarmState,
    rule: AlarmRule,
    act: Act,
    at_s: float,
    until_s: float | None = None,
    by: str = "",
) -> tuple[AlarmState, AlarmChange | None]:
    """What a person did. An act without meaning in this phase changes nothing.

    Shelving without an end lasts `SHELF_S`; a longer one than `MAX_SHELF_S` is cut to it;
    one that ends before it begins is no shelving. Raises ValueError for an unknown act.
    """
    if act not in get_args(Act):
        raise ValueError(f"alarm act {act!r} is unknown; one of {', '.join(get_args(Act))}")
    by = by or "a person"
    event: Event
    if act == "shelve":
        end_s = at_s + SHELF_S if until_s is None else min(until_s, at_s + MAX_SHELF_S)
        if end_s <= at_s or (state.phase, "shelve") not in TABLE:
            return state, None
        return _move(replace(state, shelved_until_s=end_s), rule, "shelve", at_s, by)
    if act == "unshelve" or act == "in_service":
        hidden: AlarmPhase = "shelved" if act == "unshelve" else "out_of_service"
        if state.phase != hidden:
            return state, None
        event = "back_right" if state.raised_at_s is None else "back_wrong"
        return _move(state, rule, event, at_s, by)
    event = "acknowledge" if act == "acknowledge" else "take_out"
    if (state.phase, event) not in TABLE:
        return state, None
    return _move(state, rule, event, at_s, by)


def tick(state: AlarmState, rule: AlarmRule, now_s: float) -> tuple[AlarmState, AlarmChange | None]:
    """What time alone does: ends shelving, lets a returned alarm lapse, reminds of a repeat.

    Where the clock was set back, what was seen in the future is forgotten and no shelf may
    end later than `MAX_SHELF_S` from now: a wrong clock silences nothing.
    """
    if state.seen_s is not None and state.seen_s > now_s + CLOCK_SLACK_S:
        state = replace(state, seen_s=None, wrong_since_s=None, right_since_s=None)
    if state.since_s > now_s + CLOCK_SLACK_S:
        state = replace(state, since_s=now_s)
    if state.raised_at_s is not None and state.raised_at_s > now_s + CLOCK_SLACK_S:
        state = replace(state, raised_at_s=now_s)
    if state.last_noticed_s is not None and state.last_noticed_s > now_s + CLOCK_SLACK_S:
        state = replace(state, last_noticed_s=None)
    if state.phase == "shelved":
        latest_s = now_s + MAX_SHELF_S
        until_s = latest_s if state.shelved_until_s is None else state.shelved_until_s
        if now_s < until_s:
            return replace(state, shelved_until_s=min(until_s, latest_s)), None
        event: Event = "back_right" if state.raised_at_s is None else "back_wrong"
        return _move(state, rule, event, now_s)
    if state.phase == "returned" and now_s >= state.since_s + LAPSE_S:
        return _move(state, rule, "lapse", now_s)
    if state.phase == "unacknowledged" and state.repeats and _window_over(state, rule, now_s):
        return _move(state, rule, "remind", now_s)
    return state, None


def active(state: AlarmState) -> bool:
    """Whether the matter counts as wrong, whether shown or hidden."""
    return state.raised_at_s is not None and state.phase != "returned"


def _timed(state: AlarmState, condition: Condition) -> AlarmState:
    """The state with its timers, words and newest moment brought up to this condition."""
    wrong_since_s, right_since_s = state.wrong_since_s, state.right_since_s
    if not condition.meaningful:
        wrong_since_s = right_since_s = None
    elif condition.wrong:
        wrong_since_s = condition.at_s if wrong_since_s is None else wrong_since_s
        right_since_s = None
    elif condition.wrong is not None:
        right_since_s = condition.at_s if right_since_s is None else right_since_s
        wrong_since_s = None
    return replace(
        state,
        seen_s=condition.at_s,
        wrong_since_s=wrong_since_s,
        right_since_s=right_since_s,
        words=condition.words,
        value=condition.value,
    )


def _move(
    state: AlarmState, rule: AlarmRule, event: Event, at_s: float, by: str = "program"
) -> tuple[AlarmState, AlarmChange]:
    after = following(state.phase, event)
    raised = event in ("wrong", "back_wrong")
    notice = event == "remind" or (raised and _is_news(state, rule, event, at_s))
    words = state.words
    repeats = state.repeats
    if event == "remind":
        words += _again(repeats, state.last_noticed_s)
    if notice:
        repeats = 0
    elif raised:
        repeats += 1
        words += _again(repeats, state.last_noticed_s)

    raised_at_s = state.raised_at_s
    if raised:
        raised_at_s = at_s if event == "wrong" or raised_at_s is None else raised_at_s
    elif after in ("normal", "suppressed") or state.phase == "returned":
        raised_at_s = None
    moved = replace(
        state,
        phase=after,
        since_s=state.since_s if event == "remind" else at_s,
        raised_at_s=raised_at_s,
        shelved_until_s=state.shelved_until_s if after == "shelved" else None,
        repeats=repeats,
        last_noticed_s=at_s if notice else state.last_noticed_s,
        words=words,
    )
    change = AlarmChange(
        key=state.key,
        subject=state.subject,
        at_s=at_s,
        before=state.phase,
        after=after,
        words=words,
        priority=rule.priority,
        notice=notice,
        by=by,
        value=state.value,
    )
    return moved, change


def _is_news(state: AlarmState, rule: AlarmRule, event: Event, at_s: float) -> bool:
    hidden_by_person = state.phase in ("shelved", "out_of_service")
    if state.last_noticed_s is None or (event == "back_wrong" and hidden_by_person):
        return True
    return _window_over(state, rule, at_s)


def _window_over(state: AlarmState, rule: AlarmRule, at_s: float) -> bool:
    noticed_s = state.last_noticed_s
    return noticed_s is None or at_s - noticed_s >= REPEAT_WINDOW_S[rule.priority]


def _unwritten(
    moved: tuple[AlarmState, AlarmChange],
) -> tuple[AlarmState, AlarmChange | None]:
    state, change = moved
    idle = {change.before, change.after} == {"normal", "suppressed"}
    return state, None if idle else change


def _again(repeats: int, noticed_s: float | None) -> str:
    since = "" if noticed_s is None else f" since {moment(noticed_s)}"
    return f" Again: {repeats + 1} times{since}."


def _lasted(since_s: float | None, at_s: float, delay_s: float) -> bool:
    return since_s is not None and at_s - since_s >= delay_s
