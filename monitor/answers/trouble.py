"""'What went wrong?' of one layer, gathered from the store for the page."""

from __future__ import annotations

import sqlite3

from monitor.answers import beliefs, rooms
from monitor.core.cure.trouble import Finding, findings
from monitor.core.vocabulary import Layer, Outlook
from monitor.store import marks


def of_layer(
    con: sqlite3.Connection, layer: Layer, outlook: Outlook | None, now_s: float
) -> tuple[Finding, ...]:
    """What speaks against a layer, worst first; moments are marked as in the core's words."""
    end_s = min(layer.ended_at_s or now_s, layer.poured_at_s + beliefs.LAYER_SPAN_S, now_s)
    key = layer.sensor or beliefs.first_sensor(con)
    if key is None:
        return ()
    room = rooms.past(con, key, layer.poured_at_s, end_s)
    return findings(layer, room, outlook, marks.marks(con, layer.id), end_s)
