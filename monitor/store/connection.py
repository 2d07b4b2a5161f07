"""Opening the store. One owner migrates; readers cannot write; writes are openly one at a time."""

from __future__ import annotations

import errno
import fcntl
import logging
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from sqlite_utils import Database

from monitor.store import trouble
from monitor.store.errors import StoreError
from monitor.store.schema import MIGRATIONS

log = logging.getLogger(__name__)

# A person's tap may meet the monitor's commit; ten seconds outlasts any of ours.
BUSY_TIMEOUT_S = 10.0


class Owned(sqlite3.Connection):
    """The monitor's connection. It knows which files it works on and sees when they go.

    SQLite goes on writing to a file that was removed, and everything said there is lost.
    """

    def own(self, path: Path) -> None:
        """From here on the store at `path`, and the write-ahead log beside it, are ours."""
        self._store = path
        self._own = {suffix: _identity(path, suffix) for suffix in ("", "-wal")}

    def check(self) -> None:
        """Raises StoreGone where the files at the path are not ours any more."""
        if all(_identity(self._store, suffix) == ours for suffix, ours in self._own.items()):
            return
        if _identity(self._store, "") != self._own[""]:
            self._put_log_aside()
        raise StoreGone(
            f"the store {self._store} was taken away or replaced while the monitor ran; "
            "what was not taken in waits until it starts anew, on what lies there then. "
            "To put a backup back, stop the monitor first: pourside restore FILE --yes"
        )

    def _put_log_aside(self) -> None:
        """Our write-ahead log would be read into the store that now lies there."""
        if _identity(self._store, "-wal") != self._own["-wal"]:
            return
        for suffix in ("-wal", "-shm"):
            with suppress(OSError):
                Path(f"{self._store}{suffix}").replace(f"{self._store}.taken-away{suffix}")
        log.warning(
            "kept %s.taken-away-wal: what was last written to the store that was taken away",
            self._store,
        )


class StoreGone(StoreError):
    """The store was taken away or replaced under its owner."""


def _identity(path: Path, suffix: str) -> tuple[int, int] | None:
    try:
        found = os.stat(f"{path}{suffix}")
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _is_missing(path: Path) -> bool:
    try:
        path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return True
    except OSError:
        return False  # SQLite then says what hinders it
    return False


def _connect(path: Path, as_owner: bool = False) -> sqlite3.Connection:
    if not as_owner and _is_missing(path):
        raise StoreError(
            f"the store {path} cannot be opened: it was not made yet, or it was taken away. "
            "Start the monitor, which makes one, or put a backup back: pourside restore FILE"
        )
    con = None
    try:
        con = sqlite3.connect(
            path if as_owner else f"{path.absolute().as_uri()}?mode=rw",
            timeout=BUSY_TIMEOUT_S,
            isolation_level=None,
            uri=not as_owner,
            factory=Owned if as_owner else sqlite3.Connection,
        )
        con.execute("PRAGMA foreign_keys = ON")
        con.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.DatabaseError as error:
        if con is not None:
            con.close()
        raise StoreError(
            f"the store {path} cannot be opened ({error}). {trouble.advice(error)}"
        ) from error
    return con


def _applied(con: sqlite3.Connection) -> set[str]:
    return {migration.name for migration in MIGRATIONS.applied(Database(con))}


def _refuse_newer(path: Path, con: sqlite3.Connection) -> None:
    known = {migration.name for migration in MIGRATIONS._migrations}
    newer = sorted(_applied(con) - known)
    if newer:
        con.close()
        raise StoreError(
            f"the store {path} was written by a newer Pourside (it has {newer[-1]}); "
            "update this program, or restore an older backup"
        )


def open_owner(path: Path) -> Owned:
    """Open the store as its owner: create, migrate after a backup, refuse a newer file."""
    con = _connect(path, as_owner=True)
    assert isinstance(con, Owned)
    _refuse_newer(path, con)
    con.execute("PRAGMA journal_mode = WAL")
    # A reading is acknowledged only after its commit, so the commit must be on the card.
    con.execute("PRAGMA synchronous = FULL")
    con.execute("SELECT count(*) FROM sqlite_master").fetchone()  # the log is there from now on
    con.own(path)
    pending = MIGRATIONS.pending(Database(con))
    if pending:
        if _applied(con):
            back_up(con, path.with_name(f"{path.name}.before-{pending[0].name}"))
        MIGRATIONS.apply(Database(con))
    return con


