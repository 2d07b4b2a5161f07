"""Real servers on loopback that receive notices, go down and come back."""

from __future__ import annotations

import contextlib
import json
import socket
import threading
from email import message_from_bytes, policy
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest
from aiosmtpd.controller import Controller

from monitor.channels.mail import MailChannel
from monitor.core.alarms.rules import RULES
from monitor.core.vocabulary import AlarmChange
from monitor.store import alarms, notices
from monitor.store.connection import writing

# The notice library loads a module that Python is about to drop; its fault, not ours.
LIBRARY_WARNS = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")

T0 = 1_700_000_000.0
SECRET = "hunter2-token"


def raised(key="room_too_cold", subject="room:home/n1/air", at_s=T0, words="14 °C since ⟦60⟧."):
    rule = RULES[key]
    return AlarmChange(
        key, subject, at_s, "normal", "unacknowledged", words, rule.priority, notice=True
    )


def local(at_s):
    return f"minute {at_s / 60:.0f}"


def queue(con, *changes, channel="sink", at_s=T0):
    with writing(con):
        for id_ in alarms.record(con, [], changes):
            notices.queue(con, id_, channel, at_s)


class HttpSink:
    """A real HTTP server on one loopback port, that can go down and come back."""

    def __init__(self):
        self.got = []
        self.answer = 204
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = free.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}/in?key={SECRET}"

    @contextlib.contextmanager
    def up(self):
        sink = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self):
                body = self.rfile.read(int(self.headers["Content-Length"]))
                if sink.answer < 300:
                    sink.got.append(json.loads(body))
                self.send_response(sink.answer)
                self.end_headers()

            def log_message(self, *_):
                pass

        server = HTTPServer(("127.0.0.1", self.port), Handler)
        thread = threading.Thread(target=server.serve_forever, args=(0.01,))
        thread.start()
        try:
            yield
        finally:
            server.shutdown()
            thread.join()
            server.server_close()


class MailSink:
    """A real SMTP server on one loopback port."""

    def __init__(self):
        self.got = []
        self.answer = "250 taken"
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = free.getsockname()[1]

    async def handle_DATA(self, _server, _session, envelope):
        if self.answer.startswith("250"):
            self.got.append(message_from_bytes(envelope.content, policy=policy.default))
        return self.answer

    @contextlib.contextmanager
    def up(self):
        controller = Controller(self, hostname="127.0.0.1", port=self.port)
        controller.start()
        try:
            yield
        finally:
            controller.stop()

    def channel(self, **fields):
        fields = {"security": "none", "name": "sink", **fields}
        return MailChannel(
            "127.0.0.1", self.port, "bench@example.org", ["kim@example.org"], **fields
        )


def run_an_hour(dispatcher, con, from_s, step_s=5.0):
    return sum(dispatcher.run_once(con, from_s + i * step_s) for i in range(int(3600 / step_s)))
