"""The alarms' figures of the last month, for the page."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

from monitor.core.alarms.figures import Figures, figures
from monitor.core.alarms.rule_list import ACTS as REMINDERS
from monitor.store import alarms

__all__ = ["REMINDERS", "month"]

DAYS = 30
# A day has 23 to 25 hours; so far back lies the beginning of the thirtieth day, today included.
BACK_S = DAYS * 86400.0 + 3600.0


def month(con: sqlite3.Connection, midnights_s: Sequence[float], now_s: float) -> Figures:
    """Reckon up the span from the first of `midnights_s` to now. Raises ValueError."""
    changes = alarms.changes(con, midnights_s[0], now_s) if midnights_s else []
    return figures(changes, [row.state for row in alarms.rows(con)], midnights_s, now_s)
