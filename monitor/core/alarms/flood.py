"""One cause, one message; what may wait until morning; and notes that ride along."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from monitor.core.alarms.rule_list import RULES
from monitor.core.alarms.words import local_words
from monitor.core.vocabulary import AlarmChange, Priority

# Within a cause, the first is the one that says most; the others are its signs or effects.
_CAUSES: Mapping[str, tuple[str, ...]] = {
    "cold": ("room_too_cold", "room_will_be_too_cold", "will_not_finish"),
    "damp": ("room_too_damp", "surface_at_risk"),
    "tape": ("tape_window_closing", "tape_window_open"),
    "recoat": ("recoat_window_closing", "recoat_window_open"),
    "line": ("broker_away", "sensor_silent"),
}
_CAUSE_OF = {key: cause for cause, keys in _CAUSES.items() for key in keys}
_EVERYWHERE = frozenset({"line"})  # one broken line silences every node

NOTE_WAIT_S = 3 * 3600.0  # nobody is called for a note that may soon come with something else
TOLD_S = 3600.0  # an effect seen this soon after its cause was told is no news
# What a sleeper can no longer put right in the morning. Urgent ones always wake.
LOST_BY_MORNING = frozenset(
    {
        "room_will_be_too_cold",
        "surface_at_risk",
        "tape_window_open",
        "recoat_window_closing",
    }
)
# On the page without a notice. Whoever has just mixed is at the bench; the recoat window is
# told before it closes; a touch is a favour asked. A day of one layer stays under six notices.
SHOWN_ONLY = frozenset({"rest_over", "recoat_window_open", "touch_test_wanted"})
_DAY_MIN = 1440
_RANK: Mapping[Priority, int] = {"urgent": 0, "soon": 1, "note": 2}


@dataclass(frozen=True)
class Notice:
    """One message to people. `id` is the same at every attempt to send it."""

    id: str
    at_s: float
    priority: Priority
    title: str
    words: str
    consequence: str
    act: str
    changes: tuple[AlarmChange, ...]
    also: tuple[str, ...] = ()  # notes that ride along, a line each

    @property
    def first(self) -> AlarmChange:
        """The change that says most."""
        return self.changes[0]

    @property
    def body(self) -> str:
        """What is the matter, what it leads to, what to do: one line each; then the notes."""
        also = [f"Also: {line}" for line in self.also]
        return "\n".join(line for line in (self.words, self.consequence, self.act, *also) if line)


def worth_telling(changes: Sequence[AlarmChange]) -> tuple[AlarmChange, ...]:
    """Those `changes` that people are told of; the others are on the page alone."""
    return tuple(one for one in changes if one.notice and one.key not in SHOWN_ONLY)


def gather(
    changes: Sequence[AlarmChange],
    room_of: Mapping[str, str] | None = None,
    place_of: Mapping[str, str] | None = None,
    told: Sequence[AlarmChange] = (),
) -> tuple[Notice, ...]:
    """One notice for each cause among those `changes` that ask for one, most pressing first.

    A change whose weightier cause is among `told` within the last `TOLD_S` is no news and is
    left out. `room_of` gives a layer's subject its room's subject, so that a cold room and
    the layer stalled in it are one message; `place_of` gives a subject the name people know.
    """
    rooms = room_of or {}
    groups: dict[tuple[str, str], list[AlarmChange]] = {}
    for change in changes:
        if change.notice and not _explained(change, told, rooms):
            groups.setdefault(_cause(change, rooms), []).append(change)
    notices = [_notice(group, place_of or {}) for group in groups.values()]
    return tuple(sorted(notices, key=lambda notice: (_RANK[notice.priority], notice.at_s)))


def ride_along(notices: Sequence[Notice]) -> tuple[Notice, ...]:
    """The notices, with all notes inside the most pressing one: one call instead of several.

    Without anything more pressing the first note takes in the others.
    """
    ordered = sorted(notices, key=lambda notice: _RANK[notice.priority])
    if not ordered:
        return ()
    host, *others = ordered
    notes = [notice for notice in others if notice.priority == "note"]
    carried = replace(
        host,
        changes=(*host.changes, *(change for note in notes for change in note.changes)),
        also=(*host.also, *(line for note in notes for line in note.words.splitlines())),
    )
    return (carried, *(notice for notice in others if notice.priority != "note"))


def due_at(notice: Notice, now_s: float, offset_s: float, quiet_from: str, quiet_to: str) -> float:
    """When to send: a note waits for company, and quiet hours hold back what may wait.

    `offset_s` is how far local time is ahead of UTC; the rest as for `hold_until`.
    """
    from_s = now_s + (NOTE_WAIT_S if notice.priority == "note" else 0.0)
    return hold_until(notice, from_s, from_s + offset_s, quiet_from, quiet_to)


def hold_until(
    notice: Notice, now_s: float, local_s: float, quiet_from: str, quiet_to: str
) -> float:
    """When to send: `now_s`, or the end of the quiet hours that `now_s` lies in.

    `local_s` is `now_s` plus the zone's offset; `quiet_from` (closed) and `quiet_to` (open)
    are local times "HH:MM". Equal, empty or unreadable ones mean no quiet hours: better a
    message at night than none. Urgent notices, and those holding a change that is
    `LOST_BY_MORNING`, are never held.
    """
    from_min, to_min = _minute(quiet_from), _minute(quiet_to)
    lost = any(change.key in LOST_BY_MORNING for change in notice.changes)
    if notice.priority == "urgent" or lost or from_min is None or to_min is None:
        return now_s
    into_day_min = (local_s / 60.0) % _DAY_MIN
    if (into_day_min - from_min) % _DAY_MIN >= (to_min - from_min) % _DAY_MIN:
        return now_s
    return now_s + 60.0 * ((to_min - into_day_min) % _DAY_MIN)


def reaches(notice: Notice, least: str) -> bool:
    """Whether a notice is pressing enough for a channel that wants at least priority `least`."""
    return _presses(notice.priority, least)


def heard(told: Sequence[AlarmChange], least: str) -> tuple[AlarmChange, ...]:
    """Those of `told` that a channel wanting at least priority `least` was told of.

    A cause it never heard of explains nothing to it: the effect is news there.
    """
    return tuple(change for change in told if _presses(change.priority, least))


def worded(notice: Notice, to_local: Callable[[float], str]) -> Notice:
    """The notice with its moments in local time, ready to be read."""
    also = tuple(local_words(line, to_local) for line in notice.also)
    return replace(notice, words=local_words(notice.words, to_local), also=also)


def _presses(priority: Priority, least: str) -> bool:
    return any(_RANK[priority] <= rank for key, rank in _RANK.items() if key == least)


def _explained(change: AlarmChange, told: Sequence[AlarmChange], rooms: Mapping[str, str]) -> bool:
    return any(
        other.notice
        and 0.0 <= change.at_s - other.at_s <= TOLD_S
        and _cause(other, rooms) == _cause(change, rooms)
        and _weight(other) < _weight(change)
        for other in told
    )


def _minute(text: str) -> int | None:
    hours, colon, minutes = text.strip().partition(":")
    if not (colon and hours.isdecimal() and minutes.isdecimal()):
        return None
    minute = 60 * int(hours) + int(minutes)
    return minute if int(minutes) < 60 and minute < _DAY_MIN else None


def _cause(change: AlarmChange, rooms: Mapping[str, str]) -> tuple[str, str]:
    cause = _CAUSE_OF.get(change.key)
    if cause is None:
        return change.key, change.subject
    if cause in _EVERYWHERE:
        return cause, ""
    place = rooms.get(change.subject, change.subject)
    return cause, place if cause in ("cold", "damp") else change.subject


def _weight(change: AlarmChange) -> int:
    cause = _CAUSE_OF.get(change.key)
    return 0 if cause is None else _CAUSES[cause].index(change.key)


def _notice(group: Sequence[AlarmChange], places: Mapping[str, str]) -> Notice:
    ordered = sorted(group, key=lambda change: (_weight(change), change.at_s))
    first = ordered[0]
    rule = RULES[first.key]
    lines = dict.fromkeys(_line(change, places) for change in ordered)
    return Notice(
        id=f"{first.key}/{first.subject}/{first.at_s:.0f}",
        at_s=min(change.at_s for change in ordered),
        priority=min((change.priority for change in ordered), key=_RANK.__getitem__),
        title=first.key.replace("_", " ").capitalize(),
        words="\n".join(lines),
        consequence=rule.consequence,
        act=rule.act,
        changes=tuple(ordered),
    )


def _line(change: AlarmChange, places: Mapping[str, str]) -> str:
    place = places.get(change.subject)
    return f"{place}: {change.words}" if place else change.words
