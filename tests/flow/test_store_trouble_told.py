"""What a person is told when the store or its folder cannot be used: plain words, and what to do.

Real files, a real full disk where one may be mounted; what root may write in spite of its mode
is tried as nobody.
"""

from __future__ import annotations

import logging
import os
import re
import socket
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing, contextmanager

import pytest
from command import pourside

from dashboard.app import create_app
from dashboard.options import Options
from monitor import assembly, checks, shelf
from monitor.clock import Clock
from monitor.config import Config, ConfigError, NodeConfig
from monitor.core.alarms.words import moment
from monitor.core.vocabulary import AlarmChange
from monitor.daemon import Monitor
from monitor.node_role import make_folder, run_node
from monitor.running import run_demo
from monitor.store import connection, pieces, resins, status
from monitor.store.connection import writing
from monitor.store.errors import StoreError
from monitor.watch import Watch

NOW = 1_790_000_000.0
NOBODY = 65534


def prepared(path):
    path.parent.mkdir(exist_ok=True)
    with closing(connection.open_owner(path)) as con, writing(con):
        for profile in shelf.library():
            resins.save_resin(con, profile, NOW, origin="library")
        piece = pieces.add_piece(con, "Tray", NOW)
        pieces.add_layer(con, piece, "Flood", shelf.library()[0], NOW, NOW, depth_mm=3.0)
        status.beat(con, "monitor", NOW, {})
    return path


@pytest.fixture
def store(tmp_path):
    return prepared(tmp_path / "data" / "pourside.db")


def page(path, now_s=NOW):
    return create_app(Options(path, lambda: now_s, **assembly.page_parts())).test_client()


