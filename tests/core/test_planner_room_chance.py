"""The stated chance that the room stays as a resin wants it is kept by rooms of that law.

Given futures that are honest, so must the chance be that is told of the pour, though the
search picked that pour among many for its chance.
"""

import numpy as np
import pytest
from planned import EIGHT_S, HOUR_S, PATHS, RESINS, flood, speeds

from monitor.core.cure.planner import Wishes, plan
from monitor.core.vocabulary import RoomPaths

COATING = flood(moments=())  # at least 18 °C; closed within the twelve hours that always count
OPEN_H = 12.0
ROOMS = 250
AT_S = EIGHT_S + 600.0 * np.arange(433.0)


def futures(temp_c):
    return RoomPaths(AT_S, temp_c, np.full(temp_c.shape, 50.0))


def poured(temp_c, wishes):
    found = plan(COATING, RESINS, futures(temp_c), speeds(0.0), wishes, EIGHT_S, otherwise=False)
    return found.acts[0] if found.found else None


def rooms_of_a_law(rng, count):
    """Rooms coldest at seven in the morning: a level of their own, and weather that wanders."""
    knots_h = np.arange(0.0, 73.0, 3.0)
    wander = np.empty((count, knots_h.size))
    wander[:, 0] = rng.normal(0.0, 0.2, count)
    for n in range(1, knots_h.size):
        wander[:, n] = 0.9 * wander[:, n - 1] + rng.normal(0.0, 0.3, count)
    hour = (AT_S / HOUR_S) % 24.0
    daily = 1.2 * np.sin(2.0 * np.pi * (hour - 13.0) / 24.0)
    ahead_h = (AT_S - EIGHT_S) / HOUR_S
    return daily + np.stack([np.interp(ahead_h, knots_h, row) for row in wander])


def stays_warm(temp_c, at_s):
    since_s = AT_S - at_s
    open_ = (since_s >= -601.0) & (since_s <= OPEN_H * HOUR_S)
    return bool((temp_c[open_] >= 18.0).all())


def test_the_chance_told_is_the_share_of_futures_that_keep_the_limit_to_the_end():
    """Seven of forty futures have a cold hour while the layer is open, three only later."""
    temp_c = np.full((PATHS, AT_S.size), 21.0)
    ahead_h = (AT_S - EIGHT_S) / HOUR_S
    temp_c[:7, (ahead_h >= 10.0) & (ahead_h < 11.0)] = 17.0
    temp_c[7:10, ahead_h >= 13.0] = 17.0

    pour = poured(temp_c, Wishes(probability=0.8, done_when="hands_off"))

    assert pour.at_s == EIGHT_S
    assert pour.room_chance == pytest.approx(33 / 40)


@pytest.mark.parametrize("probability", [0.6, 0.9])
@pytest.mark.parametrize("off_h", [0.0, 0.5])
def test_rooms_keep_the_limit_as_often_as_the_plans_said(probability, off_h):
    """The room that comes is one more draw of the law that the futures were drawn from.

    Its day is as much as `off_h` early or late, which no future of a forecast is.
    """
    rng = np.random.default_rng(20251006)
    wishes = Wishes(probability=probability, done_when="hands_off")
    stated, kept, waited = [], [], []
    for _ in range(ROOMS):
        temp_c = rng.uniform(18.0, 21.5) + rooms_of_a_law(rng, PATHS + 1)
        truth_c = np.interp(AT_S - HOUR_S * rng.uniform(-off_h, off_h), AT_S, temp_c[0])
        pour = poured(temp_c[1:], wishes)
        if pour is not None:
            stated.append(pour.room_chance)
            kept.append(stays_warm(truth_c, pour.at_s))
            waited.append(pour.at_s > EIGHT_S)

    assert min(stated) < 0.97  # some pours are planned near the limit
    assert sum(waited) > 30  # and for some the room had to become warm first
    assert np.mean(kept) == pytest.approx(np.mean(stated), abs=0.05)
