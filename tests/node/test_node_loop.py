"""The node on a real broker: it says it is there, and no reading is lost."""

import contextlib
import json
import logging
import socket
import subprocess
import sys
import threading

import pytest
from node.small_monitor import SmallMonitor

from firmware_side import link
from firmware_side.clock import Clock
from firmware_side.errors import NodeError
from firmware_side.node import NodeOptions, run
from firmware_side.outbox import Outbox
from firmware_side.sensors.base import Sample, SensorFault
from firmware_side.sensors.replay import ReplaySource

T0_S = 1_764_000_000.0


class Counting:
    """Gives 0.01, 0.02, ... degC up to a total, then nothing."""

    def __init__(self, total):
        self.total = total
        self.taken = 0
        self.changed = threading.Condition()

    def read(self):
        with self.changed:
            if self.taken >= self.total:
                raise SensorFault("all samples are taken")
            self.taken += 1
            self.changed.notify_all()
            return Sample(self.taken / 100, 50.0)

    def await_taken(self, count):
        with self.changed:
            assert self.changed.wait_for(lambda: self.taken >= count, 20.0)


@pytest.fixture
def start(tmp_path):
    """Runs nodes in threads; all are stopped after the test."""
    running = []

    def started(source, port, clock=None, is_set=lambda: True, **options):
        settings = {
            "site": "home",
            "node": "bench",
            "interval_s": 0.01,
            "port": port,
            "outbox_path": tmp_path / "outbox.db",
            "resend_after_s": 0.5,
        } | options
        stop, fault = threading.Event(), []

        def body():
            try:
                run(NodeOptions(**settings), source, clock or Clock(), stop, is_set=is_set)
            except NodeError as error:
                fault.append(error)

        thread = threading.Thread(target=body)
        thread.fault = fault
        thread.halt = stop
        thread.start()
        running.append((thread, stop))
        return thread

    yield started
    for thread, stop in running:
        stop.set()
        thread.join(10)
        assert not thread.is_alive()


@pytest.fixture
def monitor():
    """Small monitors on a port, stopped after the test."""
    made = []

    def at(port):
        made.append(SmallMonitor(port))
        return made[-1]

    yield at
    for one in made:
        one.stop()


def waiting(tmp_path):
    box = Outbox(tmp_path / "outbox.db")
    try:
        return len(box)
    finally:
        box.close()


@pytest.mark.mosquitto
def test_it_reports_status_and_lets_go_of_what_is_committed(mosquitto, start, monitor, tmp_path):
    port = mosquitto().port
    ears = monitor(port)
    node = start(Counting(30), port)
    ears.await_(lambda: len(ears.samples()) == 30)
    node.halt.set()
    node.join(10)
    ears.await_(lambda: ears.statuses[-1:] == ["offline"])

    assert "online" in ears.statuses
    assert [seq for _, seq in sorted(ears.samples())] == list(range(30))
    record = ears.messages[0][0]
    assert (record.name, record.unit) == ("bench/dht22/temperature", "Cel")


@pytest.mark.mosquitto
def test_the_broker_says_offline_for_a_node_that_dies(mosquitto, monitor, tmp_path):
    port = mosquitto().port
    ears = monitor(port)
    child = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "import threading\n"
            "from firmware_side.clock import Clock\n"
            "from firmware_side.node import NodeOptions, run\n"
            "from firmware_side.sensors.simulated import SimulatedSource, SimulatedStudio\n"
            "c = Clock()\n"
            f"o = NodeOptions('home', 'bench', port={port},"
            f" outbox_path={str(tmp_path / 'o.db')!r})\n"
            "run(o, SimulatedSource(SimulatedStudio(), c), c, threading.Event())\n",
        ]
    )
    ears.await_(lambda: "online" in ears.statuses)
    child.kill()
    child.wait()

    ears.await_(lambda: ears.statuses[-1] == "offline")


@pytest.mark.mosquitto
def test_nothing_is_lost_when_the_broker_is_killed_with_its_queue(
    mosquitto, start, monitor, tmp_path
):
    broker = mosquitto()
    source = Counting(400)
    ears = monitor(broker.port)
    start(source, broker.port)
    ears.await_(lambda: len(ears.samples()) >= 50)
    ears.commits = False  # what arrives now is in nobody's store
    source.await_taken(source.taken + 20)
    broker.kill()
    source.await_taken(source.taken + 50)
    ears.messages.clear()
    ears.commits = True
    broker.start()

    ears.await_(lambda: any(seq == 399 for _, seq in ears.samples()))

    seqs = sorted(seq for _, seq in ears.samples())
    assert seqs == list(range(seqs[0], 400))
    assert seqs[0] <= 70
    assert all(value == (seq + 1) / 100 for (_, seq), (_, value) in ears.samples().items())


