"""A store that is removed or replaced under a running monitor: nothing is acknowledged into a void.

SQLite goes on writing to a file that has no name any more, without a word.
"""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
import threading
from contextlib import closing, contextmanager

import pytest

from monitor import intake
from monitor.channels.dispatch import Dispatcher
from monitor.clock import Clock
from monitor.daemon import Monitor
from monitor.inbox import Delivery, Inbox
from monitor.store import connection, readings, settings
from monitor.store.connection import StoreGone, writing
from monitor.store.errors import StoreError
from monitor.watch import Watch

KEY = "home/bench/air"
NOW = 1_790_000_000.0


class Line:
    """A link without a broker: it hands over what a test puts in, and keeps what was said."""

    connected, epoch, fault = True, 1, None

    def __init__(self) -> None:
        self.inbox = Inbox()
        self.acknowledged: list[int] = []
        self.told: list[dict[str, int]] = []
        self.answered = threading.Event()

    def bring(self, seq: int) -> None:
        value = {"n": "bench/air/temperature", "u": "Cel", "v": 20.0 + 0.01 * seq, "t": NOW + seq}
        payload = json.dumps([{**value, "boot": "a", "seq": seq, "low": 0}]).encode()
        self.inbox.put(Delivery("pourside/home/bench/senml", payload, False, seq, 1, 1, NOW))

    def acknowledge(self, delivery: Delivery) -> None:
        self.acknowledged.append(delivery.mid)
        self.answered.set()

    def publish(self, _topic: str, payload: bytes, retain: bool = False) -> bool:
        self.told.append(json.loads(payload))
        return True

    def reconnect(self) -> None:
        pass

    def alive(self) -> bool:
        return True

    def start(self) -> None:
        pass

    def stop(self) -> None:
        pass


def removed(store):
    for suffix in ("", "-wal", "-shm"):
        store.with_name(store.name + suffix).unlink()


def main_file_removed(store):
    store.unlink()


def replaced(store):
    other = store.with_name("other.db")
    connection.open_owner(other).close()
    other.replace(store)


def log_removed(store):
    store.with_name(f"{store.name}-wal").unlink()


def log_replaced(store):
    log_removed(store)
    store.with_name(f"{store.name}-wal").touch()


def folder_moved(store):
    store.parent.rename(store.parent.with_name("elsewhere"))


WAYS = [removed, main_file_removed, replaced, log_removed, log_replaced, folder_moved]


@pytest.fixture
def store(tmp_path):
    path = tmp_path / "data" / "pourside.db"
    path.parent.mkdir()
    connection.open_owner(path).close()
    return path


def take(con, line):
    return intake.drain(con, line, "home", {}, NOW + 100)


@contextmanager
def running(store, line):
    """A monitor in a thread, which is to end by itself; yields what ended it."""
    monitor = Monitor(store, "home", line, Watch(), Clock(), threading.Event(), tick_s=0.1)
    ended: list[BaseException] = []
    stop = threading.Event()

    def run() -> None:
        try:
            monitor.run(stop)
        except StoreError as error:
            ended.append(error)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    try:
        yield ended
        thread.join(30)
    finally:
        stop.set()
        thread.join(30)


@pytest.mark.parametrize("way", WAYS)
def test_what_went_to_a_store_taken_away_is_not_acknowledged(store, way):
    line = Line()
    with closing(connection.open_owner(store)) as con:
        line.bring(0)
        assert take(con, line) == 1
        way(store)
        line.bring(1)
        with pytest.raises(StoreGone, match=r"pourside\.db was taken away or replaced while"):
            take(con, line)
    assert line.acknowledged == [0]
    assert line.told == [{"a": 0}]


@pytest.mark.parametrize("way", WAYS)
def test_the_monitor_stops_by_itself_without_a_message(store, way):
    line = Line()
    line.bring(0)
    with running(store, line) as ended:
        assert line.answered.wait(30)
        way(store)
    assert isinstance(ended[0], StoreGone)


def test_the_log_of_the_old_store_is_not_read_into_the_new_one(store, tmp_path):
    with closing(connection.open_owner(store)) as con:
        with writing(con):
            settings.put(con, "note", "old", NOW)
        saved = tmp_path / "saved.db"
        connection.back_up(con, saved)
        with writing(con):
            settings.put(con, "note", "older store, newest words", NOW)
        saved.replace(store)
        with pytest.raises(StoreGone):
            con.check()
    with closing(connection.open_owner(store)) as con:
        assert settings.get(con, "note", "") == "old"
        assert con.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert store.with_name("pourside.db.taken-away-wal").stat().st_size > 0


