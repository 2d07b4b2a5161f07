"""The node's line to the broker: paho, held so that nothing about it is silent.

paho's own thread ends on an exception while the client still says that it is connected, so
the network loop runs in a thread of ours, callbacks only put events into a queue, and what
the thread died of is one of those events. MQTT 5 is tried first: it says why it refuses. A
broker that stays silent to it, or hangs up, is tried with 3.1.1, and so in turn.
"""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from firmware_side.clock import real_monotonic_s

log = logging.getLogger(__name__)

Protocol = Literal["auto", "5", "3.1.1"]
KEEPALIVE_S = 30
# A broker that speaks MQTT 5 answers CONNECT in milliseconds; a loaded one in a second.
ANSWER_WITHIN_S = 3.0
_LOGIN_REFUSED = (134, 135)  # bad user name or password, not authorized
_PROTOCOL_REFUSED = 132
_TAKEN_OVER = 142
_STOP_WITHIN_S = 3.0
# Two clients of one name throw each other out, a second after the other came back. MQTT 3.1.1
# and some brokers give no reason, so the third such end in a row is taken for it.
_SOON_S = 10.0
_ENDS_SOON = 3


@dataclass(frozen=True)
class Event:
    """Something that happened on the line, in the order in which it happened."""

    kind: Literal["connecting", "unreachable", "up", "refused", "down", "message", "denied", "died"]
    client: int = 0
    code: int = 0
    words: str = ""
    payload: bytes = b""


@dataclass(frozen=True)
class Broker:
    """Where the broker is and how to speak to it."""

    host: str = "127.0.0.1"
    port: int = 1883
    username: str | None = None
    password: str | None = None
    protocol: Protocol = "auto"

    @property
    def name(self) -> str:
        """How messages to a person name it."""
        return f"{self.host}:{self.port}"