@pytest.mark.mosquitto
def test_an_outage_is_sent_packed_in_order_and_once(mosquitto, start, monitor, tmp_path):
    box = Outbox(tmp_path / "outbox.db")
    box.add([(20.0, 50.0, 10.0 * i, T0_S + 10.0 * i) for i in range(3000)])
    box.close()
    port = mosquitto().port
    ears = monitor(port)
    ears.await_(lambda: True)

    node = start(Counting(0), port, resend_after_s=20.0)
    ears.await_(lambda: len(ears.samples()) == 3000)
    node.halt.set()
    node.join(10)

    arrived = [r.at_s for records in ears.messages for r in records if "temp" in r.name]
    assert arrived == [T0_S + 10.0 * i for i in range(3000)]
    assert len(ears.messages) < 50


@pytest.mark.mosquitto
def test_what_nobody_confirms_is_sent_again(mosquitto, start, monitor):
    port = mosquitto().port
    ears = monitor(port)
    ears.commits = False
    start(Counting(5), port, resend_after_s=0.2)
    ears.await_(lambda: len(ears.samples()) == 5)
    before = len(ears.messages)

    ears.await_(lambda: len(ears.messages) > before)

    assert [r.seq for r in ears.messages[-1]] == [0, 0, 1, 1, 2, 2, 3, 3, 4, 4]


@pytest.mark.mosquitto
def test_it_sends_relative_times_until_the_clock_is_set(mosquitto, start, monitor):
    port = mosquitto().port
    ears = monitor(port)
    ears.commits = False
    clock_is_set = threading.Event()
    source = Counting(20)
    start(source, port, is_set=clock_is_set.is_set, resend_after_s=0.3, interval_s=0.05)
    source.await_taken(5)
    ears.await_(lambda: len(ears.samples()) >= 5)
    # The small monitor stands still at NOW_S: a relative time lies just before it.
    assert all(0.0 <= T0_S - at_s < 30.0 for at_s, _ in ears.samples().values())

    clock_is_set.set()
    ears.messages.clear()
    ears.commits = True
    ears.await_(lambda: len(ears.samples()) == 20)

    now_s = Clock().now_s()
    assert all(abs(at_s - now_s) < 60.0 for at_s, _ in ears.samples().values())


@pytest.mark.mosquitto
def test_a_replay_arrives_row_for_row_at_its_own_times(mosquitto, start, monitor, tmp_path):
    rows = [(T0_S + 600 * i, 20.0 + i / 1000, 40.0 + i / 100) for i in range(200)]
    file = tmp_path / "log.csv"
    file.write_text("ts,temp_c,rh_pct\n" + "".join(f"{t},{c:.3f},{h:.2f}\n" for t, c, h in rows))
    port = mosquitto().port
    ears = monitor(port)
    source = ReplaySource(file)

    node = start(source, port, clock=Clock(source.first_at_s, 60_000.0), end_when_done=True)
    node.join(30)

    assert not node.is_alive()
    assert sorted(ears.samples().values()) == [(t, round(c, 3)) for t, c, _ in rows]
    humid = {r.at_s: r.value for m in ears.messages for r in m if r.name.endswith("humidity")}
    assert humid == {t: round(h, 2) for t, _, h in rows}


@pytest.mark.mosquitto
def test_a_refused_login_is_one_clear_line(mosquitto, start, caplog):
    caplog.set_level(logging.INFO, "firmware_side")
    port = mosquitto(username="bench", password="right").port
    source = Counting(10)
    start(source, port, username="bench", password="wrong")
    source.await_taken(10)
    _until(lambda: "refused the login" in caplog.text)

    lines = [r.getMessage() for r in caplog.records if "refused" in r.getMessage()]
    assert len(lines) == 1
    assert "of user 'bench' (" in lines[0]
    assert "Check username and password" in lines[0]


@pytest.mark.mosquitto
def test_two_nodes_of_one_name_are_told_of_each_other(mosquitto, start, tmp_path, caplog):
    port = mosquitto().port
    for number in range(2):
        start(Counting(5), port, outbox_path=tmp_path / f"outbox{number}.db")
    # This broker gives no reason, in whatever version of MQTT.
    _until(lambda: "another node called 'pourside-home-bench' took over" in caplog.text)

    assert "give each node a name of its own" in caplog.text


def test_it_falls_back_to_3_1_1_where_mqtt_5_meets_silence(embedded, start, monitor, monkeypatch):
    monkeypatch.setattr(link, "ANSWER_WITHIN_S", 0.3)
    ears = monitor(embedded.port)
    start(Counting(10), embedded.port)

    ears.await_(lambda: len(ears.samples()) == 10)


