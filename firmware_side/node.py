"""The node's loop: sample, judge, queue, publish.

Sampling never waits for the network: a reading is on disk before it is sent, and is kept
until the monitor says that it is in the store (`pourside/<site>/<node>/committed`).
"""

from __future__ import annotations

import logging
import math
import re
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from firmware_side.clock import (
    EARLIEST_S,
    Clock,
    NodeClock,
    machine_start,
    real_monotonic_s,
)
from firmware_side.discovery import announcements
from firmware_side.errors import NodeError, OutboxError
from firmware_side.link import Broker, Link, Protocol
from firmware_side.notify import notify
from firmware_side.outbox import MAX_SAMPLES, Outbox
from firmware_side.sender import Sender
from firmware_side.sensors.base import Closable, Sample, SensorFault, Source, Timetable

log = logging.getLogger(__name__)

_LOOK_EVERY_S = 10.0  # so often at least: watchdog, resending
_LOOK_UNCONNECTED_S = 1.0
_SILENT_AFTER_S = 300.0  # a DHT22 that fails now and then is no news
_AT_ONCE = 500  # readings of a fast replay taken in one go
_IN_MEMORY = 5_000  # a full disk costs no reading for so many samples
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.\-]{0,39}\Z")


@dataclass(frozen=True)
class NodeOptions:
    """What the node must know. Names go into topics: letters, digits, `-`, `_`, `.`."""

    site: str
    node: str
    sensor: str = "dht22"
    interval_s: float = 10.0
    host: str = "127.0.0.1"
    port: int = 1883
    username: str | None = None
    password: str | None = None
    protocol: Protocol = "auto"
    outbox_path: str | Path = "outbox.db"
    outbox_max_samples: int = MAX_SAMPLES
    resend_after_s: float = 30.0
    # End when a replay has run out and the outbox is empty; else stay on the line.
    end_when_done: bool = False
    # Topic prefix under which a home-automation hub looks for devices; None: say nothing.
    announce_to: str | None = None

    @property
    def prefix(self) -> str:
        """Where the node's topics begin."""
        return f"pourside/{self.site}/{self.node}"


def run(
    options: NodeOptions,
    source: Source,
    clock: NodeClock,
    stop: threading.Event,
    *,
    is_set: Callable[[], bool] | None = None,
) -> None:
    """Sample and publish until `stop`; every sample taken is on disk until it is committed.

    `is_set` tells whether the clock can be believed; by default the clock is asked. A source
    that holds a pin is closed at the end. Raises `NodeError` where a person must act or the
    process must start anew.
    """
    try:
        _check(options)
        outbox = Outbox(options.outbox_path, options.outbox_max_samples, machine_start())
        try:
            _Node(options, source, clock, stop, outbox, is_set or _judge_of(clock)).run()
        finally:
            outbox.close()
    finally:
        if isinstance(source, Closable):
            source.close()