class Link:
    """One client at a time; `events()` tells what happened since the last look.

    `wake` is called after each event, from the network thread.
    """

    def __init__(
        self,
        broker: Broker,
        client_id: str,
        will: tuple[str, bytes],
        listen_to: str,
        wake: Callable[[], None],
    ) -> None:
        self._broker = broker
        self._client_id = client_id
        self._will = will
        self._listen_to = listen_to
        self._wake = wake
        self._events: queue.SimpleQueue[Event] = queue.SimpleQueue()
        self._client: mqtt.Client | None = None
        self._thread: threading.Thread | None = None
        self._number = 0
        self._asked_at_s: float | None = None
        self._speaks_5 = broker.protocol != "3.1.1"
        self._said = ""
        self._up_at_s = 0.0
        self._ended_soon = 0  # times in a row
        self.up = False

    def start(self) -> None:
        """Begin to connect, and keep trying; returns at once."""
        self._number += 1
        client = self._made(self._number)
        self._asked_at_s = None
        client.connect_async(self._broker.host, self._broker.port, KEEPALIVE_S, **self._session())
        self._client = client
        self._thread = threading.Thread(
            target=self._run, args=(client, self._number), name="broker-line", daemon=True
        )
        self._thread.start()

    def stop(self) -> None:
        """Say goodbye and end the network thread."""
        if self._client is not None:
            self._client.disconnect()
        if self._thread is not None:
            self._thread.join(_STOP_WITHIN_S)
        self.up = False

    def events(self) -> list[Event]:
        """What happened since the last call; moves on to the other protocol where due."""
        out = []
        self._settle()
        while not self._events.empty():
            event = self._events.get()
            if event.client == self._number and self._noted(event):
                out.append(event)
        waited = self._asked_at_s is not None and (
            real_monotonic_s() - self._asked_at_s > ANSWER_WITHIN_S
        )
        if waited and not self.up:
            self._try_other("did not answer")
        return out

    def send(self, topic: str, payload: bytes, *, qos: int = 1, retain: bool = False) -> bool:
        """Hand one message to the line; False if it would not take it."""
        if self._client is None or not self.up:
            return False
        return self._client.publish(topic, payload, qos=qos, retain=retain).rc == 0

    def _noted(self, event: Event) -> bool:
        """Keep our own books and say what a person must know; whether to pass it on."""
        where = self._broker.name
        if event.kind == "connecting":
            self._asked_at_s = real_monotonic_s()
            return False
        if event.kind == "unreachable":
            self._say(f"no broker answers at {where}; readings wait on disk, trying on")
            self._ended_soon = 0  # so it was no other node
        elif event.kind == "up":
            self.up, self._asked_at_s, self._up_at_s = True, None, real_monotonic_s()
            if not self._ended_soon:
                self._said = ""
            if self._ended_soon < _ENDS_SOON:
                log.info("connected to broker %s (MQTT %s)", where, self._version)
        elif event.kind == "refused":
            self._asked_at_s = None
            if event.code == _PROTOCOL_REFUSED:
                self._try_other("refused")
            elif event.code in _LOGIN_REFUSED:
                user = self._broker.username
                self._say(
                    f"broker {where} refused the login of"
                    f" {f'user {user!r}' if user else 'a client without a user name'}"
                    f" ({event.words}). Check username and password in the node's config"
                    " against the broker's password file; readings wait on disk meanwhile."
                )
            else:
                self._say(f"broker {where} refused the connection: {event.words}")
        elif event.kind == "down":
            was_up, self.up = self.up, False
            asked, self._asked_at_s = self._asked_at_s, None
            if was_up:
                self._note_end(event)
            elif asked is not None:
                self._try_other("hung up")
        elif event.kind == "denied":
            self._say(
                f"broker {where} does not let {self._broker.username or 'this client'}"
                f" {event.words}. Check its access list."
            )
        return True

    def _note_end(self, event: Event) -> None:
        """A line that stood is down: say why, or what it looks like."""
        where = self._broker.name
        if real_monotonic_s() - self._up_at_s < _SOON_S:
            self._ended_soon += 1
        remedy = "Stop one of the two, or give each node a name of its own; readings wait on disk."
        if event.code == _TAKEN_OVER:
            self._ended_soon = max(self._ended_soon, _ENDS_SOON)
            self._say(
                f"another node called {self._client_id!r} took over the line to broker {where}."
                f" {remedy}"
            )
        elif self._ended_soon >= _ENDS_SOON:
            self._say(
                f"broker {where} hangs up again and again, soon after connecting: it looks as if"
                f" another node called {self._client_id!r} took over. {remedy}"
            )
        else:
            self._say(f"broker {where} is away ({event.words}); readings wait on disk")

    def _settle(self) -> None:
        """A line that stands for a while takes back what was said of its ends."""
        stands = self.up and real_monotonic_s() - self._up_at_s >= _SOON_S
        if stands and self._ended_soon:
            if self._ended_soon >= _ENDS_SOON:
                log.info("the line to broker %s stands again", self._broker.name)
            self._ended_soon, self._said = 0, ""

    def _say(self, words: str) -> None:
        # Once per state, not per attempt: attempts go on for weeks.
        if words != self._said:
            log.warning("%s", words)
            self._said = words

    def _try_other(self, what: str) -> None:
        if self._broker.protocol != "auto":
            self._say(f"broker {self._broker.name} {what} to MQTT {self._version}; trying on")
            self._asked_at_s = None
            return
        if not self._speaks_5:
            user = self._broker.username
            self._say(
                f"broker {self._broker.name} {what} to MQTT 5 and to 3.1.1; trying on. Is it an"
                f" MQTT broker, and does it know {f'user {user!r}' if user else 'anonymous'}?"
            )
        self.stop()
        self._speaks_5 = not self._speaks_5
        self.start()

    @property
    def _version(self) -> str:
        return "5" if self._speaks_5 else "3.1.1"

    def _session(self) -> dict[str, Any]:
        if not self._speaks_5:
            return {}
        # Nothing of the session need outlive the line: the outbox remembers.
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = 0
        return {"clean_start": True, "properties": properties}

    def _made(self, number: int) -> mqtt.Client:
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=self._client_id,
            protocol=mqtt.MQTTv5 if self._speaks_5 else mqtt.MQTTv311,
            clean_session=None if self._speaks_5 else True,
        )
        client.max_inflight_messages_set(20)
        client.max_queued_messages_set(1000)
        client.reconnect_delay_set(1, 60)
        if self._broker.username is not None:
            client.username_pw_set(self._broker.username, self._broker.password)
        client.will_set(self._will[0], self._will[1], qos=1, retain=True)

        def put(kind: Any, code: int = 0, words: str = "", payload: bytes = b"") -> None:
            self._events.put(Event(kind, number, code, words, payload))
            self._wake()

        def on_connect(c: mqtt.Client, _u: Any, _f: Any, reason: Any, _p: Any) -> None:
            if reason.is_failure:
                put("refused", reason.value, str(reason))
            else:
                c.subscribe(self._listen_to, qos=1)
                put("up")

        def on_subscribe(_c: Any, _u: Any, _mid: Any, reasons: Any, _p: Any) -> None:
            for reason in reasons:
                if reason.is_failure:
                    put("denied", reason.value, f"read {self._listen_to} ({reason})")

        def on_publish(_c: Any, _u: Any, _mid: Any, reason: Any, _p: Any) -> None:
            if reason.is_failure:
                put("denied", reason.value, f"publish ({reason})")

        client.on_connect = on_connect
        client.on_subscribe = on_subscribe
        client.on_publish = on_publish
        client.on_socket_open = lambda _c, _u, _s: put("connecting")
        client.on_connect_fail = lambda _c, _u: put("unreachable")
        client.on_disconnect = lambda _c, _u, _f, reason, _p: put("down", reason.value, str(reason))
        client.on_message = lambda _c, _u, message: put("message", payload=bytes(message.payload))
        return client

    def _run(self, client: mqtt.Client, number: int) -> None:
        try:
            client.loop_forever(retry_first_connection=True)
        except Exception as error:  # noqa: BLE001 - whatever it was, the loop must hear of it
            self._events.put(Event("died", number, words=f"{type(error).__name__}: {error}"))
            self._wake()