@contextmanager
def as_nobody():
    """As a user who owns nothing here: root may write what its mode forbids."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def within_reach(tmp_path):
    """Folders that pytest keeps to its own user are passed through by all, for this test."""
    closed = [one for one in (tmp_path, *tmp_path.parents) if not one.stat().st_mode & 0o001]
    for one in closed:
        one.chmod(one.stat().st_mode | 0o011)
    yield
    for one in closed:
        one.chmod(one.stat().st_mode & ~0o011)


def both_ways(path):
    """The answers to a mark by the page and by the API."""
    client = page(path)
    by_hand = client.post("/layers/1/marks", data={"kind": "tacky"})
    by_program = client.post("/api/v1/layers/1/marks", json={"kind": "tacky"})
    return by_hand, by_program


def assert_told(answers, words):
    by_hand, by_program = answers
    assert (by_hand.status_code, by_program.status_code) == (503, 503)
    assert words in by_hand.get_data(as_text=True)
    assert by_program.mimetype == "application/problem+json"
    assert by_program.get_json()["detail"].startswith(words)
    assert by_program.get_json()["title"] == "Store not available"


def marks_in(path):
    with closing(connection.open_reader(path)) as con:
        return con.execute("SELECT count(*) FROM marks").fetchone()[0]


def test_an_act_on_a_busy_store_is_told(store, monkeypatch):
    monkeypatch.setattr(connection, "BUSY_TIMEOUT_S", 0.0)
    with closing(connection.open_owner(store)) as other, writing(other):
        assert_told(both_ways(store), "Not saved: the store is busy.")
    assert marks_in(store) == 0


def test_an_act_on_a_store_that_may_not_be_written_is_told(store, within_reach):
    store.parent.chmod(0o777)
    store.chmod(0o444)
    with as_nobody():
        answers = both_ways(store)
    assert_told(answers, "Not saved: the store may not be written.")
    assert marks_in(store) == 0


@pytest.fixture
def small_disk(tmp_path):
    """A disk of three megabytes, in memory."""
    folder = tmp_path / "disk"
    folder.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", str(folder)],
        capture_output=True,
        check=False,
    )
    if made.returncode != 0:
        pytest.skip("a small disk may not be mounted here")
    yield folder
    subprocess.run(["umount", "--lazy", str(folder)], check=True)


def fill(folder):
    with (
        (folder / "filling").open("wb", buffering=0) as filling,
        pytest.raises(OSError, match="28"),
    ):
        while True:
            filling.write(b"x" * 4096)


def test_an_act_on_a_full_disk_is_told_and_can_be_done_again(small_disk):
    store = prepared(small_disk / "pourside.db")
    with closing(connection.open_owner(store)):
        fill(small_disk)
        assert_told(both_ways(store), "Not saved: the disk is full.")
        (small_disk / "filling").unlink()
        assert page(store).post("/layers/1/marks", data={"kind": "tacky"}).status_code == 302
    assert marks_in(store) == 1


def test_on_a_full_disk_the_page_says_so_and_sends_nobody_to_restart_the_monitor(small_disk):
    store = prepared(small_disk / "pourside.db")
    with closing(connection.open_owner(store)):
        much_later = page(store, NOW + 3600.0)
        assert "The monitor has stopped" in much_later.get("/").get_data(as_text=True)
        fill(small_disk)
        said = much_later.get("/").get_data(as_text=True)
    assert "The disk is full: nothing is saved." in said
    assert "The monitor has stopped" not in said


def test_a_page_over_a_damaged_store_says_so(store):
    client = page(store)
    assert client.get("/").status_code == 200
    with store.open("r+b") as file:
        file.seek(4096)
        file.write(b"\xff" * (store.stat().st_size - 4096))
    for path in ("/", "/api/v1/resins"):
        answer = client.get(path)
        assert answer.status_code == 503
        assert "put a backup back" in answer.get_data(as_text=True)


@pytest.mark.parametrize(
    ("setting", "said"),
    [
        ("PRAGMA query_only = ON", "pourside check"),
        ("PRAGMA max_page_count = 1", "df -h"),
    ],
)
def test_the_command_tells_a_full_disk_from_a_store_it_may_not_write(store, setting, said):
    """Both come from SQLite as the same class of error."""
    code = (
        "import sys, monitor.cli as cli; from pathlib import Path; "
        "from monitor.store import connection, settings\n"
        "def fail(**_):\n"
        "    con = connection.open_owner(Path(sys.argv[1]))\n"
        "    con.execute(sys.argv[2])\n"
        "    with connection.writing(con): settings.put(con, 'n', 'x' * 10**6, 0.0)\n"
        "cli.cli = fail; cli.main()"
    )
    told = subprocess.run(
        [sys.executable, "-c", code, str(store), setting],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert told.returncode == 1
    assert told.stderr.startswith("pourside: the store cannot be written (")
    assert said in told.stderr
    assert ("disk is full" in told.stderr) == (said == "df -h")


def test_check_really_writes(store, within_reach):
    config = Config(data_dir=store.parent)
    assert checks._store(config).words.endswith("opens and can be written")
    before = store.read_bytes()
    store.parent.chmod(0o777)
    store.chmod(0o444)
    with as_nobody():
        found = checks._store(config)
    assert not found.fine
    assert "cannot be written" in found.words
    assert "chown" in found.mend
    assert "chmod" in found.mend
    assert store.read_bytes() == before


def test_check_says_of_a_busy_store_only_that(store, monkeypatch):
    monkeypatch.setattr(connection, "BUSY_TIMEOUT_S", 0.0)
    with closing(connection.open_owner(store)) as other, writing(other):
        found = checks._store(Config(data_dir=store.parent))
    assert (found.fine, "restore" in found.mend) == (False, False)
    assert "try again" in found.mend


def test_check_leaves_no_trace_in_the_store(store):
    checks._store(Config(data_dir=store.parent))
    with closing(connection.open_reader(store)) as con:
        assert con.execute("SELECT count(*) FROM settings").fetchone() == (0,)


@pytest.mark.parametrize("role", ["monitor", "up", "node"])
@pytest.mark.parametrize("data_dir", ["file", "file/data"])
def test_a_data_folder_that_is_a_file_is_told(tmp_path, role, data_dir):
    (tmp_path / "file").write_text("not a folder", encoding="ascii")
    (tmp_path / "pourside.toml").write_text(
        f'data_dir = "{data_dir}"\n[node]\nsource = "simulated"\n', encoding="utf-8"
    )
    told = pourside(role, cwd=tmp_path)
    assert told.returncode == 2
    assert told.stderr.startswith(f"pourside: {tmp_path / data_dir} cannot be the data folder")
    assert "name another data_dir" in told.stderr


def test_a_data_folder_that_may_not_be_made_is_told(tmp_path, within_reach):
    tmp_path.chmod(0o555)
    with as_nobody(), pytest.raises(Exception, match=r"data cannot be made \(Permission denied\)"):
        make_folder(tmp_path / "data")
    config = Config(data_dir=tmp_path / "data", node=NodeConfig(source="simulated"))
    with as_nobody(), pytest.raises(Exception, match="sudo install -d"):
        run_node(config, threading.Event())
    tmp_path.chmod(0o755)


def test_a_lock_that_may_not_be_written_is_told(store, within_reach):
    lock = store.with_name("pourside.db.lock")
    lock.touch(0o600)
    lock.chmod(0o400)
    said = r"pourside\.db\.lock cannot be written \(Permission denied\)\. .*sudo chown"
    with as_nobody(), pytest.raises(StoreError, match=said), connection.holding(store):
        pass


def test_a_demo_says_at_once_that_its_port_is_taken(tmp_path):
    said: list[str] = []
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(ConfigError, match=f"cannot listen on 127.0.0.1 port {port}.*choose"):
            run_demo(tmp_path / "demo", 1.0, port, threading.Event(), say=said.append)
    assert said == []
    assert not (tmp_path / "demo").exists()


def free_port():
    with socket.create_server(("127.0.0.1", 0)) as free:
        return free.getsockname()[1]


def test_a_demo_is_stopped_in_the_midst_of_making_up_its_past(tmp_path):
    stop = threading.Event()
    said: list[str] = []

    def say(words: str) -> None:
        said.append(words)
        if words.startswith("Making up a finished piece"):
            stop.set()

    run_demo(tmp_path, 1.0, free_port(), stop, say=say)
    assert len(said) == 2  # the weeks, and the first piece


def test_a_demo_interrupted_while_it_starts_leaves_no_traceback(tmp_path):
    """The signal comes in the midst of the slow imports."""
    code = (
        "import os, signal, sys\n"
        "class Late:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name == 'numpy': os.kill(os.getpid(), signal.SIGINT)\n"
        "sys.meta_path.insert(0, Late())\n"
        "sys.argv = ['pourside', 'demo', '--port', sys.argv[1]]\n"
        "from monitor.cli import main; main()"
    )
    told = subprocess.run(
        [sys.executable, "-c", code, str(free_port())],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert (told.returncode, told.stderr) == (0, "")
    assert "Open http" not in told.stdout


class Away:
    """A link to no broker."""

    connected = False


class SaysOne(Watch):
    """Thinks one thing, with a moment in it."""

    def think(self, con, now_s, works):
        return [
            AlarmChange(
                key="room_too_cold", subject="room:a", at_s=NOW, before="normal",
                after="unacknowledged", words=f"Cold since {moment(NOW)}.", priority="urgent",
                notice=True,
            )
        ]  # fmt: skip


def test_a_log_line_words_its_moments(con, store_path, caplog):
    caplog.set_level(logging.INFO)
    monitor = Monitor(store_path, "home", Away(), SaysOne(), Clock(), threading.Event())
    monitor._think(con)
    [line] = [one.getMessage() for one in caplog.records]
    assert line == "room_too_cold room:a: Cold since 2026-09-21 14:13 UTC."
    assert not re.search("[⟦⟧]", line)


class CannotWrite(Watch):
    """Meets a full disk at every tick but the third."""

    ticks = 0

    def think(self, con, now_s, works):
        CannotWrite.ticks += 1
        if CannotWrite.ticks == 3:
            return []
        raise sqlite3.OperationalError("database or disk is full")


def test_a_lasting_trouble_is_logged_once_not_at_every_tick(con, store_path, caplog):
    """A log that grows by a line a tick would fill the disk further."""
    monitor = Monitor(store_path, "home", Away(), CannotWrite(), Clock(), threading.Event())
    told = []
    for _ in range(4):
        caplog.clear()
        monitor._think(con)
        told.append(len(caplog.records))
    assert told == [1, 0, 0, 1]
