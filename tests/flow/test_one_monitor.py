"""One store has one monitor, and a backup is put back only where none works on it."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest
from command import pourside
from sqlite_utils import Database

from monitor.store import connection, settings
from monitor.store.connection import writing
from monitor.store.errors import StoreError
from monitor.store.schema import m001_first

T0 = 1_790_000_000.0


@pytest.fixture
def store(tmp_path):
    (tmp_path / "pourside.toml").write_text('data_dir = "data"\n')
    path = tmp_path / "data" / "pourside.db"
    path.parent.mkdir()
    with closing(connection.open_owner(path)) as con, writing(con):
        settings.put(con, "note", "in the store", T0)
    return path


def note(path):
    with closing(connection.open_owner(path)) as con:
        return settings.get(con, "note", "")


@pytest.mark.parametrize("role", ["monitor", "up"])
def test_a_second_monitor_on_a_store_is_refused_with_what_to_do(store, tmp_path, role):
    with connection.holding(store):
        result = pourside(role, cwd=tmp_path)
    assert result.returncode == 1
    assert result.stderr.startswith(f"pourside: a monitor works on the store {store} already")


def test_a_killed_monitor_holds_nothing(store):
    code = (
        "import os, signal, sys; from pathlib import Path; from monitor.store import connection\n"
        "with connection.holding(Path(sys.argv[1])): os.kill(os.getpid(), signal.SIGKILL)"
    )
    killed = subprocess.run([sys.executable, "-c", code, str(store)], check=False, timeout=30)
    assert killed.returncode == -signal.SIGKILL
    with connection.holding(store):
        pass


def test_a_backup_is_not_put_back_under_a_running_monitor(store, tmp_path):
    saved = tmp_path / "saved.db"
    with closing(connection.open_reader(store)) as con:
        connection.back_up(con, saved)
    with connection.holding(store):
        result = pourside("restore", "saved.db", "--yes", cwd=tmp_path)
    assert (result.returncode, "stop it first" in result.stderr) == (1, True)
    assert note(store) == "in the store"


def test_a_backup_of_the_first_release_is_put_back_and_brought_up(store, tmp_path):
    saved = tmp_path / "old.db"
    with closing(sqlite3.connect(saved)) as con:
        db = Database(con)
        m001_first(db)
        db["_sqlite_migrations"].insert(
            {"migration_set": "pourside", "name": "m001_first", "applied_at": ""}
        )
        settings.put(con, "note", "first release", T0)
        con.commit()
    result = pourside("restore", "old.db", "--yes", cwd=tmp_path)
    assert (result.returncode, result.stderr) == (0, "")
    assert note(store) == "first release"


def test_what_a_killed_monitor_had_committed_is_in_the_store_put_aside(store, tmp_path):
    saved = tmp_path / "saved.db"
    with closing(connection.open_reader(store)) as con:
        connection.back_up(con, saved)
    # The commit is in the write-ahead log alone when the process is killed.
    code = (
        "import os, signal, sys; from pathlib import Path; from monitor.store import *\n"
        "from monitor.store import connection, settings\n"
        "con = connection.open_owner(Path(sys.argv[1]))\n"
        "with connection.writing(con): settings.put(con, 'note', 'just before', 0.0)\n"
        "os.kill(os.getpid(), signal.SIGKILL)"
    )
    subprocess.run([sys.executable, "-c", code, str(store)], check=False, timeout=30)
    assert pourside("restore", "saved.db", "--yes", cwd=tmp_path).returncode == 0
    assert note(store) == "in the store"
    assert note(store.with_name("pourside.db.before-restore")) == "just before"


def test_what_is_no_backup_changes_nothing(store, tmp_path):
    (tmp_path / "notes.txt").write_text("x" * 5000)
    sqlite3.connect(tmp_path / "empty.db").close()
    for name, said in (
        ("notes.txt", "cannot be opened"),
        ("empty.db", "is not a backup of a Pourside store"),
        ("data/pourside.db", "is the store itself"),
    ):
        result = pourside("restore", name, "--yes", cwd=tmp_path)
        assert result.returncode in (1, 2)
        assert said in result.stderr
        assert note(store) == "in the store"
    assert not store.with_name("pourside.db.before-restore").exists()


def test_a_copy_that_cannot_be_written_is_told_and_leaves_no_half(store, tmp_path):
    result = pourside("backup", "nowhere/copy.db", cwd=tmp_path)
    assert (result.returncode, "cannot be written" in result.stderr) == (1, True)
    with closing(connection.open_reader(store)) as con, pytest.raises(StoreError):
        connection.back_up(con, tmp_path / "data")
    assert os.listdir(tmp_path / "data")
