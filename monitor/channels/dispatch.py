"""Sends what waits in the store: row first, then send, then mark. At least once, with a trail.

A crash between sending and marking sends again, which is acceptable; never sending is not.
It runs in a thread of its own, so a slow channel delays no tick.
"""

from __future__ import annotations

import logging
import sqlite3
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from monitor.channels.base import Channel, ChannelError, Standing, first_line
from monitor.core.alarms.flood import Notice, gather, ride_along, worded
from monitor.core.alarms.rule_list import RULES
from monitor.core.alarms.words import moment
from monitor.core.vocabulary import Priority
from monitor.store import alarms, notices, pieces, readings, trials, trouble
from monitor.store.connection import data_version, open_writer, writing
from monitor.store.errors import StoreError
from monitor.store.notices import NoticeRow

LOOK_S = 0.1  # whether anything was written costs microseconds to ask
LOOKS = 5  # without news the retries are looked at this seldom
FIRST_RETRY_S = 5.0
LONGEST_RETRY_S = 300.0
PERMANENT_RETRY_S = 3600.0  # somebody has to mend it first
GIVE_UP_S = 24 * 3600.0  # yesterday's news helps nobody
FAILING_AFTER = 3  # attempts in a row
AGAIN_S = 5.0  # the store could not be written: disk full, or held by another

_PRESSING: tuple[Priority, ...] = ("urgent", "soon", "note")

log = logging.getLogger(__name__)


def retry_at(tries: int, now_s: float, permanent: bool = False) -> float:
    """When to try again after `tries` failures in a row: doubling, at most five minutes."""
    if permanent:
        return now_s + PERMANENT_RETRY_S
    return now_s + min(LONGEST_RETRY_S, FIRST_RETRY_S * 2.0 ** min(max(tries - 1, 0), 30))


def trial_notice(at_s: float) -> Notice:
    """What a channel's test button sends."""
    words = f"A test, asked for at {moment(at_s)}. Nothing is wrong."
    return Notice(f"test/{at_s:.3f}", at_s, "soon", "Test of this channel", words, "", "", ())


