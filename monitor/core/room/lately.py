"""A room on its way goes on for a while: what the last minutes tell beyond hourly values.

A heater that has just gone off is not in any hourly value yet. How far the level of the last
quarter of an hour stands off the mean of the last hour says which way the room is going;
CARRIED is how much of that, times so many, the hours after showed beyond the forecast: the
mean of nine logs of rooms, a porch and an airfield (tests/bench/bench_forecast.py names
them). Indoors alone it is more at one hour, outdoors less.
"""

from __future__ import annotations

import numpy as np

from monitor.core.room.hourly import HOUR_S
from monitor.core.vocabulary import FloatArray

LEVEL_S = 900.0
ENOUGH = 4  # readings in the hour: fewer tell no way
MOST_C = 3.0  # more than this is an opened window or a hand on the sensor, and passes
LEADS_H = np.array((0.0, 1 / 6, 0.5, 1.0, 2.0, 3.0, 6.0, 9.0))
CARRIED = np.array((0.3, 0.5, 0.85, 1.1, 0.75, 0.65, 0.25, 0.0))


def on_its_way(
    at_s: FloatArray, temp_c: FloatArray, last_s: float, lead_h: FloatArray
) -> FloatArray:
    """What to add [K] to a forecast from hourly values, (leads,); nothing for a coarse log."""
    level = temp_c[np.searchsorted(at_s, last_s - LEVEL_S, side="right") :]
    hour = temp_c[np.searchsorted(at_s, last_s - HOUR_S, side="right") :]
    if hour.size < ENOUGH:
        return np.zeros(lead_h.size)
    gone = float(np.clip(level.mean() - hour.mean(), -MOST_C, MOST_C))
    return np.asarray(gone * np.interp(lead_h, LEADS_H, CARRIED))
