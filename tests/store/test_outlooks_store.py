"""The history of a layer's outlooks: dense while it moves, thin when it does not."""

from __future__ import annotations

import pytest

from monitor import shelf
from monitor.core.vocabulary import Outlook, SurfaceRisk
from monitor.store import outlooks, pieces

HOUR = 3600.0
T0 = 1_790_000_000.0


@pytest.fixture
def layer(con):
    piece = pieces.add_piece(con, "Tray", T0)
    return pieces.add_layer(con, piece, "Flood", shelf.library()[0], T0, T0)


def save(con, layer, hours):
    risk = SurfaceRisk(0.0, "low")
    outlooks.save(
        con,
        Outlook(layer, T0 + hours * HOUR, 0.5, 20.0, hours, 1.0, False, None, "firm", risk,
                None, None, ()),
    )  # fmt: skip


def kept_h(con, layer):
    return [(one.as_of_s - T0) / HOUR for one in outlooks.history(con, layer)]


def test_two_an_hour_at_first_and_few_a_day_after_two_weeks(con, layer):
    for tenth in range(0, 20 * 24 * 10):
        save(con, layer, tenth / 10.0)
    found = kept_h(con, layer)
    assert [one for one in found if one <= 5.0] == [0.5 * n for n in range(11)]
    last_day = [one for one in found if one > 19 * 24]
    assert 1 <= len(last_day) <= 3
    assert len(found) < 120
    assert outlooks.latest(con, layer).equivalent_age_h == pytest.approx(19 * 24 + 23.9)


def test_a_clock_that_was_set_back_keeps_a_history_of_its_new_time(con, layer):
    for hours in (0.0, 0.5, 50.0, 50.5):
        save(con, layer, hours)
    for tenth in range(10, 30):
        save(con, layer, tenth / 10.0)
    assert kept_h(con, layer)[:6] == pytest.approx([0.0, 0.5, 1.0, 1.5, 2.0, 2.5])
