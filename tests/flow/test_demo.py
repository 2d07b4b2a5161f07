"""The invented studio is told in the order of time."""

from __future__ import annotations

import threading

from monitor import demo, shelf
from monitor.store import alarms, pieces
from monitor.watch import Watch

START_S = 1_790_026_800.0  # nine in the evening, UTC


def test_no_alarm_of_the_studio_is_older_than_the_layer_it_is_about(con):
    known = {one.key: one for one in shelf.library()}
    quiet = threading.Event()
    assert demo.fill(con, Watch(), known, START_S, 0.0, lambda _said: None, quiet)
    poured_s = {
        f"layer:{layer.id}": layer.poured_at_s
        for piece in pieces.pieces(con)
        for layer in piece.layers
    }
    raised = [
        (row.state.key, row.state.raised_at_s - poured_s[row.state.subject])
        for row in alarms.rows(con)
        if row.state.subject in poured_s and row.state.raised_at_s is not None
    ]
    assert raised
    assert [one for one in raised if one[1] < 0.0] == []
