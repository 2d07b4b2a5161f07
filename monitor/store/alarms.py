"""Where each alarm stands, its journal, and what people asked of it."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from monitor.core.vocabulary import AlarmChange, AlarmPhase, AlarmState
from monitor.store.moments import maybe_ms, maybe_seconds, ms, seconds
from monitor.store.packing import pack, unpack

Act = Literal["acknowledge", "shelve", "unshelve", "out_of_service", "in_service"]


@dataclass(frozen=True)
class AlarmRow:
    """One alarm of one subject, under its number."""

    id: int
    state: AlarmState


@dataclass(frozen=True)
class JournalEntry:
    """One step of an alarm's life, and what became of telling people."""

    id: int
    change: AlarmChange
    sent: str
    until_s: float | None = None  # where a person hid it: the end they asked for
    raised_s: float | None = None  # where a person said they knew: since when it had stood


@dataclass(frozen=True)
class Ask:
    """What a person wants done with an alarm; the monitor answers at its next tick."""

    id: int
    key: str
    subject: str
    act: Act
    at_s: float
    until_s: float | None
    by: str


def rows(con: sqlite3.Connection) -> list[AlarmRow]:
    """Every alarm that was ever judged."""
    found = con.execute("SELECT id, state FROM alarm_states ORDER BY id")
    return [AlarmRow(id_, unpack(text, AlarmState)) for id_, text in found]


def row(con: sqlite3.Connection, id_: int) -> AlarmRow | None:
    """One alarm by its number, or None."""
    found = con.execute("SELECT id, state FROM alarm_states WHERE id = ?", (id_,)).fetchone()
    return None if found is None else AlarmRow(found[0], unpack(found[1], AlarmState))


def record(
    con: sqlite3.Connection, states: Iterable[AlarmState], changes: Iterable[AlarmChange]
) -> list[int]:
    """Write new states and the steps that led to them; returns the steps' numbers."""
    for state in states:
        con.execute(
            "INSERT INTO alarm_states (key, subject, state) VALUES (?, ?, ?) "
            "ON CONFLICT (key, subject) DO UPDATE SET state = excluded.state",
            (state.key, state.subject, pack(state)),
        )
    ids: list[int] = []
    for change in changes:
        cursor = con.execute(
            "INSERT INTO alarm_changes (key, subject, at_ms, change) VALUES (?, ?, ?, ?)",
            (change.key, change.subject, ms(change.at_s), pack(change)),
        )
        ids.append(int(cursor.lastrowid or 0))
    return ids


_SENT = """
SELECT group_concat(channel || CASE WHEN sent_ms IS NOT NULL THEN ' sent'
  WHEN due_ms IS NULL THEN ' given up' ELSE ' waiting' END, ', ')
FROM notices WHERE change_id = alarm_changes.id AND channel <> 'browser'
"""
_UNTIL = """
SELECT until_ms FROM alarm_asks WHERE change ->> 'after' = 'shelved' AND act = 'shelve'
  AND alarm_asks.key = alarm_changes.key AND alarm_asks.subject = alarm_changes.subject
  AND alarm_asks.at_ms = alarm_changes.at_ms
"""
_RAISED = """
SELECT max(at_ms) FROM alarm_changes AS earlier
WHERE alarm_changes.change ->> 'after' = 'acknowledged'
  AND earlier.subject = alarm_changes.subject AND earlier.key = alarm_changes.key
  AND earlier.at_ms <= alarm_changes.at_ms AND earlier.change ->> 'after' = 'unacknowledged'
  AND earlier.change ->> 'before' <> 'unacknowledged'
"""


def journal(
    con: sqlite3.Connection,
    *,
    subject: str | None = None,
    from_s: float | None = None,
    to_s: float | None = None,
    phases: Sequence[AlarmPhase] = (),
    older_than: int | None = None,
    limit: int = 200,
) -> list[JournalEntry]:
    """Steps of alarms' lives, newest first; of those that led to `phases` where any are given.

    `older_than` is an entry's number, for the next page; one that is gone gives nothing.
    """
    where, values = ["1"], list[object]()
    if subject is not None:
        where.append("subject = ?")
        values.append(subject)
    if from_s is not None:
        where.append("at_ms >= ?")
        values.append(ms(from_s))
    if to_s is not None:
        where.append("at_ms <= ?")
        values.append(ms(to_s))
    if phases:
        where.append(f"change ->> 'after' IN ({', '.join('?' * len(phases))})")
        values.extend(phases)
    if older_than is not None:
        where.append("(at_ms, id) < (SELECT at_ms, id FROM alarm_changes WHERE id = ?)")
        values.append(older_than)
    found = con.execute(
        f"SELECT id, change, ({_SENT}), ({_UNTIL}), ({_RAISED}) FROM alarm_changes "
        f"WHERE {' AND '.join(where)} ORDER BY at_ms DESC, id DESC LIMIT ?",
        (*values, limit),
    )
    return [
        JournalEntry(
            id_,
            unpack(text, AlarmChange),
            sent or "",
            maybe_seconds(until_ms),
            maybe_seconds(raised_ms),
        )
        for id_, text, sent, until_ms, raised_ms in found
    ]


def changes(con: sqlite3.Connection, from_s: float, to_s: float) -> list[AlarmChange]:
    """Every step of a span, oldest first: for reckoning, not for reading."""
    found = con.execute(
        "SELECT change FROM alarm_changes WHERE at_ms BETWEEN ? AND ? ORDER BY at_ms, id",
        (ms(from_s), ms(to_s)),
    )
    return [unpack(text, AlarmChange) for (text,) in found]


def ask(
    con: sqlite3.Connection,
    key: str,
    subject: str,
    act: Act,
    at_s: float,
    until_s: float | None = None,
    by: str = "",
) -> int:
    """Leave a person's wish for the monitor."""
    cursor = con.execute(
        "INSERT INTO alarm_asks (key, subject, act, at_ms, until_ms, by) VALUES (?,?,?,?,?,?)",
        (key, subject, act, ms(at_s), maybe_ms(until_s), by),
    )
    return int(cursor.lastrowid or 0)


def asked(con: sqlite3.Connection) -> list[Ask]:
    """Wishes not answered yet, oldest first."""
    found = con.execute(
        "SELECT id, key, subject, act, at_ms, until_ms, by FROM alarm_asks "
        "WHERE answered = 0 ORDER BY id"
    )
    return [
        Ask(id_, key, subject, act, seconds(at), maybe_seconds(until), by)
        for id_, key, subject, act, at, until, by in found
    ]


def answered(con: sqlite3.Connection, id_: int) -> None:
    """The monitor has carried the wish out."""
    con.execute("UPDATE alarm_asks SET answered = 1 WHERE id = ?", (id_,))
