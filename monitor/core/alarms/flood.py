"""One cause, one message; and what may wait until morning."""

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

TOLD_S = 3600.0  # an effect seen this soon after its cause was told is no news
# What a sleeper can no longer put right in the morning. Urgent ones always wake.
LOST_BY_MORNING = frozenset(
    {
        "room_will_be_too_cold",
        "surface_at_risk",
        "rest_over",
        "tape_window_open",
        "recoat_window_closing",
    }
)
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

    @property
    def first(self) -> AlarmChange:
        """The change that says most."""
        return self.changes[0]

    @property
    def body(self) -> str:
        """What is the matter, what it leads to, what to do: one line each."""
        return "\n".join(line for line in (self.words, self.consequence, self.act) if line)


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
    return any(_RANK[notice.priority] <= rank for key, rank in _RANK.items() if key == least)


def worded(notice: Notice, to_local: Callable[[float], str]) -> Notice:
    """The notice with its moments in local time, ready to be read."""
    return replace(notice, words=local_words(notice.words, to_local))


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