def test_a_store_whose_log_alone_was_removed_keeps_all_that_was_acknowledged(store):
    line = Line()
    with closing(connection.open_owner(store)) as con:
        for seq in range(50):
            line.bring(seq)
        take(con, line)
        log_removed(store)
        with pytest.raises(StoreGone):
            con.check()
    assert len(line.acknowledged) == 50
    with closing(connection.open_reader(store)) as con:
        assert readings.raw(con, KEY, 0.0, 4e9).temp_c.size == 50


def test_a_store_in_ordinary_use_is_not_taken_for_gone(store, tmp_path):
    """Other connections come and go, the log is emptied, a copy is made, columns are rebuilt."""
    with closing(connection.open_owner(store)) as con:
        for number in range(3):
            with closing(connection.open_writer(store)) as other, writing(other):
                settings.put(other, "n", str(number), NOW)
            con.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            connection.back_up(con, tmp_path / f"copy{number}.db")
            con.execute("VACUUM")
            con.check()


@pytest.mark.parametrize("opening", [connection.open_writer, connection.open_reader])
def test_a_page_does_not_make_a_store(tmp_path, opening):
    path = tmp_path / "a store?#1%20.db"
    with pytest.raises(StoreError, match="not made yet, or it was taken away"):
        opening(path)
    assert os.listdir(tmp_path) == []
    connection.open_owner(path).close()
    opening(path).close()
    assert os.listdir(tmp_path) == [path.name]


def test_a_restore_finds_its_store_whatever_the_name(tmp_path, store):
    odd = tmp_path / "50% & more?.db"
    shutil.copy(store, odd)
    connection.restore(odd, store)
    connection.open_reader(store).close()


def test_a_truncated_store_is_named_without_a_traceback(store, caplog):
    os.truncate(store, 1000)
    dispatcher = Dispatcher([], str)
    dispatcher.run(threading.Event(), store, lambda: NOW)
    assert isinstance(dispatcher.fault, StoreError)
    assert "pourside.db cannot be opened" in str(dispatcher.fault)
    assert caplog.records == []


def test_a_store_truncated_while_notices_are_sent_is_named_without_a_traceback(store, caplog):
    looked = threading.Event()

    def now_s() -> float:
        if not looked.is_set():
            looked.set()
            os.truncate(store, 1000)
        return NOW

    with closing(connection.open_owner(store)) as con, writing(con):
        settings.put(con, "a", "b", NOW)
    dispatcher = Dispatcher([], str)
    dispatcher.run(threading.Event(), store, now_s)
    assert isinstance(dispatcher.fault, StoreError)
    assert f"the store {store} cannot be used" in str(dispatcher.fault)
    assert "put a backup back" in str(dispatcher.fault)
    assert caplog.records == []


def test_a_monitor_whose_store_is_truncated_names_it(store):
    line = Line()
    line.bring(0)
    with running(store, line) as ended:
        assert line.answered.wait(30)
        # All is in the one file, which is then cut short.
        with closing(connection.open_writer(store)) as con:
            con.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        os.truncate(store, 1000)
        line.bring(1)
    assert f"the store {store} cannot be used" in str(ended[0])


def test_the_command_ends_with_one_sentence_and_a_code_that_starts_it_anew(tmp_path):
    config = tmp_path / "pourside.toml"
    config.write_text('data_dir = "data"\n[broker]\nport = 1\n', encoding="utf-8")
    store = tmp_path / "data" / "pourside.db"
    # The service manager is told when it is ready: then the store is taken away.
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(60)
        monitor = subprocess.Popen(
            [sys.executable, "-m", "monitor.cli", "monitor", "--config", str(config)],
            env={**os.environ, "NOTIFY_SOCKET": str(tmp_path / "notify")},
            stderr=subprocess.PIPE,
            text=True,
        )
        try:
            while b"READY=1" not in manager.recv(100):
                pass
            removed(store)
            _, said = monitor.communicate(timeout=60)
        finally:
            monitor.kill()
    assert monitor.returncode == 1
    assert "Traceback" not in said
    assert said.splitlines()[-1].startswith(
        f"pourside: the store {store} was taken away or replaced while the monitor ran"
    )
    assert not store.exists()
