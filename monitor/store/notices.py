"""Telling people: one row a notice and channel, sent at least once, with its trail."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from monitor.core.vocabulary import AlarmChange
from monitor.store.moments import maybe_ms, maybe_seconds, ms, seconds
from monitor.store.packing import unpack


@dataclass(frozen=True)
class Post:
    """How one channel fares: its last delivery, what waits, and what it last said of a failure."""

    sent_s: float | None = None
    waiting: int = 0
    error: str = ""


@dataclass(frozen=True)
class NoticeRow:
    """A notice that waits for its channel."""

    id: int
    change: AlarmChange
    channel: str
    tries: int
    created_s: float


def queue(con: sqlite3.Connection, change_id: int, channel: str, not_before_s: float) -> int:
    """Put a notice in line for a channel."""
    cursor = con.execute(
        "INSERT INTO notices (change_id, channel, created_ms, due_ms) VALUES (?, ?, ?, ?)",
        (change_id, channel, ms(not_before_s), ms(not_before_s)),
    )
    return int(cursor.lastrowid or 0)


def due(con: sqlite3.Connection, now_s: float) -> list[NoticeRow]:
    """Notices to send now, oldest first."""
    rows = con.execute(
        "SELECT notices.id, change, channel, tries, created_ms FROM notices "
        "JOIN alarm_changes ON alarm_changes.id = change_id "
        "WHERE sent_ms IS NULL AND due_ms <= ? ORDER BY due_ms, notices.id",
        (ms(now_s),),
    )
    return [
        NoticeRow(id_, unpack(text, AlarmChange), channel, tries, seconds(created))
        for id_, text, channel, tries, created in rows
    ]


def mark_sent(con: sqlite3.Connection, id_: int, at_s: float) -> None:
    """The channel took it."""
    con.execute(
        "UPDATE notices SET sent_ms = ?, tries = tries + 1, error = '' WHERE id = ?",
        (ms(at_s), id_),
    )


def mark_failed(
    con: sqlite3.Connection, id_: int, at_s: float, error: str, retry_at_s: float | None
) -> None:
    """The channel did not take it; try again at `retry_at_s`, or never (None)."""
    con.execute(
        "UPDATE notices SET due_ms = ?, tries = tries + 1, error = ? WHERE id = ?",
        (maybe_ms(retry_at_s), f"{error} (try at {ms(at_s)})", id_),
    )


def hasten(con: sqlite3.Connection, channel: str, now_s: float) -> int:
    """The channel works again: try now what waits after a failure; how many those are."""
    return con.execute(
        "UPDATE notices SET due_ms = ? "
        "WHERE channel = ? AND sent_ms IS NULL AND due_ms > ? AND tries > 0",
        (ms(now_s), channel, ms(now_s)),
    ).rowcount


def take_notes_along(con: sqlite3.Connection, channel: str, due_s: float) -> int:
    """Notes that wait for company go with what is due at `due_s`; how many those are."""
    return con.execute(
        "UPDATE notices SET due_ms = ?, created_ms = ? "
        "WHERE channel = ? AND sent_ms IS NULL AND due_ms > ? AND tries = 0 AND "
        "(SELECT change ->> 'priority' FROM alarm_changes WHERE id = change_id) = 'note'",
        (ms(due_s), ms(due_s), channel, ms(due_s)),
    ).rowcount


def waiting(con: sqlite3.Connection) -> int:
    """How many notices have not gone out and are still to be tried."""
    return int(
        con.execute(
            "SELECT count(*) FROM notices WHERE sent_ms IS NULL AND due_ms IS NOT NULL"
        ).fetchone()[0]
    )


def last_error(con: sqlite3.Connection, channel: str) -> str:
    """What the channel said of its latest notice; empty where that one went out."""
    row = con.execute(
        "SELECT error FROM notices WHERE channel = ? AND tries > 0 ORDER BY id DESC LIMIT 1",
        (channel,),
    ).fetchone()
    return "" if row is None else str(row[0])


def post(con: sqlite3.Connection, channel: str) -> Post:
    """How a channel fares."""
    sent_ms, waiting_now = con.execute(
        "SELECT max(sent_ms), count(*) FILTER (WHERE sent_ms IS NULL AND due_ms IS NOT NULL) "
        "FROM notices WHERE channel = ?",
        (channel,),
    ).fetchone()
    return Post(maybe_seconds(sent_ms), waiting_now, last_error(con, channel))