def test_a_port_that_is_no_broker_is_named_and_sampling_goes_on(start, monkeypatch, caplog):
    monkeypatch.setattr(link, "ANSWER_WITHIN_S", 0.2)
    with socket.create_server(("127.0.0.1", 0)) as deaf:
        source = Counting(50)
        start(source, deaf.getsockname()[1])
        source.await_taken(50)
        _until(lambda: "Is it an MQTT broker" in caplog.text)


def test_no_broker_at_all_keeps_readings_on_disk(start, tmp_path, caplog):
    source = Counting(25)
    node = start(source, 1)  # nothing listens at port 1
    source.await_taken(25)
    _until(lambda: "no broker answers at 127.0.0.1:1;" in caplog.text)
    node.halt.set()
    node.join(10)

    assert waiting(tmp_path) == 25


def test_a_dead_network_thread_ends_the_node(start, monkeypatch):
    def fails(*_args, **_options):
        raise ValueError("a fault in the library")

    monkeypatch.setattr(link.mqtt.Client, "loop_forever", fails)
    node = start(Counting(5), 1)
    node.join(10)

    assert str(node.fault[0]) == "the network thread ended: ValueError: a fault in the library"


@pytest.mark.mosquitto
def test_a_full_disk_costs_no_reading(mosquitto, start, monitor, monkeypatch, caplog):
    full = threading.Event()
    full.set()
    real_add = Outbox.add

    def add(self, samples):
        if full.is_set():
            self._con.execute("PRAGMA query_only = ON")
        else:
            self._con.execute("PRAGMA query_only = OFF")
        real_add(self, samples)

    monkeypatch.setattr(Outbox, "add", add)
    port = mosquitto().port
    ears = monitor(port)
    source = Counting(40)
    start(source, port)
    source.await_taken(20)
    full.clear()
    ears.await_(lambda: len(ears.samples()) == 40)

    said = [r.getMessage() for r in caplog.records if "cannot be written" in r.getMessage()]
    assert len(said) == 1


@pytest.mark.mosquitto
def test_it_announces_itself_only_where_told_to(mosquitto, start, monitor, tmp_path):
    port = mosquitto().port
    ears = monitor(port)
    heard = {}
    got_both = threading.Event()

    def on_message(_client, _userdata, message):
        heard[message.topic] = json.loads(message.payload)
        if len(heard) == 2:
            got_both.set()

    ears._client.message_callback_add("hub/#", on_message)
    start(Counting(3), port)
    ears.await_(lambda: len(ears.samples()) == 3)
    ears._client.subscribe("hub/#", 1)
    shelf = tmp_path / "shelf.db"
    start(Counting(1), port, node="shelf", announce_to="hub", outbox_path=shelf)

    assert got_both.wait(10)
    assert sorted(heard) == [
        "hub/sensor/pourside_home_shelf_dht22/humidity/config",
        "hub/sensor/pourside_home_shelf_dht22/temperature/config",
    ]


class Holding(Counting):
    """Holds a pin until it is closed."""

    closed = 0

    def close(self):
        self.closed += 1


@pytest.mark.parametrize("wrong", [{}, {"node": "a/b"}])
def test_it_lets_go_of_the_sensor_at_its_end_whatever_ends_it(tmp_path, wrong):
    source, stop = Holding(1), threading.Event()
    stop.set()
    options = NodeOptions(
        **({"site": "s", "node": "n", "port": 1, "outbox_path": tmp_path / "o.db"} | wrong)
    )

    with contextlib.suppress(NodeError):
        run(options, source, Clock(), stop)

    assert source.closed == 1


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"site": "my home"}, "site is 'my home'"),
        ({"node": "a/b"}, "node is 'a/b'"),
        ({"sensor": "#"}, "sensor is '#'"),
        ({"interval_s": 0.0}, "interval_s is 0.0"),
        ({"interval_s": float("nan")}, "interval_s is nan"),
        ({"port": 0}, "port is 0"),
    ],
)
def test_options_that_cannot_work_are_named(wrong, words, tmp_path):
    options = NodeOptions(**({"site": "s", "node": "n", "outbox_path": tmp_path / "o.db"} | wrong))

    with pytest.raises(NodeError, match=words):
        run(options, Counting(1), Clock(), threading.Event())


def _until(true, seconds=20.0):
    moment = threading.Event()
    for _ in range(int(seconds / 0.02)):
        if true():
            return
        moment.wait(0.02)
    raise AssertionError("waited in vain")
