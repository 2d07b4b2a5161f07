"""The heartbeat of each role, so that a stopped one is seen."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import Any

from monitor.store.moments import ms, seconds
from monitor.store.packing import pack, unpack


@dataclass(frozen=True)
class Beat:
    """When a role last said it was alive, and what it said of itself."""

    role: str
    at_s: float
    facts: dict[str, Any]


def beat(con: sqlite3.Connection, role: str, at_s: float, facts: dict[str, Any]) -> None:
    """Say that `role` is alive."""
    con.execute(
        "INSERT INTO beats VALUES (?, ?, ?) ON CONFLICT (role) DO UPDATE "
        "SET at_ms = excluded.at_ms, facts = excluded.facts",
        (role, ms(at_s), pack(facts)),
    )


def beats(con: sqlite3.Connection) -> dict[str, Beat]:
    """The last beat of each role."""
    return {
        role: Beat(role, seconds(at), unpack(facts, dict[str, Any]))
        for role, at, facts in con.execute("SELECT role, at_ms, facts FROM beats")
    }
