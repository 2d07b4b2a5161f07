"""The alarms' journal, a line for each time one stood: when, what, where, and what was done.

A page holds the ten that were raised last before a given one, so that a life is told whole
and on one page, however late it ended.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from dashboard import views, wording
from dashboard.wording import Local
from monitor.answers.alarm_month import REMINDERS
from monitor.core.vocabulary import AlarmChange, AlarmPhase
from monitor.store import alarms, pieces, readings
from monitor.store.alarms import JournalEntry

LINES = 10
# Steps that may begin a line: raised, or hidden while nothing was wrong.
BEGINS: tuple[AlarmPhase, ...] = ("unacknowledged", "shelved", "out_of_service")
_READ = 40
_REACH_S = 2 * 86400.0


@dataclass(frozen=True)
class Life:
    """One alarm from its first step until it was over or hidden; `ended` None: it stands."""

    first: JournalEntry
    seen_s: float | None = None
    ended: AlarmChange | None = None


@dataclass(frozen=True)
class Line:
    """One life in words."""

    when: str
    name: str
    where: str
    words: str
    notes: tuple[str, ...]


@dataclass(frozen=True)
class JournalPage:
    """Lines by day, newest first, and the number that asks for the page after it."""

    days: tuple[tuple[str, tuple[Line, ...]], ...]
    next_older: int | None


def page(con: sqlite3.Connection, older: int | None, here: Local) -> JournalPage:
    """The lives that began before entry `older`, or the newest."""
    begun = _begun(con, older)
    shown = begun[:LINES]
    names = _names(con)
    lines = [
        (_day(life.first.change.at_s, here), _line(con, life, names, here))
        for life in lives(con, shown, here.now_s)
    ]
    return JournalPage(
        days=tuple(
            (day, tuple(line for _, line in group))
            for day, group in groupby(lines, key=lambda pair: pair[0])
        ),
        next_older=shown[-1].id if len(begun) > LINES else None,
    )


def lives(con: sqlite3.Connection, begun: Sequence[JournalEntry], now_s: float) -> list[Life]:
    """What became of each; steps are read as far ahead as it takes, not to the present."""
    if not begun:
        return []
    from_s, reach_s = begun[-1].change.at_s, _REACH_S
    while True:
        to_s = begun[0].change.at_s + reach_s
        found = _lived(begun, alarms.changes(con, from_s, to_s))
        if to_s >= now_s or all(one.ended is not None for one in found):
            return found
        reach_s *= 4.0


def _begun(con: sqlite3.Connection, older: int | None) -> list[JournalEntry]:
    """First steps, newest first, one more than a page holds."""
    found: list[JournalEntry] = []
    while len(found) <= LINES:
        entries = alarms.journal(con, phases=BEGINS, older_than=older, limit=_READ)
        found += [entry for entry in entries if entry.change.before not in views.STANDING]
        if len(entries) < _READ:
            break
        older = entries[-1].id
    return found[: LINES + 1]


def _lived(begun: Sequence[JournalEntry], steps: Sequence[AlarmChange]) -> list[Life]:
    """`begun` from the newest on, `steps` from the oldest on."""
    found = [
        Life(one, ended=one.change if one.change.after in views.HIDDEN else None) for one in begun
    ]
    waiting: dict[tuple[str, str, float], list[int]] = {}
    for place, one in enumerate(begun):
        waiting.setdefault((*_who(one.change), one.change.at_s), []).append(place)
    standing: dict[tuple[str, str], int] = {}
    for step in steps:
        who = _who(step)
        if step.before not in views.STANDING:
            places = waiting.get((*who, step.at_s))
            if places and step.after in BEGINS:
                standing[who] = places.pop()
            continue
        if who not in standing:
            continue
        life = found[standing[who]]
        if step.after == "acknowledged":
            found[standing[who]] = replace(life, seen_s=step.at_s)
        elif step.after not in views.STANDING:
            found[standing.pop(who)] = replace(life, ended=step)
    return found


def _who(step: AlarmChange) -> tuple[str, str]:
    return step.key, step.subject


def _names(con: sqlite3.Connection) -> dict[str, str]:
    """What the subjects of alarms are called; of what was deleted nothing is left to say."""
    names = {f"room:{one.key}": views.sensor_name(one) for one in readings.sensors(con)}
    for piece in pieces.pieces(con):
        names |= {f"layer:{layer.id}": f"{layer.name}, {piece.name}" for layer in piece.layers}
    return names


def _line(con: sqlite3.Connection, life: Life, names: dict[str, str], here: Local) -> Line:
    first, ended = life.first.change, life.ended
    # A reminder speaks of its hour; once that is past only its name is true.
    past = ended is not None and first.key in REMINDERS
    return Line(
        when=_when(life, here),
        name=wording.alarm_name(first.key),
        where=names.get(first.subject, ""),
        words="" if past else here.on_paper().spoken(first.words),
        notes=(*_seen(life), *_hidden(con, ended, here), *_not_sent(life.first.sent)),
    )


def _when(life: Life, here: Local) -> str:
    begin_s = life.first.change.at_s
    begin = here.at(begin_s).strftime("%H:%M")
    if life.ended is None:
        return f"since {begin}"
    if life.ended is life.first.change:
        return begin
    end_s = life.ended.at_s
    end = here.at(end_s).strftime("%H:%M")
    days = (here.at(end_s).date() - here.at(begin_s).date()).days
    if days == 0:
        return begin if end == begin else f"{begin} to {end}"
    if days == 1:
        return f"{begin} to {end} the next day"
    return f"{begin} to {here.worded(end_s, '%a %-d %b %H:%M')}"


def _seen(life: Life) -> tuple[str, ...]:
    if life.seen_s is None:
        return ()
    return (f"Seen after {wording.span(life.seen_s - life.first.change.at_s)}.",)


def _hidden(con: sqlite3.Connection, ended: AlarmChange | None, here: Local) -> tuple[str, ...]:
    if ended is None or ended.after not in views.HIDDEN:
        return ()
    if ended.after == "out_of_service":
        return ("Switched off.",)
    until_s = next(
        (
            entry.until_s
            for entry in alarms.journal(
                con, subject=ended.subject, from_s=ended.at_s, to_s=ended.at_s, phases=("shelved",)
            )
            if entry.change.key == ended.key
        ),
        None,
    )
    if until_s is None:
        return ("Hidden for a while.",)
    same = here.at(until_s).date() == here.at(ended.at_s).date()
    return (f"Hidden until {here.worded(until_s, '%H:%M' if same else '%a %-d %b %H:%M')}.",)


def _not_sent(sent: str) -> tuple[str, ...]:
    """Only what did not go out is worth a word."""
    found = []
    for part in sent.split(", "):
        way, _, how = part.partition(" ")
        if how == "given up":
            found.append(f"Could not be sent by {way}.")
        elif how == "waiting":
            found.append(f"Waiting to be sent by {way}.")
    return tuple(found)


def _day(at_s: float, here: Local) -> str:
    this_year = here.at(at_s).year == here.at(here.now_s).year
    return here.worded(at_s, "%a %-d %b" if this_year else "%a %-d %b %Y")
