"""Every sample the node took is in the store afterwards, once: whatever was killed meanwhile."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
from contextlib import closing
from pathlib import Path

import pytest

from firmware_side import clock as node_clock
from firmware_side import node as sensor_node
from firmware_side.sensors.base import Sample
from monitor import brokers
from monitor.store import connection, readings
from monitor.store.errors import StoreError

KEY = "home/bench/air"
WITHIN_S = 75.0


class CountingSource:
    """Gives samples that can be told apart: 0.01, 0.02, ... degrees."""

    def __init__(self, total: int) -> None:
        self.total = total
        self.taken: list[float] = []
        self.taken_at_s: list[float] = []
        self._clock = node_clock.Clock()
        self.done = threading.Event()
        self.reached = {n: threading.Event() for n in range(0, total + 1, 10)}

    def read(self) -> Sample:
        if len(self.taken) < self.total:
            self.taken_at_s.append(self._clock.now_s())
            self.taken.append(round(0.01 * (len(self.taken) + 1), 2))
            event = self.reached.get(len(self.taken))
            if event is not None:
                event.set()
            return Sample(self.taken[-1], 50.0)
        self.done.set()
        from firmware_side.sensors.base import SensorFault

        raise SensorFault("all samples are taken")


class House:
    """A node in a thread, a monitor in a process, a broker of the test's choice."""

    def __init__(self, folder: Path, port: int, total: int, clock_set: bool) -> None:
        self.config = folder / "pourside.toml"
        self.config.write_text(
            f'data_dir = "{folder / "data"}"\n[broker]\nport = {port}\n[monitor]\ntick_s = 30\n',
            encoding="utf-8",
        )
        self.store = folder / "data" / "pourside.db"
        self.source = CountingSource(total)
        self.stop = threading.Event()
        self._monitor: subprocess.Popen[bytes] | None = None
        options = sensor_node.NodeOptions(
            site="home",
            node="bench",
            sensor="air",
            interval_s=0.02,
            port=port,
            outbox_path=folder / "outbox.db",
            resend_after_s=1.0,
        )
        self.node = threading.Thread(
            target=sensor_node.run,
            args=(options, self.source, node_clock.Clock(), self.stop),
            kwargs={"is_set": lambda: clock_set},
            daemon=True,
        )

    def start_monitor(self) -> None:
        self._monitor = subprocess.Popen(
            [sys.executable, "-m", "monitor.cli", "monitor", "--config", str(self.config)]
        )

    def kill_monitor(self) -> None:
        assert self._monitor is not None
        self._monitor.send_signal(signal.SIGKILL)
        self._monitor.wait(10)

    def end(self) -> None:
        self.stop.set()
        if self._monitor is not None and self._monitor.poll() is None:
            self._monitor.terminate()
            self._monitor.wait(20)
        if self.node.ident is not None:
            self.node.join(10)

    def stored(self) -> list[float]:
        if not self.store.exists():
            return []
        try:
            with closing(connection.open_reader(self.store)) as con:
                return readings.raw(con, KEY, 0.0, 4e9).temp_c.tolist()
        except StoreError:  # the monitor is still preparing it
            return []

    def stored_at_s(self) -> list[float]:
        with closing(connection.open_reader(self.store)) as con:
            return readings.raw(con, KEY, 0.0, 4e9).at_s.tolist()

    def await_all(self) -> None:
        """Look until every sample is there; the store's own events end the wait early."""
        look = threading.Event()
        for _ in range(int(WITHIN_S / 0.1)):
            if self.source.done.is_set() and len(self.stored()) >= self.source.total:
                return
            look.wait(0.1)


@pytest.fixture
def house(tmp_path):
    made: list[House] = []

    def make(port: int, total: int = 200, clock_set: bool = True) -> House:
        made.append(House(tmp_path, port, total, clock_set))
        return made[-1]

    yield make
    for one in made:
        one.end()


def test_a_monitor_killed_in_mid_stream_loses_nothing(mosquitto, house):
    here = house(mosquitto().port)
    here.start_monitor()
    here.node.start()
    assert here.source.reached[60].wait(WITHIN_S)
    here.kill_monitor()
    assert here.source.reached[130].wait(WITHIN_S)
    here.start_monitor()
    here.await_all()
    assert here.stored() == here.source.taken


def test_a_broker_that_dies_with_its_queue_loses_nothing(mosquitto, house, tmp_path):
    port = brokers.free_port()
    first = mosquitto(port=port)
    here = house(port)
    here.node.start()
    assert here.source.reached[60].wait(WITHIN_S)
    first.kill()
    assert here.source.reached[100].wait(WITHIN_S)
    mosquitto(port=port)  # in a new folder: it remembers nothing
    here.start_monitor()
    here.await_all()
    assert here.stored() == here.source.taken


def test_a_node_that_starts_before_any_broker_loses_nothing(embedded, house):
    embedded.stop()
    here = house(embedded.port, total=100)
    here.node.start()
    here.start_monitor()
    assert here.source.reached[60].wait(WITHIN_S)
    embedded.start()
    here.await_all()
    assert here.stored() == here.source.taken


def test_a_board_without_the_time_loses_nothing_and_dates_what_waited_rightly(mosquitto, house):
    """A time relative to now is worth nothing once a broker has kept it for a monitor."""
    here = house(mosquitto().port, clock_set=False)
    here.start_monitor()
    here.node.start()
    assert here.source.reached[60].wait(WITHIN_S)
    here.kill_monitor()
    assert here.source.done.wait(WITHIN_S)
    here.start_monitor()
    here.await_all()
    dated = dict(zip(here.stored(), here.stored_at_s(), strict=True))
    assert sorted(dated) == here.source.taken
    late_s = [
        dated[taken] - at_s
        for taken, at_s in zip(here.source.taken, here.source.taken_at_s, strict=True)
    ]
    # On its way for less than a second even on a busy machine; the outage lasted for more.
    assert max(map(abs, late_s)) < 1.0
