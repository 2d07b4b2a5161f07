"""When hands are free: night shifts, and the nights on which the clocks change."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from monitor.core.cure.plan_clock import SLOT_S
from monitor.core.cure.plan_problem import Problem
from monitor.core.cure.wishes import Wishes, faults, hands_free_until


def test_a_night_shift_and_almost_the_whole_day_are_hours_like_others():
    for hours in ((20.0, 32.0), (12.0, 35.98), (0.0, 24.0)):
        assert faults(Wishes(waking_h=(hours,) * 7), 0.0) == ()
    assert faults(Wishes(waking_h=((20.0, 44.5),) * 7), 0.0)


def test_a_night_shift_is_free_past_midnight():
    monday_s = 4 * 86_400.0  # 5 January 1970
    wishes = Wishes(waking_h=((20.0, 32.0),) * 7)
    at_s = monday_s + 3600.0 * np.array([3.0, 9.0, 21.0])
    until_s = hands_free_until(at_s, wishes, 0.0)
    assert until_s.tolist() == [monday_s + 8 * 3600.0, -np.inf, monday_s + 32 * 3600.0]


@pytest.mark.parametrize("zone", ["Europe/Berlin", "Europe/Lisbon", "Australia/Sydney"])
@pytest.mark.parametrize("day", [(2027, 3, 27), (2026, 10, 24), (2026, 10, 3), (2027, 4, 3)])
def test_hours_end_by_the_clock_that_then_holds(zone, day):
    """Awake until half past three, whatever the clocks do at two or three that night."""
    here = ZoneInfo(zone)
    begin = datetime(*day, 22, tzinfo=here)
    end = datetime(day[0], day[1], day[2] + 1, 3, 30, tzinfo=here)

    def ahead_s(at_s):
        return datetime.fromtimestamp(at_s, UTC).astimezone(here).utcoffset().total_seconds()

    bench = SimpleNamespace(first=0, at_s=begin.timestamp() + SLOT_S * np.arange(3000.0))
    wishes = Wishes(waking_h=((14.0, 27.5),) * 7)
    asked = SimpleNamespace(bench=bench, wishes=wishes, local_offset_s=ahead_s)
    assert Problem.free_s.func(asked)[0] == end.timestamp()