def open_writer(path: Path) -> sqlite3.Connection:
    """Open the store for what a person does; the schema must be there and current."""
    con = _connect(path)
    _refuse_newer(path, con)
    if MIGRATIONS.pending(Database(con)):
        con.close()
        raise StoreError(
            f"the store {path} is not ready: the monitor has not prepared it yet. "
            "Start the monitor once, then try again"
        )
    return con


def open_reader(path: Path) -> sqlite3.Connection:
    """Open the store for reading: a write through this connection raises."""
    con = open_writer(path)
    con.execute("PRAGMA query_only = ON")
    return con


@contextmanager
def writing(con: sqlite3.Connection) -> Iterator[sqlite3.Connection]:
    """One transaction, taken at once, so that reading then writing cannot be overtaken."""
    con.execute("BEGIN IMMEDIATE")
    try:
        yield con
        con.execute("COMMIT")
    except BaseException:
        # A full disk may have ended the transaction already.
        if con.in_transaction:
            con.execute("ROLLBACK")
        raise
    if isinstance(con, Owned):
        con.check()  # after the commit: what is acknowledged now was in the store at the path


def data_version(con: sqlite3.Connection) -> int:
    """A number that moves when another connection has committed."""
    return int(con.execute("PRAGMA data_version").fetchone()[0])


def back_up(con: sqlite3.Connection, target: Path) -> None:
    """Copy the whole store, consistent even while it is written to. Raises StoreError."""
    try:
        with closing(sqlite3.connect(target)) as copy:
            con.backup(copy)
    except sqlite3.Error as error:
        with suppress(OSError):
            target.unlink()  # half a copy is none
        raise StoreError(
            f"the copy {target} cannot be written ({error}); expected a writable folder with "
            "room for the whole store. Look with: df -h"
        ) from error


@contextmanager
def holding(path: Path) -> Iterator[None]:
    """Be the only one to own the store at `path`; raises StoreError where another does.

    Ends with the process, however it ends. Readers and the page's writers need not hold it.
    """
    lock_path = path.with_name(f"{path.name}.lock")
    try:
        lock = lock_path.open("a", encoding="ascii")
    except OSError as error:
        raise StoreError(
            f"{lock_path} cannot be written ({error.strerror}). {_mend(error, path)}"
        ) from error
    with lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise StoreError(
                f"a monitor works on the store {path} already; stop it first "
                "(a service: sudo systemctl stop pourside-monitor)"
            ) from None
        yield


def _mend(error: OSError, path: Path) -> str:
    if error.errno == errno.ENOSPC:
        return "Free some space, look with: df -h"
    if error.errno == errno.EROFS:
        return "The disk is mounted read-only; what it says of itself: sudo dmesg | tail"
    return (
        f"Who runs this must be able to write in {path.parent}: "
        f"sudo chown -R $(id -un): {path.parent}"
    )


def restore(source: Path, target: Path) -> Path | None:
    """Put a backup, of this or an earlier version, in place of the store.

    Returns where the old store is kept, or None if there was none. Hold the store while
    calling. Raises StoreError, having changed nothing, where the backup cannot be used.
    """
    fresh = target.with_name(f"{target.name}.restoring")
    with closing(_connect(source)) as con:
        _refuse_newer(source, con)
        if not _applied(con):
            raise StoreError(f"{source} is not a backup of a Pourside store; name another file")
        fresh.unlink(missing_ok=True)
        back_up(con, fresh)
    aside = target.with_name(f"{target.name}.before-restore")
    had_one = target.exists()
    # What a killed monitor had committed may be in the write-ahead log alone: it goes along.
    for suffix in ("-shm", "-wal", ""):
        Path(f"{aside}{suffix}").unlink(missing_ok=True)
        with suppress(FileNotFoundError):
            Path(f"{target}{suffix}").replace(f"{aside}{suffix}")
    fresh.replace(target)
    return aside if had_one else None
