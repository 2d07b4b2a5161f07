"""Notices on show for browsers that have the page open: the latest few, each under its id."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from monitor.store import settings
from monitor.store.packing import pack, unpack

_KEY = "notices_on_show"
KEEP = 20


@dataclass(frozen=True)
class OnShow:
    """One notice as a browser shows it, since `shown_s`."""

    id: str
    shown_s: float
    priority: str
    title: str
    body: str


def show(con: sqlite3.Connection, notice: OnShow) -> None:
    """Put a notice on show; one that is there already stays as it is."""
    held = latest(con)
    if any(one.id == notice.id for one in held):
        return
    settings.put(con, _KEY, pack([notice, *held][:KEEP]), notice.shown_s)


def latest(con: sqlite3.Connection) -> list[OnShow]:
    """What is on show, newest first."""
    return unpack(settings.get(con, _KEY, "[]"), list[OnShow])
