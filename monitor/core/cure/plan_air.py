"""The room's verdicts on the days that are not alike, laid out over all that look like them.

Judging air is most of what a plan costs; past the forecast every day is the one before.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from monitor.core.cure.plan_clock import ACTS_WITHIN_SLOTS, Bench, LayerClock
from monitor.core.cure.plan_grid import DAY_SLOTS, folded
from monitor.core.cure.plan_room import never_binds

ALL_SLOTS = ACTS_WITHIN_SLOTS + DAY_SLOTS  # a pour's room counts for a day at most


def lay_out(bench: Bench, layers: Iterable[LayerClock], slots: int) -> None:
    """Judge the room for each layer's resin, for so many slots ahead (and two days past the
    last that is unlike the one before, at least); once a resin.
    """
    near = bench.until_alike()
    alike = near.at_s.size - 1 - bench.first
    ahead = min(max(slots, alike + 2 * DAY_SLOTS), bench.at_s.size - 1 - bench.first)
    for layer in layers:
        key = layer.clock.profile.key
        if key in bench.rooms and bench.rooms[key][0].shape[1] >= ahead:
            continue
        if key not in near.rooms:
            never_binds(near, layer)
        dewy, spoilt = near.rooms[key]
        here, _ = folded(np.arange(ahead), dewy.shape[1])
        before, days = folded(np.arange(ahead + 1), spoilt.shape[1])
        a_day = spoilt[:, -1:] - spoilt[:, -1 - DAY_SLOTS : -DAY_SLOTS]
        counted = spoilt.take(before, axis=1)
        counted += days * a_day
        bench.rooms[key] = dewy.take(here, axis=1), counted
