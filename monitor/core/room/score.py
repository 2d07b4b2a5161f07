"""How the room forecasts did, held against what the room became."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.core.vocabulary import FloatArray, RoomSeries

LEADS_H = (6.0, 24.0, 48.0, 72.0)
# A measurement this far from the moment asked for is not the moment's.
NEAR_S = 1800.0


@dataclass(frozen=True)
class Said:
    """One past forecast of temperature: 10, 50, 90 % lines over `at_s`, shapes (m,)."""

    as_of_s: float
    at_s: FloatArray
    temp_p10_c: FloatArray
    temp_p50_c: FloatArray
    temp_p90_c: FloatArray


@dataclass(frozen=True)
class LeadScore:
    """What came of all forecasts at one lead.

    `error_c` is the mean distance of the middle line from what came; `as_now_error_c`
    what it had been by saying "it stays as it is now"; `inside` the share within the
    band, meant to be 0.8.
    """

    lead_h: float
    count: int
    error_c: float
    as_now_error_c: float
    inside: float


def score(said: Sequence[Said], measured: RoomSeries) -> tuple[LeadScore, ...]:
    """One score for each lead that at least one forecast has lived to see."""
    found = []
    for lead_h in LEADS_H:
        rows = []
        for one in said:
            then_s = one.as_of_s + lead_h * 3600.0
            if len(one.at_s) == 0 or not one.at_s[0] <= then_s <= one.at_s[-1] + 1.0:
                continue
            came, was = _measured(measured, then_s), _measured(measured, one.as_of_s)
            if came is None or was is None:
                continue
            low, middle, high = (
                float(np.interp(then_s, one.at_s, line))
                for line in (one.temp_p10_c, one.temp_p50_c, one.temp_p90_c)
            )
            rows.append((abs(middle - came), abs(was - came), low <= came <= high))
        if rows:
            error, as_now, inside = np.mean(np.asarray(rows, dtype=np.float64), axis=0)
            found.append(LeadScore(lead_h, len(rows), float(error), float(as_now), float(inside)))
    return tuple(found)


def _measured(series: RoomSeries, at_s: float) -> float | None:
    if len(series.at_s) == 0:
        return None
    nearest = int(np.argmin(np.abs(series.at_s - at_s)))
    if abs(float(series.at_s[nearest]) - at_s) > NEAR_S:
        return None
    return float(np.interp(at_s, series.at_s, series.temp_c))
