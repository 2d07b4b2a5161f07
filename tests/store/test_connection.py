"""Opening the store: who may write, what is refused, what is backed up."""

from __future__ import annotations

import sqlite3
import threading

import pytest
from sqlite_utils import Database

from monitor.store import connection, pieces, settings
from monitor.store.errors import StoreError
from monitor.store.schema import MIGRATIONS


def test_a_new_store_is_made_and_opened_again(tmp_path):
    path = tmp_path / "a.db"
    connection.open_owner(path).close()
    con = connection.open_owner(path)
    assert con.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    assert con.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    con.close()


def test_a_reader_cannot_write(store_path):
    con = connection.open_reader(store_path)
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        con.execute("INSERT INTO settings VALUES ('a', 'b', 0)")
    con.close()


def test_a_newer_store_is_refused_with_what_to_do(store_path):
    con = connection.open_owner(store_path)
    Database(con)["_sqlite_migrations"].insert(
        {"migration_set": "pourside", "name": "m999_from_the_future", "applied_at": ""}
    )
    con.close()
    for opening in (connection.open_owner, connection.open_writer, connection.open_reader):
        with pytest.raises(StoreError, match=r"newer Pourside.*m999_from_the_future.*update"):
            opening(store_path)


def test_a_page_before_the_monitor_is_told_to_start_it(tmp_path):
    sqlite3.connect(tmp_path / "empty.db").close()
    with pytest.raises(StoreError, match="Start the monitor once"):
        connection.open_reader(tmp_path / "empty.db")


def test_a_file_that_is_no_database_is_named(tmp_path):
    path = tmp_path / "notes.txt"
    path.write_text("x" * 5000)
    with pytest.raises(StoreError, match=r"notes\.txt cannot be opened"):
        connection.open_owner(path)


def test_a_failing_transaction_leaves_nothing(con):
    with pytest.raises(RuntimeError), connection.writing(con):
        settings.put(con, "units", "C", 0.0)
        raise RuntimeError
    assert settings.everything(con) == {}


def test_two_writers_that_read_then_write_lose_nothing(store_path):
    """Deferred transactions fail here at once; ours wait their turn."""

    def count(name: str) -> None:
        con = connection.open_writer(store_path)
        for _ in range(50):
            with connection.writing(con):
                settings.put(con, "n", str(int(settings.get(con, "n", "0")) + 1), 0.0)
        con.close()

    threads = [threading.Thread(target=count, args=(name,)) for name in "ab"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    con = connection.open_reader(store_path)
    assert settings.get(con, "n", "") == "100"
    con.close()


def test_another_writer_is_noticed(store_path):
    one, other = connection.open_owner(store_path), connection.open_writer(store_path)
    before = connection.data_version(one)
    with connection.writing(other):
        settings.put(other, "a", "b", 0.0)
    assert connection.data_version(one) != before
    one.close()
    other.close()


def test_a_backup_is_a_store(store_path, tmp_path):
    con = connection.open_owner(store_path)
    with connection.writing(con):
        settings.put(con, "a", "b", 0.0)
    connection.back_up(con, tmp_path / "copy.db")
    con.close()
    copy = connection.open_reader(tmp_path / "copy.db")
    assert settings.everything(copy) == {"a": "b"}
    copy.close()


def test_a_store_of_the_first_release_is_backed_up_and_brought_up_to_date(tmp_path):
    path = tmp_path / "old.db"
    old = Database(sqlite3.connect(path, isolation_level=None))
    MIGRATIONS.apply(old, stop_before="m002_whole_piece")
    old.conn.execute("INSERT INTO pieces (name, created_ms) VALUES ('tray', 0)")
    old.conn.close()
    con = connection.open_owner(path)
    [piece] = pieces.pieces(con)
    assert (piece.name, piece.archived_at_s) == ("tray", None)
    con.close()
    assert (tmp_path / "old.db.before-m002_whole_piece").exists()