class Dispatcher:
    """Sends due notices by their channels. `to_local` words a moment in local time."""

    def __init__(self, channels: Sequence[Channel], to_local: Callable[[float], str]) -> None:
        self._channels = {channel.name: channel for channel in channels}
        self._to_local = to_local
        self._failures = dict.fromkeys(self._channels, 0)
        self._faults: Mapping[str, str | None] = dict.fromkeys(self._channels)
        self._paused_until_s: dict[str, float] = {}
        self._shown: dict[str, Priority | None] = {}
        # Sent, but the store would not take that down: marked before anything more is sent.
        self._unmarked: dict[int, float] = {}
        self.fault: Exception | None = None

    def faults(self) -> Mapping[str, str | None]:
        """By channel: its error once `FAILING_AFTER` attempts in a row failed, else None.

        Safe to call from another thread: the mapping is replaced, never changed.
        """
        return self._faults

    def run_once(self, con: sqlite3.Connection, now_s: float) -> int:
        """Send what is due; the number of notices sent. Failures are marked, not raised.

        Raises sqlite3.OperationalError where the store cannot be written.
        """
        self._mark_sent(con)
        waiting: dict[str, list[NoticeRow]] = {}
        for row in notices.due(con, now_s):
            waiting.setdefault(row.channel, []).append(row)
        sent = 0
        for name, rows in waiting.items():
            channel = self._channels.get(name)
            if channel is None:
                self._mark_failed(con, rows, now_s, _UNKNOWN)
            elif not self._paused(name, now_s):
                sent += self._send_all(con, channel, rows, now_s)
        self._show_standing(con)
        return sent

    def try_channel(self, name: str, now_s: float) -> str:
        """Send a test notice at once; its error, or "" where the channel took it."""
        channel = self._channels.get(name)
        if channel is None:
            return f"there is no channel {name!r}; known: {', '.join(sorted(self._channels))}"
        error = self._attempt(channel, trial_notice(now_s))
        return "" if error is None else str(error)

    def answer_trials(self, con: sqlite3.Connection, now_s: float) -> int:
        """Try each channel that a person asked to try; how many were. The outcome is kept.

        Where the test went out, so does what waits after an earlier failure.
        """
        wishes = trials.asked(con)
        for wish in wishes:
            error = self.try_channel(wish.channel, now_s)
            if not error:
                self._paused_until_s.pop(wish.channel, None)
            with writing(con):
                trials.answer(con, wish, now_s, error)
                if not error:
                    notices.hasten(con, wish.channel, now_s)
        return len(wishes)

    def decline_trials(self, con: sqlite3.Connection, now_s: float) -> None:
        """Answer what was asked while nobody was there: hours later a test would only puzzle."""
        with writing(con):
            for wish in trials.asked(con):
                trials.answer(con, wish, now_s, "the monitor was not running then; try again")

    def run(self, stop: threading.Event, path: Path, now_s: Callable[[], float]) -> None:
        """Send until told to stop; for a thread of its own, with its own connection.

        What ends it otherwise is kept in `fault`, for the owner of the thread to see.
        """
        try:
            con = open_writer(path)
            try:
                self._run(con, stop, now_s)
            finally:
                con.close()
        except StoreError as error:
            self.fault = error
        except sqlite3.DatabaseError as error:
            self.fault = trouble.named(path, error)
        except Exception as error:
            self.fault = error
            log.exception("notices are no longer sent")

    def _run(
        self, con: sqlite3.Connection, stop: threading.Event, now_s: Callable[[], float]
    ) -> None:
        declined, trouble, version, looks = False, "", -1, 0
        while not stop.wait(AGAIN_S if trouble else LOOK_S):
            looks += 1
            try:
                if not declined:
                    self.decline_trials(con, now_s())
                    declined = True
                news = data_version(con)
                if trouble or news != version or looks % LOOKS == 0:
                    version = news
                    self.run_once(con, now_s())
                    self.answer_trials(con, now_s())
                trouble = ""
            except sqlite3.OperationalError as error:
                if str(error) != trouble:
                    log.error("notices wait: the store cannot be written (%s)", error)
                trouble = str(error)

    def _send_all(
        self, con: sqlite3.Connection, channel: Channel, rows: Sequence[NoticeRow], now_s: float
    ) -> int:
        rooms, places = _rooms(con, rows), _places(con)
        # Whoever put a row in line wants it told, whatever its change says.
        changes = [replace(row.change, notice=True) for row in rows]
        row_of = {id(change): row for change, row in zip(changes, rows, strict=True)}
        sent = 0
        for notice in ride_along(gather(changes, rooms, places)):
            carried = [row_of[id(change)] for change in notice.changes]
            error = self._attempt(channel, notice)
            if error is not None:
                self._mark_failed(con, carried, now_s, error)
                if error.permanent:
                    continue
                # It is down: the others would only wait for its time limit.
                self._paused_until_s[channel.name] = self._retry_s(channel.name, now_s)
                return sent
            self._unmarked.update((row.id, now_s) for row in carried)
            self._mark_sent(con)
            sent += 1
        return sent

    def _mark_sent(self, con: sqlite3.Connection) -> None:
        if not self._unmarked:
            return
        with writing(con):
            for number, at_s in self._unmarked.items():
                notices.mark_sent(con, number, at_s)
        self._unmarked.clear()

    def _paused(self, name: str, now_s: float) -> bool:
        left_s = self._paused_until_s.get(name, now_s) - now_s
        return 0.0 < left_s <= LONGEST_RETRY_S  # more than that: the clock was set back

    def _retry_s(self, name: str, now_s: float) -> float:
        return retry_at(self._failures.get(name, 1), now_s)

    def _attempt(self, channel: Channel, notice: Notice) -> ChannelError | None:
        try:
            channel.send(worded(notice, self._to_local))
        except ChannelError as failure:
            error = failure
        except Exception as surprise:  # noqa: BLE001 - one channel's bug must not stop the others
            # The kind alone: the text of an unforeseen error may hold an address or a password.
            error = ChannelError(f"unforeseen {type(surprise).__name__}")
        else:
            self._note(channel.name, None)
            return None
        self._note(channel.name, error)
        return error

    def _note(self, name: str, error: ChannelError | None) -> None:
        known = self._faults[name]
        if error is None:
            self._failures[name] = 0
            self._faults = {**self._faults, name: None}
            if known is not None:
                log.info("channel %s works again", name)
            return
        self._failures[name] += 1
        if error.permanent or self._failures[name] >= FAILING_AFTER:
            self._faults = {**self._faults, name: first_line(error)}
            if known is None:
                log.warning("channel %s fails: %s", name, first_line(error))

    def _mark_failed(
        self,
        con: sqlite3.Connection,
        rows: Sequence[NoticeRow],
        now_s: float,
        error: ChannelError,
    ) -> None:
        with writing(con):
            for row in rows:
                again_s: float | None = self._retry_s(row.channel, now_s)
                if error.permanent:
                    again_s = retry_at(1, now_s, permanent=True)
                if now_s - row.created_s >= GIVE_UP_S:
                    again_s = None
                notices.mark_failed(con, row.id, now_s, first_line(error), again_s)

    def _show_standing(self, con: sqlite3.Connection) -> None:
        """Let a lamp show the most pressing alarm that nobody has acknowledged."""
        lamps = [channel for channel in self._channels.values() if isinstance(channel, Standing)]
        if not lamps:
            return
        unseen = [row.state for row in alarms.rows(con) if row.state.phase == "unacknowledged"]
        wanted = {RULES[state.key].priority for state in unseen if state.key in RULES}
        pressing = next((priority for priority in _PRESSING if priority in wanted), None)
        for lamp in lamps:
            if lamp.name in self._shown and self._shown[lamp.name] == pressing:
                continue
            try:
                lamp.show(pressing)
            except ChannelError as error:
                self._note(lamp.name, error)
            else:
                self._shown[lamp.name] = pressing


def _rooms(con: sqlite3.Connection, rows: Sequence[NoticeRow]) -> dict[str, str]:
    """Each layer's room, as subjects."""
    found = {}
    for subject in {row.change.subject for row in rows}:
        kind, _, number = subject.partition(":")
        layer = pieces.layer(con, int(number)) if kind == "layer" else None
        if layer is not None and layer.sensor is not None:
            found[subject] = f"room:{layer.sensor}"
    return found


def _places(con: sqlite3.Connection) -> dict[str, str]:
    return {f"room:{sensor.key}": sensor.name for sensor in readings.sensors(con)}


_UNKNOWN = ChannelError("this channel is no longer in the configuration", permanent=True)
