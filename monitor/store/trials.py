"""A person's wish to try a channel, and what came of it. One wish a channel, the newest."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass

from monitor.store import settings
from monitor.store.packing import pack, unpack

_KEY = "try_channel:"


@dataclass(frozen=True)
class Trial:
    """Asked at `asked_s`; `done_s` is None until it was tried; `error` is "" where it went out."""

    channel: str
    asked_s: float
    done_s: float | None = None
    error: str = ""


def ask(con: sqlite3.Connection, channel: str, at_s: float) -> None:
    """Leave the wish for the monitor; it takes the place of an older one."""
    _put(con, Trial(channel, at_s), at_s)


def asked(con: sqlite3.Connection) -> list[Trial]:
    """Wishes not answered yet, oldest first."""
    waiting = [one for one in every(con).values() if one.done_s is None]
    return sorted(waiting, key=lambda one: one.asked_s)


def answer(con: sqlite3.Connection, trial: Trial, at_s: float, error: str) -> None:
    """Say what came of it, unless the person has asked anew meanwhile."""
    if every(con).get(trial.channel) == trial:
        _put(con, Trial(trial.channel, trial.asked_s, at_s, error), at_s)


def every(con: sqlite3.Connection) -> Mapping[str, Trial]:
    """The newest wish of each channel, answered or not."""
    rows = con.execute(
        "SELECT value FROM settings WHERE key >= ? AND key < ?", (_KEY, _KEY[:-1] + ";")
    )
    trials = [unpack(text, Trial) for (text,) in rows]
    return {trial.channel: trial for trial in trials}


def _put(con: sqlite3.Connection, trial: Trial, at_s: float) -> None:
    settings.put(con, _KEY + trial.channel, pack(trial), at_s)
