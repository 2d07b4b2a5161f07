"""The resin shelf: profiles from the library file and those a person added."""

from __future__ import annotations

import sqlite3

from monitor.core.vocabulary import ResinProfile
from monitor.store.moments import ms
from monitor.store.packing import pack, unpack


def resins(con: sqlite3.Connection) -> list[ResinProfile]:
    """Every profile on the shelf, by name."""
    rows = [unpack(text, ResinProfile) for (text,) in con.execute("SELECT profile FROM resins")]
    return sorted(rows, key=lambda profile: profile.name.casefold())


def resin(con: sqlite3.Connection, key: str) -> ResinProfile | None:
    """One profile, or None."""
    row = con.execute("SELECT profile FROM resins WHERE key = ?", (key,)).fetchone()
    return None if row is None else unpack(row[0], ResinProfile)


def any_of_person(con: sqlite3.Connection) -> bool:
    """Whether a person has put a resin of their own on the shelf."""
    return bool(con.execute("SELECT 1 FROM resins WHERE origin = 'person' LIMIT 1").fetchone())


def save_resin(
    con: sqlite3.Connection, profile: ResinProfile, at_s: float, origin: str = "person"
) -> None:
    """Put a profile on the shelf. A library file never overwrites what a person saved."""
    con.execute(
        "INSERT INTO resins VALUES (?, ?, ?, ?) ON CONFLICT (key) DO UPDATE "
        "SET origin = excluded.origin, profile = excluded.profile, saved_ms = excluded.saved_ms "
        "WHERE excluded.origin = 'person' OR resins.origin = excluded.origin",
        (profile.key, origin, pack(profile), ms(at_s)),
    )
