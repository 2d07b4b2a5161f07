"""The first-run page: what a new house still lacks."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from dashboard import wording
from monitor.store import pieces, readings, resins


@dataclass(frozen=True)
class Step:
    """One of the first steps, and whether it is done."""

    name: str
    means: str
    link: str
    done: bool


def first_steps(con: sqlite3.Connection) -> tuple[Step, ...]:
    """What a new house still lacks; nothing once it has a sensor and a piece."""
    heard = any(sensor.last_at_s is not None for sensor in readings.sensors(con))
    begun = bool(pieces.pieces(con))
    if heard and begun:
        return ()
    # A shelf as it was delivered is no choice yet; a resin of one's own is.
    chosen = begun or resins.any_of_person(con)
    done = {"sensor": heard, "resin": chosen, "piece": begun}
    return tuple(Step(*words, done[key]) for key, words in wording.FIRST_STEPS.items())
