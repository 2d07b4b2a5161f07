"""The monitor's line to the broker. Callbacks only put things in a queue.

An exception in a paho callback kills its thread while the client still says it is
connected, so the thread is ours, is watched, and its end is the end of the process.
A message is acknowledged after its commit, and only on the connection it came by.
"""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Sequence
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from firmware_side import senml
from monitor.inbox import Delivery, Inbox

SESSION_S = 7 * 86400
RECEIVE_MAXIMUM = 100
# Larger ones the broker keeps to itself; what is less, and yet too large, we count.
MOST_PACKET_BYTES = 4 * senml.MAX_BYTES
KEEPALIVE_S = 30
PROBE_S = 2.0
DELIVER_S = 5.0

# MQTT 5.0 section 3.1: CONNECT, protocol "MQTT" level 5, clean start, keep-alive 60, no
# properties, empty client identifier.
_HELLO_5 = bytes.fromhex("100d00044d51545405 02003c000000".replace(" ", ""))


def speaks_5(host: str, port: int) -> bool:
    """Whether the broker answers an MQTT 5 greeting in its own tongue. Raises OSError if away."""
    with socket.create_connection((host, port), PROBE_S) as line:
        line.settimeout(PROBE_S)
        line.sendall(_HELLO_5)
        try:
            answer = line.recv(64)
        except TimeoutError:
            return False
    # A 3.1.1 broker answers nothing, or two bytes after the header and the refusal 1 or 0x84.
    return len(answer) >= 5 and answer[0] == 0x20 and answer[1] > 2 and answer[3] != 0x84


class Link:
    """A connection that is kept for as long as the process lives."""

    def __init__(
        self,
        host: str,
        port: int,
        client_id: str,
        topics: Sequence[str],
        username: str = "",
        password: str = "",
        will: tuple[str, bytes] | None = None,
        wake: threading.Event | None = None,
        now_s: Callable[[], float] | None = None,
    ) -> None:
        self.inbox = Inbox()
        self.fault: BaseException | None = None
        self.refusal = ""
        self._host, self._port = host, port
        self._client_id, self._topics = client_id, list(topics)
        self._login, self._will = (username, password), will
        self._wake = wake or threading.Event()
        self._now_s: Callable[[], float | None] = now_s or (lambda: None)
        self._stop = threading.Event()
        self._epoch = 0
        self._connected = threading.Event()
        self._client: mqtt.Client | None = None
        self._thread = threading.Thread(target=self._run, name="mqtt", daemon=True)

    def start(self) -> None:
        """Begin connecting; returns at once."""
        self._thread.start()

    def stop(self) -> None:
        """Say goodbye and end the thread."""
        self._stop.set()
        client = self._client
        if client is not None:
            if self._will is not None and self.connected:
                client.publish(self._will[0], self._will[1], qos=1, retain=True).wait_for_publish(2)
            client.disconnect()
        if self._thread.ident is not None:
            self._thread.join(5)

    @property
    def connected(self) -> bool:
        """Whether the broker has greeted us and not gone since."""
        return self._connected.is_set()

    @property
    def epoch(self) -> int:
        """How many times the broker has greeted us."""
        return self._epoch

    def await_connected(self, seconds: float) -> bool:
        """Wait at most so long for the broker's greeting."""
        return self._connected.wait(seconds)

    def alive(self) -> bool:
        """Whether the network thread still runs; False calls for an end of the process."""
        return self._thread.is_alive()

    def publish(self, topic: str, payload: bytes, retain: bool = False) -> bool:
        """Hand a message to the broker's line; False while it is away."""
        client = self._client
        if client is None or not self.connected:
            return False
        return client.publish(topic, payload, qos=1, retain=retain).rc == mqtt.MQTT_ERR_SUCCESS

    def deliver(self, topic: str, payload: bytes) -> bool:
        """Publish and wait for the broker's receipt; False where it did not come."""
        client = self._client
        if client is None or not self.connected:
            return False
        try:
            receipt = client.publish(topic, payload, qos=1)
            receipt.wait_for_publish(DELIVER_S)
        except (RuntimeError, ValueError):
            return False
        return receipt.is_published()

    def acknowledge(self, delivery: Delivery) -> None:
        """Tell the broker that this message is in the store."""
        if self._client is not None and delivery.epoch == self._epoch and delivery.qos:
            self._client.ack(delivery.mid, delivery.qos)

    def reconnect(self) -> None:
        """Drop the line, so that what was not acknowledged is sent again."""
        if self._client is not None:
            self._client.disconnect()

    def _run(self) -> None:
        try:
            while not self._stop.is_set():
                self._session()
                self._stop.wait(1.0)
        except Exception as error:  # noqa: BLE001 - the top of the thread: kept, then told
            self.fault = error
        finally:
            self._connected.clear()
            self._wake.set()

    def _session(self) -> None:
        """One client's life: from the first try to a goodbye or a failure to reach it."""
        try:
            five = speaks_5(self._host, self._port)
        except OSError:
            return
        client = self._build(five)
        self._client = client
        try:
            if five:
                properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
                properties.SessionExpiryInterval = SESSION_S
                properties.ReceiveMaximum = RECEIVE_MAXIMUM
                properties.MaximumPacketSize = MOST_PACKET_BYTES
                client.connect(
                    self._host, self._port, KEEPALIVE_S, clean_start=False, properties=properties
                )
            else:
                client.connect(self._host, self._port, KEEPALIVE_S)
        except OSError:
            return
        client.loop_forever(retry_first_connection=False)

    def _build(self, five: bool) -> mqtt.Client:
        if five:
            client = mqtt.Client(
                CallbackAPIVersion.VERSION2,
                client_id=self._client_id,
                protocol=mqtt.MQTTv5,
                manual_ack=True,
            )
        else:
            client = mqtt.Client(
                CallbackAPIVersion.VERSION2,
                client_id=self._client_id,
                clean_session=False,
                protocol=mqtt.MQTTv311,
                manual_ack=True,
            )
        client.max_queued_messages_set(1000)
        client.reconnect_delay_set(1, 30)
        username, password = self._login
        if username:
            client.username_pw_set(username, password)
        if self._will is not None:
            client.will_set(self._will[0], self._will[1], qos=1, retain=True)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        return client

    def _on_connect(
        self,
        client: mqtt.Client,
        _userdata: Any,
        _flags: mqtt.ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if reason.is_failure:
            self.refusal = str(reason)
            return
        self.refusal = ""
        self._epoch += 1
        client.subscribe([(topic, 1) for topic in self._topics])
        if self._will is not None:
            client.publish(self._will[0], b"online", qos=1, retain=True)
        self._connected.set()
        self._wake.set()

    def _on_disconnect(
        self,
        client: mqtt.Client,
        _userdata: Any,
        _flags: mqtt.DisconnectFlags,
        _reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._connected.clear()
        self._wake.set()

    def _on_message(self, _client: mqtt.Client, _userdata: Any, message: mqtt.MQTTMessage) -> None:
        delivery = Delivery(
            message.topic,
            bytes(message.payload),
            message.retain,
            message.mid,
            message.qos,
            self._epoch,
            self._now_s(),
        )
        if not self.inbox.put(delivery):
            self.acknowledge(delivery)
        self._wake.set()
