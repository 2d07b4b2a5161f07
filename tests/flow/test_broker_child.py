"""The broker that `up` starts itself: watched, and never left behind."""

from __future__ import annotations

import os
import select
import signal
import socket
import subprocess
import sys
import threading

import pytest
from conftest import need

from monitor import brokers
from monitor.brokers import BrokerError


def test_a_broker_that_ended_is_started_anew(mosquitto, monkeypatch):
    monkeypatch.setattr(brokers, "LOOK_EVERY_S", 0.05)
    broker = mosquitto()
    again, stop = threading.Event(), threading.Event()
    honest = broker.start

    def start():
        honest()
        again.set()

    broker.start = start
    broker.kill()
    keeper = threading.Thread(target=brokers.keep, args=(broker, stop), daemon=True)
    keeper.start()
    assert again.wait(20)
    assert broker.alive()
    socket.create_connection((broker.host, broker.port), 2).close()
    # The kernel ends a child with the thread that started it, so only now may the keeper end.
    stop.set()
    keeper.join(10)


def test_a_port_that_somebody_else_listens_on_is_told(tmp_path, monkeypatch):
    need(brokers.mosquitto_binary(), "Mosquitto")
    monkeypatch.setattr(brokers, "FREE_WITHIN_S", 0.2)
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(BrokerError, match="another program does"):
            brokers.MosquittoBroker(tmp_path, port).start()


def test_a_killed_parent_leaves_no_broker_behind(tmp_path):
    need(brokers.mosquitto_binary(), "Mosquitto")
    code = (
        "import os, signal, sys; from pathlib import Path; from monitor import brokers\n"
        "broker = brokers.MosquittoBroker(Path(sys.argv[1])); broker.start()\n"
        "print(broker._process.pid, flush=True); os.kill(os.getpid(), signal.SIGKILL)"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path)], stdout=subprocess.PIPE, text=True
    ) as parent:
        child = int(parent.stdout.readline())
        watched = os.pidfd_open(child)
        try:
            assert parent.wait(20) == -signal.SIGKILL
            # A pidfd becomes readable when its process has ended (pidfd_open(2)).
            assert select.select([watched], [], [], 10)[0] == [watched]
        finally:
            os.close(watched)
