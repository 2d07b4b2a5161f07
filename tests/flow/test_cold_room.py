"""The main job on a real recorded room: a replay through a real Mosquitto becomes warnings.

The room: one of a low-energy house in Belgium, January 2016, 10 min steps (Candanedo et al.,
Energy and Buildings 140 (2017) 81-97, UCI Machine Learning Repository). The moments of the
alarm are worked out again here, from the same rows, by a few lines that share nothing with
the program.
"""

from __future__ import annotations

import csv
import gzip
import json
import signal
import subprocess
import sys
import threading
import urllib.request
from contextlib import closing
from datetime import UTC, datetime

import paho.mqtt.client as mqtt
import pytest
from opendata import open_data

from monitor import brokers, shelf
from monitor.store import alarms, connection, outlooks, pieces, readings
from monitor.store.connection import writing

KEY = "home/bench/air"
DAYS = 4
SPEED = 20_000
STEP_S = 600.0
LIMIT_C, DEADBAND_C, ON_S, OFF_S = 18.0, 0.5, 300.0, 600.0
WITHIN_S = 90.0


def rows_of(path):
    with gzip.open(path, "rt") as file:
        rows = list(csv.DictReader(file))[: DAYS * 144]
    at = [datetime.fromisoformat(row["ts"]).replace(tzinfo=UTC).timestamp() for row in rows]
    return at, [float(row["temp_c"]) for row in rows], [float(row["rh_pct"]) for row in rows], rows


def crossings(at_s, temp_c):
    """(moment, raised?) of a cold alarm, told from the rows alone."""
    moments, active, wrong, right = [], False, None, None
    for moment, temp in zip(at_s, temp_c, strict=True):
        if temp < LIMIT_C:
            wrong, right = (moment if wrong is None else wrong), None
        elif temp >= LIMIT_C + DEADBAND_C:
            wrong, right = None, (moment if right is None else right)
        if not active and wrong is not None and moment - wrong >= ON_S:
            active = not moments.append((moment, True))
        elif active and right is not None and moment - right >= OFF_S:
            active = bool(moments.append((moment, False)))
    return moments


@pytest.fixture
def replayed(mosquitto, tmp_path):
    """`pourside up` over the record, ended once the last row is in the store and judged."""
    at_s, temp_c, humidity_pct, rows = rows_of(
        open_data("indoor/energy_ironing_2016-01-11_03-31.csv.gz")
    )
    log = tmp_path / "room.csv"
    with log.open("w", newline="") as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    store = tmp_path / "data" / "pourside.db"
    store.parent.mkdir()
    coating = next(one for one in shelf.library() if one.key == "coating_2_1")
    with closing(connection.open_owner(store)) as con, writing(con):
        piece = pieces.add_piece(con, "Test panel", at_s[0])
        layer = pieces.add_layer(
            con, piece, "Flood", coating, at_s[0], at_s[0], depth_mm=3.0, area_cm2=500.0
        )
    port = brokers.free_port()
    broker = mosquitto()
    config = tmp_path / "pourside.toml"
    config.write_text(
        f"""
        data_dir = "{store.parent}"
        time_zone = "UTC"
        [broker]
        port = {broker.port}
        [node]
        source = "replay"
        file = "{log}"
        [clock]
        start = "replay"
        speed = {SPEED}
        [monitor]
        tick_s = 1
        silent_after_s = 864000
        [dashboard]
        port = {port}
        """
    )
    told: list[dict[str, object]] = []
    ear = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    ear.on_message = lambda _client, _userdata, heard: told.append(json.loads(heard.payload))
    ear.connect("127.0.0.1", broker.port)
    ear.subscribe("pourside/home/notices", 1)
    ear.loop_start()
    process = subprocess.Popen([sys.executable, "-m", "monitor.cli", "up", "--config", str(config)])
    try:
        with closing(connection.open_reader(store)) as con:
            look = threading.Event()
            for _ in range(int(WITHIN_S / 0.2)):
                look.wait(0.2)
                assert process.poll() is None
                outlook = outlooks.latest(con, layer)
                judged = outlook is not None and outlook.as_of_s > at_s[-1] + STEP_S
                # A busy machine's clock runs on while rows still wait in the outbox.
                if judged and readings.raw(con, KEY, 0.0, 4e9).at_s.size >= len(at_s):
                    break
        answer = json.load(
            urllib.request.urlopen(f"http://127.0.0.1:{port}/api/v1/layers/{layer}/outlook")
        )
        history = urllib.request.urlopen(f"http://127.0.0.1:{port}/pieces/{piece}").read().decode()
    finally:
        process.send_signal(signal.SIGTERM)
        assert process.wait(20) == 0
        ear.loop_stop()
        ear.disconnect()
    with closing(connection.open_reader(store)) as con:
        yield con, layer, at_s, temp_c, humidity_pct, answer, history, told


@pytest.mark.mosquitto
def test_a_recorded_cold_room_becomes_warnings(replayed):
    con, layer, at_s, temp_c, humidity_pct, answer, history, told = replayed

    raw = readings.raw(con, KEY, 0.0, 4e9)
    assert raw.at_s.tolist() == at_s
    # The store keeps hundredths of a degree and tenths of a per cent.
    assert raw.temp_c == pytest.approx(temp_c, abs=0.00501)
    assert raw.humidity_pct == pytest.approx(humidity_pct, abs=0.0501)

    expected = crossings(at_s, temp_c)
    assert len(expected) >= 3
    moments = [
        (entry.change.at_s, entry.change.after == "unacknowledged")
        for entry in reversed(alarms.journal(con, subject=f"room:{KEY}"))
        if entry.change.key == "room_too_cold"
        and entry.change.after in ("unacknowledged", "returned")
    ]
    assert [raised for _, raised in moments] == [raised for _, raised in expected]
    for (moment, _), (other, _) in zip(moments, expected, strict=True):
        assert abs(moment - other) <= STEP_S

    stages = {stage["key"]: stage for stage in answer["stages"]}
    for key in ("tape_window_open", "tack_free", "sandable"):
        later_h = (stages[key]["p50"] - at_s[0]) / 3600 - stages[key]["label_h"]
        assert later_h > 0.2 * stages[key]["label_h"]
    assert any("below the 18 °C" in str(notice) for notice in told)

    assert "Test panel" in history
    assert len(outlooks.history(con, layer)) > 10
