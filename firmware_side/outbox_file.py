"""The file of the outbox: its tables, its lock, and how it is opened."""

from __future__ import annotations

import fcntl
import logging
import sqlite3
from pathlib import Path
from typing import TextIO

from firmware_side.errors import OutboxError

log = logging.getLogger(__name__)

_FILE_VERSION = 1

_SCHEMA = """
CREATE TABLE machine_start (
    name TEXT PRIMARY KEY,
    offset_ms INTEGER               -- date = uptime + offset, once the clock was set
) STRICT;
CREATE TABLE stream (
    id INTEGER PRIMARY KEY,
    boot TEXT NOT NULL UNIQUE,
    started TEXT NOT NULL REFERENCES machine_start(name),
    thinned INTEGER NOT NULL,       -- how many times every other sample was left out
    place REAL NOT NULL,            -- order of time among streams
    next_seq INTEGER NOT NULL
) STRICT;
CREATE TABLE sample (
    stream INTEGER NOT NULL REFERENCES stream(id),
    seq INTEGER NOT NULL,
    uptime_ms INTEGER NOT NULL,
    at_ms INTEGER,                  -- NULL while the date is not known
    temp_milli INTEGER NOT NULL,
    humidity_milli INTEGER,
    PRIMARY KEY (stream, seq)
) STRICT, WITHOUT ROWID;
"""


def locked(path: Path) -> TextIO:
    """The lock of an outbox; it ends with the process, however that ends."""
    try:
        lock = path.with_name(f"{path.name}.lock").open("a", encoding="ascii")
    except OSError as error:
        raise OutboxError(
            f"outbox {path} cannot be opened: {error}. Check that its folder exists and that"
            " this user may write there."
        ) from error
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        lock.close()
        raise OutboxError(
            f"another node works on the outbox {path} already; stop it first (a service: sudo"
            " systemctl stop pourside-node), or give each an outbox of its own"
        ) from None
    return lock


def opened(path: Path) -> sqlite3.Connection:
    """The file, ready; a damaged one is put aside and a new one begun."""
    try:
        return _connected(path)
    except sqlite3.DatabaseError as error:
        if isinstance(error, sqlite3.OperationalError) or not path.exists():
            raise OutboxError(
                f"outbox {path} cannot be opened: {error}. Check that its folder exists and that"
                " this user may write there."
            ) from error
        aside = path.with_name(path.name + ".damaged")
        path.replace(aside)
        for suffix in ("-wal", "-shm"):
            path.with_name(path.name + suffix).unlink(missing_ok=True)
        log.error("outbox %s is damaged (%s): kept as %s, a new one begun", path, error, aside)
        return _connected(path)


def _connected(path: Path) -> sqlite3.Connection:
    con = sqlite3.connect(path, isolation_level=None)
    try:
        con.execute("PRAGMA journal_mode = WAL")
        con.execute("PRAGMA synchronous = FULL")  # the last sample too survives a power cut
        con.execute("PRAGMA foreign_keys = ON")
        con.execute("PRAGMA journal_size_limit = 4000000")
        version = con.execute("PRAGMA user_version").fetchone()[0]
        if version > _FILE_VERSION:
            raise OutboxError(
                f"outbox {path} was written by a newer program (version {version}, this one"
                f" knows {_FILE_VERSION}). Update the program, or name another file."
            )
        if version == 0:
            con.executescript(
                f"BEGIN IMMEDIATE; {_SCHEMA} PRAGMA user_version = {_FILE_VERSION}; COMMIT;"
            )
    except BaseException:
        con.close()
        raise
    return con
