"""What is wrong with the program itself, as the bench and the alarms page say it."""

from __future__ import annotations

import sqlite3

from dashboard.options import Options
from dashboard.wording import Local
from monitor.store import forgetting, status, trouble

# The monitor thinks every few seconds; silent for this long, it has stopped.
STOPPED_S = 120.0


def works(con: sqlite3.Connection, options: Options, local: Local) -> list[str]:
    """What is wrong with the program itself, in words; empty where all is well."""
    beat = status.beats(con).get("monitor")
    alive = beat is not None and local.now_s - beat.at_s <= STOPPED_S * max(options.speed, 1.0)
    faults = [str(fault) for fault in beat.facts.get("faults", [])] if beat and alive else []
    if trouble.disk_is_full(options.db_path):
        # A monitor that cannot write shows no sign of life, and may well live.
        return ["The disk is full: nothing is saved. Free some space, look with: df -h", *faults]
    if beat is None:
        return ["The monitor has not started yet: nothing is watched. Start it: pourside monitor"]
    if not alive:
        return [
            f"The monitor has stopped: nothing was thought since {local.clock(beat.at_s)}. "
            "Start it: sudo systemctl restart pourside-monitor"
        ]
    return [*faults, *filter(None, [forgetting.crowded(con, local.now_s)])]
