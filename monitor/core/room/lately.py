"""A room on its way goes on for a while: what the last minutes tell beyond hourly values.

A heater that has just gone off is not in any hourly value yet. How far the last minutes stand
off the last twenty, and those off the last hour, says which way the room is going; so many
times that is what the hours after showed beyond the forecast: rounded from the mean of nine
logs of rooms, a porch and an airfield (tests/bench/bench_forecast.py names them).
"""

from __future__ import annotations

import numpy as np

from monitor.core.room.hourly import HOUR_S, MEAN_S
from monitor.core.vocabulary import FloatArray

MINUTES_S = 300.0
ENOUGH = 4  # readings in the hour: fewer tell no way
MOST_C = 3.0  # more than this is an opened window or a hand on the sensor, and passes
LEADS_H = np.array((0.0, 1 / 6, 0.5, 1.0, 2.0, 3.0, 6.0, 9.0))
OF_MINUTES = np.array((1.0, 1.1, 1.5, 1.6, 1.5, 1.3, 0.5, 0.0))
OF_THE_HOUR = np.array((0.2, 0.3, 0.5, 0.8, 0.5, 0.4, 0.1, 0.0))


def on_its_way(
    at_s: FloatArray, temp_c: FloatArray, last_s: float, lead_h: FloatArray
) -> FloatArray:
    """What to add [K] to a forecast from hourly values, (leads,); nothing for a coarse log."""

    def mean_c(within_s: float) -> float:
        return float(temp_c[np.searchsorted(at_s, last_s - within_s, side="right") :].mean())

    if at_s.size - np.searchsorted(at_s, last_s - HOUR_S, side="right") < ENOUGH:
        return np.zeros(lead_h.size)
    minutes, twenty, hour = mean_c(MINUTES_S), mean_c(MEAN_S), mean_c(HOUR_S)
    gone = (minutes - twenty) * OF_MINUTES + (twenty - hour) * OF_THE_HOUR
    return np.asarray(np.interp(lead_h, LEADS_H, np.clip(gone, -MOST_C, MOST_C)))
