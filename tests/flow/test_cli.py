"""The command as a person meets it: one clear line, the right exit code, never a traceback."""

from __future__ import annotations

import json
import subprocess
import sys
from contextlib import closing

import pytest
from command import pourside

from monitor import shelf
from monitor.store import connection, pieces
from monitor.store.connection import writing

T0 = 1_790_000_000.0


@pytest.fixture
def config(tmp_path):
    path = tmp_path / "pourside.toml"
    path.write_text('data_dir = "data"\n')
    return path


@pytest.fixture
def piece(tmp_path):
    store = tmp_path / "data" / "pourside.db"
    store.parent.mkdir()
    with closing(connection.open_owner(store)) as con, writing(con):
        number = pieces.add_piece(con, "Tray", T0)
        resin = shelf.library()[0]
        pieces.add_layer(con, number, "Flood", resin, T0, T0, depth_mm=3.0)
    return number


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["up", "--config", "nowhere.toml"], 2, "there is no config file nowhere.toml"),
        (["demo", "--speed", "0"], 2, "0.1<=x<=3600"),
        (["nonsense"], 2, "No such command 'nonsense'"),
        (["backup"], 2, "Missing argument 'FILE'"),
    ],
)
def test_wrong_usage_is_one_clear_line(words, code, said, tmp_path):
    result = pourside(*words, cwd=tmp_path)
    assert result.returncode == code
    assert said in result.stderr
    assert "Traceback" not in result.stderr


def test_a_missing_store_says_what_to_start(config):
    result = pourside("export", "--config", str(config), "1")
    assert (result.returncode, result.stdout) == (1, "")
    assert "start the monitor once" in result.stderr


def test_a_sensor_that_is_not_there_says_what_to_install_or_set(config):
    config.write_text('data_dir = "data"\n[node]\nsource = "dht22"\n')
    result = pourside("node", "--config", str(config))
    assert result.returncode == 1
    lines = [line for line in result.stderr.splitlines() if line.startswith("pourside:")]
    assert len(lines) == 1
    assert "Traceback" not in result.stderr


def test_check_names_what_to_mend(config):
    config.write_text('data_dir = "data"\n[broker]\nport = 1\n[node]\nsource = "simulated"\n')
    result = pourside("check", "--config", str(config))
    assert result.returncode == 1
    assert "MEND  broker: nothing answers at 127.0.0.1:1" in result.stdout
    assert "sudo apt install mosquitto" in result.stdout
    assert "ok    sensor: simulated reads" in result.stdout


def test_a_piece_is_exported_whole(config, piece):
    result = pourside("export", "--config", str(config), str(piece))
    assert result.returncode == 0
    whole = json.loads(result.stdout)
    assert whole["piece"]["name"] == "Tray"
    assert whole["layers"][0]["layer"]["resin"]["stages"]
    assert pourside("export", "--config", str(config), "99").stderr == (
        "pourside: there is no piece 99; known: 1\n"
    )


def test_a_backup_is_restored_and_the_old_store_kept_aside(config, piece, tmp_path):
    saved = tmp_path / "saved.db"
    assert pourside("backup", "--config", str(config), str(saved)).returncode == 0
    store = tmp_path / "data" / "pourside.db"
    with closing(connection.open_owner(store)) as con, writing(con):
        pieces.delete_piece(con, piece)
    refused = pourside("restore", "--config", str(config), str(saved))
    assert (refused.returncode, "add --yes" in refused.stderr) == (2, True)
    assert pourside("restore", "--config", str(config), str(saved), "--yes").returncode == 0
    with closing(connection.open_reader(store)) as con:
        assert [one.name for one in pieces.pieces(con)] == ["Tray"]
    assert (tmp_path / "data" / "pourside.db.before-restore").exists()


def test_the_node_is_light():
    """Neither numpy nor Flask nor the store comes in with the node's command."""
    code = (
        "import sys, monitor.cli, monitor.node_role;"
        "print([m for m in ('numpy', 'flask', 'sqlite_utils', 'waitress') if m in sys.modules])"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout == "[]\n"


def test_many_stop_signals_at_once_still_stop_it():
    """A service manager and a person may both say stop; none may block the other."""
    code = (
        "import os, signal, threading; from monitor.cli import stopping;"
        "stop = stopping();"
        "threading.Thread(target=lambda: [os.kill(os.getpid(), signal.SIGTERM)"
        " for _ in range(200)]).start();"
        "print(stop.wait(10)); [stop.wait(0) for _ in range(1000)]"
    )
    shown = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=30, check=True
    )
    assert shown.stdout == "True\n"
