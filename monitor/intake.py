"""MQTT -> validate -> commit -> acknowledge. Nothing is acknowledged before it is on disk."""

from __future__ import annotations

import json
import logging
import re
import sqlite3
from collections.abc import Mapping, Sequence

from monitor import validation
from monitor.inbox import Delivery, Dropped
from monitor.mqtt_link import Link
from monitor.store import intake_rows
from monitor.store.connection import writing

log = logging.getLogger(__name__)

# One commit a batch spares the card; more than this would hold the writer too long.
BATCH = 200
_NODE_NAME = re.compile(r"[A-Za-z0-9_.\-]{1,64}\Z")


def topics(site: str, foreign: Mapping[str, tuple[str, validation.Fields]]) -> list[str]:
    """What the monitor listens to."""
    return [f"pourside/{site}/+/senml", f"pourside/{site}/+/status", *foreign]


def drain(
    con: sqlite3.Connection,
    link: Link,
    site: str,
    foreign: Mapping[str, tuple[str, validation.Fields]],
    now_s: float,
) -> int:
    """Take what has come, commit it in one go, then acknowledge; returns new readings."""
    batch, dropped = link.inbox.take(BATCH), link.inbox.take_dropped()
    if not batch and not dropped:
        return 0
    told: dict[str, dict[str, int]] = {}
    try:
        with writing(con):
            fresh = store_batch(con, site, foreign, batch, now_s, told)
            _count(con, dropped, now_s)
    except sqlite3.Error as error:
        link.inbox.count_again(dropped)
        # Disk full, or the file taken: not acknowledged, so the broker keeps it for us.
        log.error("readings not stored (%s); asking the broker to send them again", error)
        link.reconnect()
        return 0
    for delivery in batch:
        link.acknowledge(delivery)
    for node, through in told.items():
        link.publish(f"pourside/{site}/{node}/committed", json.dumps(through).encode(), retain=True)
    if link.inbox.fetch_left():
        link.reconnect()
    return fresh


def _count(con: sqlite3.Connection, dropped: Mapping[str, Dropped], now_s: float) -> None:
    for reason, one in dropped.items():
        intake_rows.refuse(con, reason, one.count, one.example, now_s)


def tell_committed(con: sqlite3.Connection, link: Link, site: str) -> None:
    """Say again how far each node is stored, so that one that waits may go on at once."""
    for node in intake_rows.nodes(con, site):
        through = intake_rows.committed(con, site, node)
        if through:
            topic = f"pourside/{site}/{node}/committed"
            link.publish(topic, json.dumps(through).encode(), retain=True)


def store_batch(
    con: sqlite3.Connection,
    site: str,
    foreign: Mapping[str, tuple[str, validation.Fields]],
    batch: Sequence[Delivery],
    now_s: float,
    told: dict[str, dict[str, int]],
) -> int:
    """Write a batch; fills `told` with what to tell each node. Within a transaction."""
    fresh = 0
    numbered: set[str] = set()
    for delivery in batch:
        if delivery.retained and not delivery.topic.endswith("/status"):
            # A retained copy is an old value of unknown time; its first delivery was not.
            continue
        if delivery.topic in foreign:
            node, fields = foreign[delivery.topic]
            verdict = validation.foreign_message(site, node, fields, delivery.payload, now_s)
        else:
            node, kind = _address(delivery.topic)
            if node and not intake_rows.takes_node(con, site, node):
                intake_rows.refuse(con, intake_rows.NODES_FULL, 1, delivery.topic, now_s)
                continue
            if kind == "status" and node:
                words = delivery.payload[:32].decode("utf-8", "replace")
                intake_rows.set_status(con, site, node, words, now_s)
                continue
            if not node:
                intake_rows.refuse(con, "wrong topic", 1, delivery.topic, now_s)
                continue
            came_s = now_s if delivery.at_s is None else delivery.at_s
            verdict = validation.senml_message(site, node, delivery.payload, came_s)
        arrivals = intake_rows.takes(con, verdict.arrivals)
        fresh += intake_rows.commit(con, site, node, arrivals, verdict.handled, verdict.lows, now_s)
        if crowd := len(verdict.arrivals) - len(arrivals):
            intake_rows.refuse(con, intake_rows.SENSORS_FULL, crowd, delivery.topic, now_s)
        for reason, count in verdict.refused.items():
            intake_rows.refuse(con, reason, count, verdict.example, now_s)
        if verdict.lows:
            numbered.add(node)
    # Once each: a batch of a thousand numbers is one word to its node.
    told.update((node, intake_rows.committed(con, site, node)) for node in numbered)
    return fresh


def _address(topic: str) -> tuple[str, str]:
    parts = topic.split("/")
    if len(parts) != 4 or not _NODE_NAME.match(parts[2]):
        return "", ""
    return parts[2], parts[3]