class _Node:
    def __init__(
        self,
        options: NodeOptions,
        source: Source,
        clock: NodeClock,
        stop: threading.Event,
        outbox: Outbox,
        is_set: Callable[[], bool],
    ) -> None:
        self._options = options
        self._source = source
        self._timetable = source if isinstance(source, Timetable) else None
        self._clock = clock
        self._stop = stop
        self._outbox = outbox
        self._is_set = is_set
        self._dated = False
        self._wake = threading.Event()
        self._unsaved: deque[tuple[float, float | None, float, float | None]]
        self._unsaved = deque(maxlen=_IN_MEMORY)
        self._disk_failed = False
        self._last_good_s: float | None = None
        self._fault_said = ""
        self._due_s = clock.monotonic_s()
        self._link = Link(
            Broker(
                options.host, options.port, options.username, options.password, options.protocol
            ),
            client_id=f"pourside-{options.site}-{options.node}",
            will=(f"{options.prefix}/status", b"offline"),
            listen_to=f"{options.prefix}/committed",
            wake=self._wake.set,
        )
        self._sender = Sender(
            outbox,
            self._link,
            topic=f"{options.prefix}/senml",
            base_name=f"{options.node}/{options.sensor}/",
            resend_after_s=options.resend_after_s,
        )

    def run(self) -> None:
        threading.Thread(target=self._wake_on_stop, name="stop", daemon=True).start()
        self._last_good_s = real_monotonic_s()
        self._link.start()
        notify("READY=1")
        try:
            while True:
                # Cleared before the look at `stop`, lest a stop in between be slept over.
                self._wake.clear()
                if self._stop.is_set() or self._finished():
                    return
                self._look_at_clock()
                self._sample()
                self._speak()
                notify("WATCHDOG=1")
                self._clock.wait(self._wake, self._rest_s())
        finally:
            notify("STOPPING=1")
            if self._unsaved:
                log.error("%d readings could not be written and are lost", len(self._unsaved))
            # QoS 0: it must not queue behind readings that the broker has yet to take.
            self._link.send(f"{self._options.prefix}/status", b"offline", qos=0, retain=True)
            self._link.stop()

    def _wake_on_stop(self) -> None:
        self._stop.wait()
        self._wake.set()

    def _look_at_clock(self) -> None:
        if self._dated or not self._is_set():
            return
        offset_s = self._clock.now_s() - real_monotonic_s()
        try:
            self._outbox.date_all(offset_s)
            guessed = self._outbox.date_earlier_starts(offset_s)
        except OutboxError as error:
            self._note_disk(error)
            return
        self._dated = True
        if guessed:
            log.warning(
                "%d readings of earlier starts never got a date; dated as late as they can be",
                guessed,
            )

    def _sample(self) -> None:
        """Take what is due and put it on disk."""
        taken = self._unsaved
        if self._timetable is not None:
            while len(taken) < _AT_ONCE and self._row_is_due():
                self._take(taken)
        elif self._clock.monotonic_s() >= self._due_s:
            self._take(taken)
            # After a pause, a sleep or a slow sensor: no crowd of samples to catch up, and no
            # two within one millisecond, which the store would take for one.
            interval_s = self._options.interval_s
            self._due_s = max(
                self._due_s + interval_s, self._clock.monotonic_s() + 0.5 * interval_s
            )
        if not taken:
            return
        try:
            self._outbox.add(list(taken))
        except OutboxError as error:
            self._note_disk(error)
            return
        if self._disk_failed:
            log.info("the outbox can be written again; %d readings kept", len(taken))
        self._disk_failed = False
        taken.clear()

    def _note_disk(self, error: OutboxError) -> None:
        if not self._disk_failed:
            log.error("%s; new readings are kept in memory meanwhile", error)
        self._disk_failed = True

    def _row_is_due(self) -> bool:
        at_s = self._timetable.next_at_s() if self._timetable is not None else None
        return at_s is not None and at_s <= self._clock.now_s()

    def _take(self, into: deque[tuple[float, float | None, float, float | None]]) -> None:
        try:
            sample = _finite(self._source.read())
        except SensorFault as fault:
            self._note_fault(fault)
            return
        if self._fault_said:
            log.info("sensor %s answers again", self._options.sensor)
        self._fault_said = ""
        self._last_good_s = real_monotonic_s()
        at_s = sample.at_s
        if at_s is None and self._dated:
            at_s = self._clock.now_s()
        into.append((sample.temp_c, sample.humidity_pct, real_monotonic_s(), at_s))

    def _note_fault(self, fault: SensorFault) -> None:
        since_s = real_monotonic_s() - (self._last_good_s or 0.0)
        if self._fault_said or not (fault.permanent or since_s > _SILENT_AFTER_S):
            return
        self._fault_said = str(fault)
        log.warning("no reading from sensor %s: %s", self._options.sensor, fault)

    def _speak(self) -> None:
        """Hear what the line has to tell, then send what may be sent."""
        committed = []
        for event in self._link.events():
            if event.kind == "died":
                raise NodeError(f"the network thread ended: {event.words}")
            if event.kind == "up":
                self._link.send(f"{self._options.prefix}/status", b"online", retain=True)
                self._announce()
                self._sender.start_over()
            elif event.kind == "message":
                committed.append(event.payload)
        now_s = real_monotonic_s()
        if committed:
            try:
                self._sender.heard(committed, now_s)
            except OutboxError as error:  # they stay, are sent again, and let go of later
                self._note_disk(error)
        self._sender.send(now_s)

    def _announce(self) -> None:
        if self._options.announce_to is None:
            return
        for topic, payload in announcements(
            self._options.announce_to, self._options.site, self._options.node, self._options.sensor
        ):
            self._link.send(topic, payload, retain=True)

    def _rest_s(self) -> float:
        if self._finished():
            return 0.0
        # The line and the watchdog live in real time, whatever the clock's speed.
        speed: float = getattr(self._clock, "speed", 1.0)
        most_s = speed * (_LOOK_EVERY_S if self._link.up else _LOOK_UNCONNECTED_S)
        if self._timetable is None:
            return min(most_s, max(0.0, self._due_s - self._clock.monotonic_s()))
        at_s = self._timetable.next_at_s()
        return most_s if at_s is None else min(most_s, max(0.0, at_s - self._clock.now_s()))

    def _finished(self) -> bool:
        return (
            self._options.end_when_done
            and self._timetable is not None
            and self._timetable.next_at_s() is None
            and len(self._outbox) == 0
            and not self._unsaved
        )


def _finite(sample: Sample) -> Sample:
    for name, value in (("temperature", sample.temp_c), ("humidity", sample.humidity_pct)):
        if value is not None and not math.isfinite(value):
            raise SensorFault(f"the {name} is {value}, not a number")
    return sample


def _judge_of(clock: NodeClock) -> Callable[[], bool]:
    if isinstance(clock, Clock):
        return clock.is_set
    return lambda: clock.now_s() >= EARLIEST_S


def _check(options: NodeOptions) -> None:
    for what in ("site", "node", "sensor"):
        name = getattr(options, what)
        if not _NAME.match(name):
            raise NodeError(
                f"{what} is {name!r}; expected 1 to 40 letters, digits, '-', '_' or '.',"
                " a letter or digit first"
            )
    if not 0.0 < options.interval_s <= 86_400.0:
        raise NodeError(f"interval_s is {options.interval_s}, expected more than 0, at most 86400")
    if not 1 <= options.port <= 65_535:
        raise NodeError(f"port is {options.port}, expected 1 to 65535")
