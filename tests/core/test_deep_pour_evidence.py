"""A deep pour is sooner by its own warmth; that must not pass for a faster resin."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.core.cure.belief import posterior
from monitor.core.cure.evidence import evidence_in_room, evidence_of
from monitor.core.cure.warming import clock, label_room, own_rise
from monitor.core.physics.aging import equivalent_age, kelvin
from monitor.core.vocabulary import Layer, Mark, ResinProfile, StageTime

HOUR = 3600.0
POURED = 1_700_000_000.0
AT_S = POURED + 300.0 * np.arange(12 * 48)
ROOM_C = np.full(len(AT_S), 23.0)
RESIN = ResinProfile(
    "clear", "clear coat", "pour", 23.0,
    {"tack_free": StageTime(8.0, "label"), "full_cure": StageTime(72.0, "label")},
)  # fmt: skip


def layer(depth_mm):
    return Layer(1, 1, "flood", RESIN, POURED, depth_mm=depth_mm)


def tack_free_h(of):
    """Wall-clock hours at which a resin exactly as its label is tack-free at this depth."""
    label = label_room(RESIN)
    at_h = (AT_S - POURED) / HOUR
    rise = own_rise(of, label.scale, 1.0, at_h, ROOM_C)
    resin_k = kelvin(ROOM_C + np.interp(at_h, rise.at_h, rise.rise_c, right=0.0))
    age_h = equivalent_age(AT_S, resin_k, float(kelvin(23.0)), RESIN.ea_j_mol)
    return float(np.interp(clock(label.at_h, label.age_h, 8.0), age_h, at_h))


def marks(came_h):
    return [
        Mark(1, 1, "tacky", POURED + (came_h - 0.2) * HOUR),
        Mark(2, 1, "tack_free", POURED + (came_h + 0.2) * HOUR),
    ]


def learned(evidence):
    return posterior(RESIN, evidence, AT_S[-1]).log_rate_mean


def test_a_deep_pour_of_a_resin_true_to_its_label_teaches_nothing():
    deep = layer(6.0)
    came_h = tack_free_h(deep)
    assert came_h < 7.0
    seen = marks(came_h)
    fair = learned(evidence_in_room(deep, seen, AT_S, ROOM_C))
    blind = learned(evidence_of(deep, seen, AT_S, ROOM_C))
    assert abs(fair) < 0.03
    assert blind > 0.15


def test_a_layer_as_deep_as_the_label_assumes_is_told_by_the_room_alone():
    thin = layer(3.0)
    seen = marks(8.0)
    [item] = evidence_in_room(thin, seen, AT_S, ROOM_C)
    assert item.label_age_h == 8.0
    assert (item.age_lower_h[6], item.age_upper_h[6]) == pytest.approx((7.8, 8.2))
