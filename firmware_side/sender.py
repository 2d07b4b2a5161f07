"""From the outbox to the line: packed, in order of time, again where nobody confirmed."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import Protocol

from firmware_side.outbox import Outbox, Place, Waiting
from firmware_side.senml import (
    HUMIDITY_UNIT,
    TEMPERATURE_UNIT,
    SenmlRecord,
    encode,
)

log = logging.getLogger(__name__)

# About 16 kB: small brokers take no more than 20 kB in one message.
PER_MESSAGE = 80
# Sent ahead of the monitor's word; below the 1000 messages that a broker queues by default.
WINDOW = 8_000
MOST_PATIENT_S = 300.0


class Line(Protocol):
    """What the sender needs of the line to the broker."""

    up: bool

    def send(self, topic: str, payload: bytes, *, qos: int = 1) -> bool:
        """Hand over one message; False if it would not be taken."""


class Sender:
    """Sends samples ahead of the monitor's word, but not without end.

    Without progress for `resend_after_s` it begins again at the oldest sample, with one
    message and ever longer patience, so that a monitor that is away for weeks does not
    find a broker full of copies. Any word from the monitor opens the window again.
    """

    def __init__(
        self, outbox: Outbox, line: Line, topic: str, base_name: str, resend_after_s: float
    ) -> None:
        self._outbox = outbox
        self._line = line
        self._topic = topic
        self._base_name = base_name
        self._resend_after_s = resend_after_s
        self._patience_s = resend_after_s
        self._window = WINDOW
        self._place = Place()
        self._unconfirmed = 0
        self._progress_at_s = 0.0

    def start_over(self) -> None:
        """The line is new: what was under way may be lost."""
        self._place = Place()
        self._unconfirmed = 0

    def heard(self, payloads: Iterable[bytes], now_s: float) -> None:
        """The monitor's words 'committed through N', oldest first."""
        through: dict[str, int] = {}
        for payload in payloads:
            for boot, seq in committed_boots(payload).items():
                through[boot] = max(seq, through.get(boot, seq))
        if not through:
            return
        self._patience_s = self._resend_after_s
        self._window = WINDOW
        gone = self._outbox.committed(through)
        if gone:
            self._progress_at_s = now_s
            self._unconfirmed = max(0, self._unconfirmed - gone)

    def send(self, now_s: float) -> int:
        """Send what the window allows; how many samples that was."""
        if not self._line.up:
            return 0
        if self._unconfirmed and now_s - self._progress_at_s > self._patience_s:
            self.start_over()
            self._window = PER_MESSAGE
            self._patience_s = min(2 * self._patience_s, max(MOST_PATIENT_S, self._resend_after_s))
        sent = 0
        while self._unconfirmed < self._window:
            samples, place = self._outbox.after(self._place, PER_MESSAGE)
            if not samples or not self._handed_over(samples, now_s):
                break
            if not self._unconfirmed:
                self._progress_at_s = now_s
            self._place = place
            self._unconfirmed += len(samples)
            sent += len(samples)
        return sent

    def _handed_over(self, samples: Sequence[Waiting], uptime_s: float) -> bool:
        # A message has absolute times or relative ones, not both.
        for dated, group in groupby(samples, key=lambda sample: sample.at_s is not None):
            records = [record for s in group for record in self._records(s)]
            relative_to_s = None if dated else uptime_s
            payload = encode(records, self._base_name, relative_to_s=relative_to_s)
            # A relative time is worth nothing once a broker has kept it for an absent reader;
            # QoS 0 it does not keep, and the outbox sends anew with the time as it then is.
            if not self._line.send(self._topic, payload, qos=1 if dated else 0):
                return False
        return True

    def _records(self, sample: Waiting) -> Iterable[SenmlRecord]:
        at_s = sample.uptime_s if sample.at_s is None else sample.at_s
        for name, unit, value in (
            ("temperature", TEMPERATURE_UNIT, sample.temp_c),
            ("humidity", HUMIDITY_UNIT, sample.humidity_pct),
        ):
            if value is not None:
                yield SenmlRecord(
                    self._base_name + name, unit, value, at_s, sample.seq, sample.boot, sample.low
                )


def committed_boots(payload: bytes) -> dict[str, int]:
    """What a 'committed' message says; what is not a whole number is passed over."""
    try:
        boots = json.loads(payload)
    except (ValueError, RecursionError):
        boots = None
    if not isinstance(boots, dict):
        log.warning("passed over a 'committed' message that is not an object: %r", payload[:60])
        return {}
    return {
        boot: seq
        for boot, seq in boots.items()
        if isinstance(seq, int) and not isinstance(seq, bool) and abs(seq) < 2**53
    }
