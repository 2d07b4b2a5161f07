"""What has come from the broker and waits for its commit: bounded, whatever is sent.

Two lanes, each bounded in number and bytes. A message at QoS 1 is in the broker's keeping until
it is acknowledged, so what finds its lane full is left there, unacknowledged, and fetched by a
new connection once the lane is empty. One at QoS 0 is in nobody's keeping; what finds its lane
full is dropped and counted (a node sends again what is not said to be committed). The lane of
QoS 1 is emptied first, and no topic may have more than a share of the other, so that a node does
not wait behind the junk of another.
"""

from __future__ import annotations

import threading
from collections import Counter, deque
from dataclasses import dataclass

from firmware_side import senml

MOST_MESSAGES = 5_000
MOST_BYTES = 16_000_000
# Of what is dropped when it does not fit, one topic gets no more than this part.
SHARES = 4

TOO_FAST = "came too fast"
TOO_LARGE = "message too large"


@dataclass(frozen=True)
class Delivery:
    """One message, and what is needed to acknowledge it."""

    topic: str
    payload: bytes
    retained: bool
    mid: int
    qos: int
    epoch: int
    # When it came: a time told relative to now is relative to this. None: not known.
    at_s: float | None = None


@dataclass
class Dropped:
    """How many messages were not let in for one reason, and one of them."""

    count: int
    example: str


class _Lane:
    def __init__(self, shares: int) -> None:
        self.waiting: deque[Delivery] = deque()
        self._shares = shares
        self._bytes = 0
        # The same by topic, where a topic has a share only.
        self._count_of: Counter[str] = Counter()
        self._bytes_of: Counter[str] = Counter()

    def add(self, delivery: Delivery) -> bool:
        topic, size = delivery.topic, _size(delivery)
        if len(self.waiting) >= MOST_MESSAGES or self._bytes + size > MOST_BYTES:
            return False
        most, most_bytes = MOST_MESSAGES // self._shares, MOST_BYTES // self._shares
        if self._count_of[topic] >= most or self._bytes_of[topic] + size > most_bytes:
            return False
        self.waiting.append(delivery)
        self._bytes += size
        self._count_of[topic] += 1
        self._bytes_of[topic] += size
        return True

    def take(self) -> Delivery:
        delivery = self.waiting.popleft()
        topic, size = delivery.topic, _size(delivery)
        self._bytes -= size
        self._count_of[topic] -= 1
        self._bytes_of[topic] -= size
        if not self._count_of[topic]:
            # Names are without end; only those of what waits are kept.
            del self._count_of[topic], self._bytes_of[topic]
        return delivery


class Inbox:
    """Filled by the network thread, emptied by the loop."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept, self._loose = _Lane(1), _Lane(SHARES)
        self._dropped: dict[str, Dropped] = {}
        self._left = False

    def put(self, delivery: Delivery) -> bool:
        """Let a message in, or count it as dropped; False where it may be acknowledged at once."""
        with self._lock:
            if len(delivery.payload) > senml.MAX_BYTES:
                # Refused whole wherever it is read: dealt with here, at no cost in memory.
                self._drop(TOO_LARGE, 1, f"{len(delivery.payload)} bytes on {delivery.topic[:120]}")
                return False
            if delivery.qos:
                self._left = not self._kept.add(delivery) or self._left
            elif not self._loose.add(delivery):
                self._drop(TOO_FAST, 1, delivery.topic[:200])
        return True

    def take(self, most: int) -> list[Delivery]:
        """Up to so many messages, those in the broker's keeping first."""
        batch: list[Delivery] = []
        with self._lock:
            for lane in (self._kept, self._loose):
                while lane.waiting and len(batch) < most:
                    batch.append(lane.take())
        return batch

    def empty(self) -> bool:
        """Whether nothing waits, nor has to be counted."""
        with self._lock:
            return not (self._kept.waiting or self._loose.waiting or self._dropped)

    def take_dropped(self) -> dict[str, Dropped]:
        """What was not let in since this was last asked, by reason."""
        with self._lock:
            taken, self._dropped = self._dropped, {}
        return taken

    def count_again(self, dropped: dict[str, Dropped]) -> None:
        """Put back what could not be written down."""
        with self._lock:
            for reason, one in dropped.items():
                self._drop(reason, one.count, one.example)

    def fetch_left(self) -> bool:
        """Whether to ask the broker, now that there is room, for what was left with it; once."""
        with self._lock:
            asks = self._left and not self._kept.waiting
            self._left = self._left and not asks
        return asks

    def _drop(self, reason: str, count: int, example: str) -> None:
        held = self._dropped.setdefault(reason, Dropped(0, example))
        held.count += count


def _size(delivery: Delivery) -> int:
    return len(delivery.topic) + len(delivery.payload)
