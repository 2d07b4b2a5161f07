"""What the page is given by the edge. It reads no clock and no environment itself."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from monitor.core.vocabulary import ResinProfile


def _no_faults(_profile: ResinProfile) -> Sequence[str]:
    return ()


def _nothing_taught(_con: sqlite3.Connection, _profile: ResinProfile, _now_s: float) -> str:
    return ""


@dataclass(frozen=True)
class Options:
    """Where the store is, what time it is, and how to speak."""

    db_path: Path
    now_s: Callable[[], float]
    zone: str = "UTC"
    demo: bool = False
    speed: float = 1.0
    base_url: str = ""
    faults: Callable[[ResinProfile], Sequence[str]] = _no_faults
    taught: Callable[[sqlite3.Connection, ResinProfile, float], str] = _nothing_taught
