"""The least that a monitor does to be one: remember what came, say what it holds."""

import json
import threading

import paho.mqtt.client as mqtt

from firmware_side.senml import read

NOW_S = 1_764_000_000.0


class SmallMonitor:
    """Reads a node's messages into memory and publishes 'committed through N'."""

    def __init__(self, port, prefix="pourside/home/bench"):
        self.messages = []  # the records of each, in order of arrival
        self.statuses = []
        self.commits = True
        self.news = threading.Condition()
        self._prefix = prefix
        self._low = {}
        self._have = {}
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="small-monitor")
        self._client.reconnect_delay_set(1, 1)
        self._client.on_connect = lambda c, *_: c.subscribe(f"{prefix}/+", 1)
        self._client.on_message = self._heard
        self._client.connect_async("127.0.0.1", port)
        self._client.loop_start()

    def stop(self):
        self._client.disconnect()
        self._client.loop_stop()

    def samples(self):
        """(boot, seq) -> (at_s, temp_c) of all that has arrived."""
        return {
            (r.boot, r.seq): (r.at_s, r.value)
            for records in self.messages
            for r in records
            if r.name.endswith("/temperature")
        }

    def await_(self, what, seconds=20.0):
        with self.news:
            assert self.news.wait_for(what, seconds), "the monitor waited in vain"

    def _heard(self, client, _userdata, message):
        with self.news:
            if message.topic.endswith("/status"):
                self.statuses.append(message.payload.decode())
            if message.topic.endswith("/senml"):
                records, faults = read(message.payload, NOW_S)
                assert faults == []
                self.messages.append(records)
                if self.commits:
                    self._commit(client, records)
            self.news.notify_all()

    def _commit(self, client, records):
        for r in records:
            self._have.setdefault(r.boot, set()).add(r.seq)
            self._low[r.boot] = max(r.low, self._low.get(r.boot, 0))
        through = {}
        for boot, have in self._have.items():
            n = self._low[boot]
            while n in have:
                n += 1
            self._low[boot] = n
            through[boot] = n - 1
        client.publish(f"{self._prefix}/committed", json.dumps(through), 1, retain=True)
