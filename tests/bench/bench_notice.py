"""From a reading to the notice of it, printed: a real broker, the real monitor, at normal tick.

    python tests/bench/bench_notice.py [rooms]

Needs Mosquitto. Each of the rooms (20) turns cold once, with two layers on the bench. What is
measured begins when the broker has taken the reading that completes the on-delay (so the
on-delay itself is not in it) and ends when the notice is heard on the broker. The wanted bound
is 2 s, this program's own. Readings come at odd moments, so that they meet every part of a tick.
"""

from __future__ import annotations

import json
import queue
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import closing
from pathlib import Path

import paho.mqtt.client as mqtt

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2]), str(HERE.parents[1])]

from monitor import shelf  # noqa: E402
from monitor.brokers import MosquittoBroker  # noqa: E402
from monitor.core.alarms.rules import RULES  # noqa: E402
from monitor.store import connection, intake_rows, pieces  # noqa: E402
from monitor.store.connection import writing  # noqa: E402
from monitor.store.intake_rows import Arrival  # noqa: E402

ON_DELAY_S = RULES["room_too_cold"].on_delay_s
COLD_C, WARM_C = 15.0, 21.0
TICK_S = 2.0
APART_S = 0.37  # so that readings meet every part of a tick
SETTLE_S = 3.0
LAYERS = 2  # on the bench at a time
WITHIN_S = 15.0
HOUR_S = 3600.0


def percentile(values: list[float], share: float) -> float:
    return sorted(values)[min(int(share * len(values)), len(values) - 1)]


def fill(path: Path, rooms: int, now_s: float) -> None:
    """Every room has been warm for three hours."""
    with closing(connection.open_owner(path)) as con, writing(con):
        for n in range(rooms):
            past = [
                Arrival(
                    f"home/n{n}/air",
                    now_s - ON_DELAY_S - 60 - 300.0 * i,
                    WARM_C + 0.1 * (i % 3),
                    48.0 + i % 2,
                )
                for i in range(36)
            ]
            intake_rows.commit(con, "home", f"n{n}", past, (), {}, now_s)


def pour(path: Path, room: int, now_s: float) -> int:
    """A layer that has cured in this room for an hour."""
    coating = next(one for one in shelf.library() if one.key == "coating_2_1")
    with closing(connection.open_writer(path)) as con, writing(con):
        piece = pieces.add_piece(con, f"Tray {room}", now_s - HOUR_S)
        return pieces.add_layer(
            con,
            piece,
            "Flood",
            coating,
            now_s - HOUR_S,
            now_s,
            depth_mm=3.0,
            sensor=f"home/n{room}/air",
        )


def end(path: Path, layer: int, now_s: float) -> None:
    """The layer leaves the bench."""
    with closing(connection.open_writer(path)) as con, writing(con):
        pieces.end_layer(con, layer, now_s)


class Ears:
    """Publishes readings and hears notices."""

    def __init__(self, port: int) -> None:
        self.heard: queue.SimpleQueue[tuple[float, str]] = queue.SimpleQueue()
        ready = threading.Event()
        self.online = threading.Event()
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        self._client.on_connect = lambda client, *_: client.subscribe("pourside/home/#", 1)
        self._client.on_subscribe = lambda *_: ready.set()
        self._client.on_message = self._hear
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        assert ready.wait(WITHIN_S)

    def _hear(self, _client, _userdata, message) -> None:
        if message.topic == "pourside/home/notices":
            for alarm in json.loads(message.payload)["alarms"]:
                if alarm["key"] == "room_too_cold":
                    self.heard.put((time.perf_counter(), alarm["subject"]))
        elif message.topic == "pourside/home/monitor/status" and message.payload == b"online":
            self.online.set()

    def say(self, room: int, at_s: list[float]) -> float:
        """Publish cold readings; when the broker had taken them."""
        pack = [
            {"bn": f"n{room}/air/", "n": name, "u": unit, "t": t, "v": value}
            for t in at_s
            for name, unit, value in (
                ("temperature", "Cel", COLD_C + 0.1 * (t % 2 > 1)), ("humidity", "%RH", 48.0),
            )
        ]  # fmt: skip
        receipt = self._client.publish(f"pourside/home/n{room}/senml", json.dumps(pack), 1)
        receipt.wait_for_publish(WITHIN_S)
        return time.perf_counter()

    def stop(self) -> None:
        self._client.loop_stop()


def measured(rooms: int, folder: Path, port: int) -> list[float]:
    store = folder / "data" / "pourside.db"
    store.parent.mkdir()
    fill(store, rooms, time.time())
    config = folder / "pourside.toml"
    config.write_text(f'data_dir = "{store.parent}"\n[broker]\nport = {port}\n', encoding="utf-8")
    ears = Ears(port)
    child = subprocess.Popen(
        [sys.executable, "-m", "monitor.cli", "monitor", "--config", str(config)],
        cwd=HERE.parents[2],
    )
    pause = threading.Event()
    try:
        assert ears.online.wait(WITHIN_S)
        pause.wait(5.0)  # the first forecasts of all rooms are behind us
        took, bench = [], []
        for room in range(rooms):
            bench.append(pour(store, room, time.time()))
            if len(bench) > LAYERS:
                end(store, bench.pop(0), time.time())
            # Cold already, and for so long that the next reading completes the on-delay.
            ears.say(room, [time.time() - ON_DELAY_S - 5.0, time.time() - 200.0])
            pause.wait(SETTLE_S + (APART_S * room) % TICK_S)
            began = ears.say(room, [time.time()])
            heard_s, subject = ears.heard.get(timeout=WITHIN_S)
            assert subject == f"room:home/n{room}/air", subject
            took.append(heard_s - began)
        return took
    finally:
        child.terminate()
        child.wait(WITHIN_S)
        ears.stop()


def main() -> None:
    rooms = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    with tempfile.TemporaryDirectory() as name:
        broker = MosquittoBroker(Path(name) / "broker")
        broker.start()
        try:
            took = measured(rooms, Path(name), broker.port)
        finally:
            broker.stop()
    print(
        f"reading to notice, {rooms} rooms, {LAYERS} layers on the bench, tick {TICK_S:g} s, "
        "on-delay left out:"
    )
    print(
        f"  median {percentile(took, 0.5):.2f} s   9 in 10 within {percentile(took, 0.9):.2f} s   "
        f"longest {max(took):.2f} s   (wanted: at most 2 s)"
    )


if __name__ == "__main__":
    main()
