"""Stretches in which a sensor was away from its room: in a jar of salt, in ice water."""

from __future__ import annotations

import json
import sqlite3

from monitor.store import settings

Stretch = tuple[float, float | None]


def stretches(con: sqlite3.Connection, key: str) -> list[Stretch]:
    """From when to when, oldest first; an end of None: it is away still."""
    return [
        (float(from_s), None if to_s is None else float(to_s))
        for from_s, to_s in json.loads(settings.get(con, _key(key), "[]"))
    ]


def leave(con: sqlite3.Connection, key: str, from_s: float) -> None:
    """The sensor leaves its room; nothing changes where it is away already."""
    found = stretches(con, key)
    if not found or found[-1][1] is not None:
        settings.put(con, _key(key), json.dumps([*found, (from_s, None)]), from_s)


def come_back(con: sqlite3.Connection, key: str, to_s: float) -> None:
    """The sensor tells of its room again from a moment on."""
    found = stretches(con, key)
    if found and found[-1][1] is None:
        settings.put(con, _key(key), json.dumps([*found[:-1], (found[-1][0], to_s)]), to_s)


def _key(key: str) -> str:
    return f"away:{key}"
