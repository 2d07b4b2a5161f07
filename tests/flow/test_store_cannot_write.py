"""A store that cannot be written for a while (disk full, file held): nothing dies, nothing repeats.

SQLite tells a full disk and a held file by the same kind of error; `max_page_count` makes the
first without a disk to fill, an open transaction of another connection the second.
"""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
from contextlib import closing

import pytest

from monitor import intake
from monitor.channels.dispatch import Dispatcher
from monitor.core.vocabulary import AlarmChange, AlarmState
from monitor.mqtt_link import Link
from monitor.store import alarms, connection, intake_rows, notices, settings
from monitor.store.connection import writing

NOW = 1_790_000_000.0


class Phone:
    """A channel that remembers what it was given."""

    name = "phone"
    goes_to = "a phone"

    def __init__(self, sent: threading.Event | None = None) -> None:
        self.told: list[str] = []
        self.sent = sent or threading.Event()

    def send(self, notice):
        self.told.append(notice)
        self.sent.set()


def fill(con):
    """Let the store have no page more."""
    pages = con.execute("PRAGMA page_count").fetchone()[0]
    con.execute(f"PRAGMA max_page_count = {pages}")


def free(con):
    con.execute("PRAGMA max_page_count = 1000000")


def queue_notice(con):
    change = AlarmChange(
        key="room_too_cold",
        subject="room:home/bench/air",
        at_s=NOW,
        before="normal",
        after="unacknowledged",
        words="12 °C, below 18 °C.",
        priority="urgent",
        notice=True,
    )
    state = AlarmState(change.key, change.subject)
    with writing(con):
        (number,) = alarms.record(con, [state], [change])
        notices.queue(con, number, "phone", NOW)


def test_a_transaction_that_a_full_disk_ends_leaves_the_connection_usable(con):
    fill(con)
    with pytest.raises(sqlite3.OperationalError, match="full"), writing(con):
        settings.put(con, "note", "x" * 100_000, NOW)
    free(con)
    with writing(con):
        settings.put(con, "note", "short", NOW)
    assert settings.get(con, "note", "") == "short"


def test_a_commit_that_fails_is_undone(store_path):
    """A deferred foreign key fails at the commit itself, as a full disk may."""
    con = connection.open_owner(store_path)
    with pytest.raises(sqlite3.IntegrityError), writing(con):
        con.execute("PRAGMA defer_foreign_keys = ON")
        con.execute("INSERT INTO photos VALUES (1, 999, 1, 1, x'00')")
    with writing(con):
        settings.put(con, "note", "later", NOW)
    assert con.execute("SELECT count(*) FROM photos").fetchone() == (0,)
    con.close()


def test_how_far_a_node_is_committed_is_told_while_the_store_cannot_be_written(con, store_path):
    with writing(con):
        intake_rows.commit(con, "home", "bench", (), [intake_rows.Handled("a", 0)], {"a": 0}, NOW)
    con.execute("PRAGMA busy_timeout = 0")
    with closing(connection.open_owner(store_path)) as other, writing(other):
        intake.tell_committed(con, Link("127.0.0.1", 1, "x", []), "home")
        assert intake_rows.committed(con, "home", "bench") == {"a": 0}


def test_a_notice_that_was_sent_but_could_not_be_marked_is_not_sent_again(con, store_path):
    queue_notice(con)
    phone = Phone()
    dispatcher = Dispatcher([phone], str)
    con.execute("PRAGMA busy_timeout = 0")
    with closing(connection.open_owner(store_path)) as other:
        for _ in range(3):
            with writing(other), pytest.raises(sqlite3.OperationalError):
                dispatcher.run_once(con, NOW)
    dispatcher.run_once(con, NOW)
    assert len(phone.told) == 1
    assert notices.due(con, NOW + 1e6) == []


def test_the_telling_outlives_a_store_that_cannot_be_written(con, store_path, monkeypatch):
    queue_notice(con)
    monkeypatch.setattr("monitor.channels.dispatch.AGAIN_S", 0.01)
    failed, sent, stop = threading.Event(), threading.Event(), threading.Event()
    honest = notices.mark_sent

    def full_once(*args):
        if not failed.is_set():
            failed.set()
            raise sqlite3.OperationalError("database or disk is full")
        honest(*args)
        sent.set()

    monkeypatch.setattr("monitor.store.notices.mark_sent", full_once)
    phone = Phone()
    dispatcher = Dispatcher([phone], str)
    thread = threading.Thread(
        target=dispatcher.run, args=(stop, store_path, lambda: NOW), daemon=True
    )
    thread.start()
    assert sent.wait(10)
    stop.set()
    thread.join(10)
    assert dispatcher.fault is None
    assert len(phone.told) == 1


def test_a_line_that_never_started_can_be_stopped():
    Link("127.0.0.1", 1, "x", []).stop()


def test_a_start_on_a_store_that_cannot_be_written_is_one_clear_line(tmp_path):
    store = tmp_path / "data" / "pourside.db"
    store.parent.mkdir()
    (tmp_path / "pourside.toml").write_text('data_dir = "data"\n')
    with closing(connection.open_owner(store)) as con:
        # The next page asked for does not come, in any connection.
        con.execute(
            "CREATE TRIGGER full BEFORE INSERT ON resins BEGIN SELECT RAISE(FAIL, 'full'); END"
        )
    words = ["monitor", "--config", str(tmp_path / "pourside.toml")]
    result = subprocess.run(
        [sys.executable, "-m", "monitor.cli", *words],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert result.returncode == 1
    assert "Traceback" not in result.stderr
    assert result.stderr.splitlines()[-1].startswith("pourside: the store cannot be written (full)")
