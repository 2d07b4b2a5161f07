"""If a role itself stops, something else says so. The node's last will is tested with the node."""

from __future__ import annotations

import queue
import signal
import subprocess
import sys
import threading

import paho.mqtt.client as mqtt
import pytest
import waitress.server

from monitor import brokers, running
from monitor.config import Config, DashboardConfig
from monitor.store import connection

WITHIN_S = 20


def listening(port, topic):
    """What is said on a topic, as it is said."""
    said = queue.SimpleQueue()
    subscribed = threading.Event()
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    client.on_connect = lambda client, *_: client.subscribe(topic, 1)
    client.on_subscribe = lambda *_: subscribed.set()
    client.on_message = lambda _client, _userdata, message: said.put(
        (message.payload.decode(), message.retain)
    )
    client.connect("127.0.0.1", port)
    client.loop_start()
    assert subscribed.wait(WITHIN_S)
    return client, said


@pytest.mark.mosquitto
@pytest.mark.parametrize(
    ("how", "code"), [(signal.SIGKILL, -signal.SIGKILL), (signal.SIGTERM, 0)], ids=["kill", "stop"]
)
def test_the_broker_says_offline_for_a_monitor_that_ends(mosquitto, tmp_path, how, code):
    port = mosquitto().port
    config = tmp_path / "pourside.toml"
    config.write_text(f'data_dir = "{tmp_path / "data"}"\n[broker]\nport = {port}\n', "utf-8")
    topic = "pourside/home/monitor/status"
    ears, said = listening(port, topic)
    child = subprocess.Popen(
        [sys.executable, "-m", "monitor.cli", "monitor", "--config", str(config)]
    )
    try:
        assert said.get(timeout=WITHIN_S)[0] == "online"
        child.send_signal(how)
        assert child.wait(WITHIN_S) == code
        assert said.get(timeout=WITHIN_S)[0] == "offline"
    finally:
        child.kill()
        child.wait()
        ears.loop_stop()
    # Retained: who asks later is told as well.
    late, heard = listening(port, topic)
    assert heard.get(timeout=WITHIN_S) == ("offline", True)
    late.loop_stop()


class Turns(threading.Event):
    """A stop that comes after so many turns, and does something before one of them."""

    def __init__(self, last, acts):
        super().__init__()
        self.turn, self._last, self._acts = 0, last, acts

    def wait(self, timeout=None):
        self.turn += 1
        self._acts.get(self.turn, lambda: None)()
        return self.turn > self._last


# The server's thread may die loudly of what is done to it: that is the case at hand.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_the_pages_watchdog_is_fed_only_while_the_page_answers(tmp_path, monkeypatch):
    connection.open_owner(tmp_path / "pourside.db").close()
    page = DashboardConfig(host="127.0.0.1", port=brokers.free_port())
    servers, said = [], []
    create = waitress.server.create_server

    def kept(*args, **kwargs):
        servers.append(create(*args, **kwargs))
        return servers[-1]

    monkeypatch.setattr(waitress.server, "create_server", kept)
    stop = Turns(6, {4: lambda: servers[0].close()})
    monkeypatch.setattr(running, "notify", lambda words: said.append((stop.turn, words)))

    running.run_dashboard(Config(data_dir=tmp_path, dashboard=page), stop, lambda _words: None)

    assert said == [(0, "READY=1"), (1, "WATCHDOG=1"), (2, "WATCHDOG=1"), (3, "WATCHDOG=1")]
