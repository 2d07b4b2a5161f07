"""What SQLite's errors mean to a person, and what to do about them."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path
from typing import Literal

from monitor.store.errors import StoreError

# With less than this left, the store can soon take no page more.
FULL_BYTES = 1e6

Kind = Literal["full", "busy", "not writable", "damaged", "other"]

_KINDS: dict[int, Kind] = {
    sqlite3.SQLITE_FULL: "full",
    sqlite3.SQLITE_BUSY: "busy",
    sqlite3.SQLITE_LOCKED: "busy",
    sqlite3.SQLITE_READONLY: "not writable",
    sqlite3.SQLITE_CANTOPEN: "not writable",
    sqlite3.SQLITE_PERM: "not writable",
    sqlite3.SQLITE_CORRUPT: "damaged",
    sqlite3.SQLITE_NOTADB: "damaged",
}
_ADVICE: dict[Kind, str] = {
    "full": "The disk is full: free some space, look with: df -h",
    "busy": "Another program holds it; try again in a moment",
    "not writable": (
        "Who runs this must be able to write the store and its folder; "
        "whose they are is told by: pourside check"
    ),
    "damaged": (
        "It is damaged, or no store at all: check the path, or stop the monitor and put a "
        "backup back: pourside restore FILE --yes"
    ),
    "other": "Look with: pourside check",
}


def kind(error: sqlite3.Error) -> Kind:
    """What is the matter. An error that did not come from SQLite itself is 'other'."""
    # Beyond the lowest byte are the kind's finer kinds (sqlite.org/rescode.html).
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR)
    return _KINDS.get(code & 0xFF, "other")


def advice(error: sqlite3.Error) -> str:
    """What to do about it."""
    return _ADVICE[kind(error)]


def named(path: Path, error: sqlite3.Error) -> StoreError:
    """The error as one plain sentence that names the store."""
    return StoreError(f"the store {path} cannot be used ({error}). {advice(error)}")


def disk_is_full(path: Path) -> bool:
    """Whether the disk that the store at `path` lies on has no room for more."""
    return shutil.disk_usage(path.parent).free < FULL_BYTES
