"""The air that a layer has seen and will see: one line of time, many paths.

What is not known is said and widened: a gap in the readings, readings that stop, none at
all. Past the forecast each path repeats its last day.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

import numpy as np

from monitor.core.physics.aging import GAS_CONSTANT_J_MOL_K, ZERO_C_IN_K, kelvin, rate_factor
from monitor.core.vocabulary import FloatArray, RoomPaths, RoomSeries

HOUR_S = 3600.0
DAY_S = 86_400.0
SIGHT_S = 14.0 * DAY_S
GAP_S = 1.0 * HOUR_S
# How far an unheated hour may stray from a straight line between readings, and the most
# that a night and a day can: engineering judgement, no published source.
STRAY_K_PER_ROOT_H = 0.4
STRAY_MOST_K = 3.0
UNKNOWN_HUMIDITY_PCT = 50.0

_STEP_S = 600.0
_PAST_STEPS = 500
_TAIL_STEP_S = 3600.0
_FINE_SPANS = 3.0
_FINE_STEPS = 90


@dataclass(frozen=True, eq=False)
class RoomLine:
    """`at_s` (n,) from the pour to the end of sight; the rest is per interval.

    `temp_c` (paths + 1, n - 1) and `humidity_pct` alike; the last row is the middle of
    what is expected.
    """

    at_s: FloatArray
    temp_c: FloatArray
    humidity_pct: FloatArray
    knowledge_age_s: float
    notes: tuple[str, ...]

    @property
    def span_h(self) -> FloatArray:
        """Length of each interval [h]."""
        return np.asarray(np.diff(self.at_s) / HOUR_S)


def room_line(
    poured_at_s: float,
    now_s: float,
    past: RoomSeries,
    future: RoomPaths,
    paths: int,
    assumed_c: float,
    pace_h: float,
    ea_j_mol: float,
) -> RoomLine:
    """Lay past and future on one line of time.

    `pace_h` is the resin's anchor stage (a five-minute glue needs a finer line);
    `assumed_c` stands in where nothing was ever measured. Readings are averaged by
    their effect on the clock at `ea_j_mol`, not by their mean.

    Raises ValueError where a forecast holds a value that is not a number.
    """
    if not (np.all(np.isfinite(future.temp_c)) and np.all(np.isfinite(future.humidity_pct))):
        raise ValueError("The room forecast holds values that are not numbers; make it again.")
    known = np.isfinite(past.at_s) & np.isfinite(past.temp_c) & (past.at_s <= now_s)
    seen_s, unique = np.unique(past.at_s[known], return_index=True)
    seen_c = past.temp_c[known][unique]
    damp = past.humidity_pct[known][unique]
    damp = np.where(np.isfinite(damp), damp, UNKNOWN_HUMIDITY_PCT)
    at_s = _instants(poured_at_s, now_s, future.at_s, pace_h)
    middle_s = (at_s[1:] + at_s[:-1]) / 2.0
    behind = middle_s < now_s
    temp_c = np.empty((paths + 1, middle_s.size))
    humidity = np.empty((paths + 1, middle_s.size))
    ahead_c, ahead_damp = _ahead(middle_s[~behind], now_s, future, paths, seen_c, damp, assumed_c)
    temp_c[:, ~behind] = ahead_c
    humidity[:, ~behind] = ahead_damp
    stray_k, notes = _strays(middle_s, seen_s, poured_at_s, now_s, future.at_s.size > 0)
    if behind.any():
        edges_s = at_s[: int(np.count_nonzero(behind)) + 1]
        first_ahead = ahead_c[-1, 0] if ahead_c.size else None
        temp_c[:, behind] = _behind(
            edges_s, seen_s, seen_c, first_ahead, now_s, assumed_c, ea_j_mol
        )
        humidity[:, behind] = (
            np.interp(middle_s[behind], seen_s, damp) if seen_s.size else UNKNOWN_HUMIDITY_PCT
        )
    if stray_k.any():
        temp_c[:-1] += normal_scores(paths)[:, None] * stray_k
    age_s = max(now_s - float(seen_s[-1]), 0.0) if seen_s.size else max(now_s - poured_at_s, 0.0)
    return RoomLine(at_s, temp_c, humidity, age_s, notes)


@lru_cache(maxsize=8)
def normal_scores(count: int) -> FloatArray:
    """Evenly spread normal scores in an order unrelated to their size, (count,)."""
    normal = NormalDist()
    scores = np.array([normal.inv_cdf((k + 0.5) / count) for k in range(count)])
    order = np.argsort((np.arange(count) * 0.6180339887498949) % 1.0, kind="stable")
    shuffled = scores[order]
    shuffled.flags.writeable = False
    return np.asarray(shuffled)


def _instants(poured_at_s: float, now_s: float, future_s: FloatArray, pace_h: float) -> FloatArray:
    begin_s = max(poured_at_s, now_s)
    parts = [np.array([poured_at_s, begin_s])]
    if now_s > poured_at_s:
        step_s = max(_STEP_S, (now_s - poured_at_s) / _PAST_STEPS)
        parts.append(np.arange(poured_at_s, now_s, step_s))
    end_s = begin_s + SIGHT_S
    last_s = begin_s
    if future_s.size:
        last_s = min(max(float(future_s[-1]), begin_s), end_s)
        parts.append(np.arange(begin_s, last_s, _STEP_S))
    parts.append(np.arange(last_s, end_s + 1.0, _TAIL_STEP_S))
    if pace_h * HOUR_S * _FINE_SPANS / _FINE_STEPS < _STEP_S:
        parts.append(poured_at_s + np.linspace(0.0, _FINE_SPANS * pace_h * HOUR_S, _FINE_STEPS))
    at_s = np.unique(np.concatenate(parts))
    # Instants a breath apart would make steps of no length.
    return np.asarray(at_s[np.concatenate(([True], np.diff(at_s) > 1.0))])


def _ahead(
    middle_s: FloatArray,
    now_s: float,
    future: RoomPaths,
    paths: int,
    seen_c: FloatArray,
    damp: FloatArray,
    assumed_c: float,
) -> tuple[FloatArray, FloatArray]:
    if not future.at_s.size or not future.temp_c.size:
        held_c = seen_c[-1] if seen_c.size else assumed_c
        held_damp = damp[-1] if damp.size else UNKNOWN_HUMIDITY_PCT
        shape = (paths + 1, middle_s.size)
        return np.full(shape, held_c), np.full(shape, held_damp)
    first_s, last_s = float(future.at_s[0]), float(future.at_s[-1])
    day_s = min(DAY_S, last_s - first_s)
    over_s = middle_s - last_s
    repeated = (
        last_s - day_s + np.mod(over_s, day_s) if day_s > 0.0 else np.full_like(over_s, last_s)
    )
    when_s = np.where(over_s > 0.0, repeated, middle_s)
    right = np.clip(np.searchsorted(future.at_s, when_s), 1, max(future.at_s.size - 1, 1))
    if future.at_s.size == 1:
        left, right = right - 1, right - 1
        share = np.zeros(when_s.size)
    else:
        left = right - 1
        width = future.at_s[right] - future.at_s[left]
        share = np.clip((when_s - future.at_s[left]) / np.maximum(width, 1e-9), 0.0, 1.0)
    rows = np.arange(paths) % future.temp_c.shape[0]

    def line(values: FloatArray) -> FloatArray:
        middle = values.mean(axis=0)
        found = np.empty((paths + 1, when_s.size))
        laid = values[:, left] * (1.0 - share) + values[:, right] * share
        found[:-1] = laid[rows]
        found[-1] = middle[left] * (1.0 - share) + middle[right] * share
        return found

    return line(future.temp_c), line(future.humidity_pct)


def _behind(
    edges_s: FloatArray,
    seen_s: FloatArray,
    seen_c: FloatArray,
    first_ahead_c: float | None,
    now_s: float,
    assumed_c: float,
    ea_j_mol: float,
) -> FloatArray:
    """The one constant temperature of each interval that turns the clock as its readings do."""
    if not seen_s.size:
        return np.full(edges_s.size - 1, assumed_c)
    if first_ahead_c is not None and now_s - seen_s[-1] > GAP_S:
        seen_s = np.append(seen_s, now_s)
        seen_c = np.append(seen_c, first_ahead_c)
    fine_s = np.union1d(edges_s, seen_s[(seen_s > edges_s[0]) & (seen_s < edges_s[-1])])
    fine_c = np.interp(fine_s, seen_s, seen_c)
    ref_k = assumed_c + ZERO_C_IN_K
    middle = rate_factor(kelvin((fine_c[1:] + fine_c[:-1]) / 2.0), ref_k, ea_j_mol)
    turned = np.concatenate(([0.0], np.cumsum(middle * np.diff(fine_s))))
    at_edges = turned[np.searchsorted(fine_s, edges_s)]
    mean = np.diff(at_edges) / np.diff(edges_s)
    effective_k = 1.0 / (1.0 / ref_k - GAS_CONSTANT_J_MOL_K / ea_j_mol * np.log(mean))
    return np.asarray(effective_k - ZERO_C_IN_K)


def _strays(
    middle_s: FloatArray, seen_s: FloatArray, poured_at_s: float, now_s: float, forecast: bool
) -> tuple[FloatArray, tuple[str, ...]]:
    """How uncertain the past of the room is at each instant [K], and why, in words."""
    stray = np.zeros(middle_s.size)
    behind = middle_s < now_s
    if not seen_s.size:
        stray[behind] = STRAY_MOST_K
        if not forecast:
            stray[:] = STRAY_MOST_K
        return stray, (
            "No reading of this room yet: it is taken to be as warm as the label "
            "assumes, give or take 3 °C.",
        )
    known = np.append(seen_s, now_s) if forecast and now_s > seen_s[-1] else seen_s
    right = np.searchsorted(known, middle_s)
    left_s = np.where(right > 0, known[np.maximum(right - 1, 0)], -np.inf)
    right_s = np.where(right < known.size, known[np.minimum(right, known.size - 1)], np.inf)
    apart_h = np.minimum(middle_s - left_s, right_s - middle_s) / HOUR_S
    gappy = (right_s - left_s > GAP_S) & (behind | (not forecast))
    stray[gappy] = np.minimum(STRAY_K_PER_ROOT_H * np.sqrt(apart_h[gappy]), STRAY_MOST_K)
    return stray, _gap_words(seen_s, poured_at_s, now_s)


def _gap_words(seen_s: FloatArray, poured_at_s: float, now_s: float) -> tuple[str, ...]:
    words = []
    from_s = min(poured_at_s, now_s)
    within = seen_s[seen_s >= from_s]
    earlier = seen_s[seen_s < from_s]
    start = float(earlier[-1]) if earlier.size else None
    if start is None and within.size and within[0] - from_s > GAP_S:
        words.append(
            f"The first {_hours(within[0] - from_s)} after the pour were not measured; "
            "the first reading stands in, with a wider band."
        )
    ends = within if start is None else np.concatenate(([start], within))
    gaps = np.diff(ends)
    gaps = gaps[gaps > GAP_S]
    if gaps.size:
        words.append(
            f"{gaps.size} gap{'s' if gaps.size > 1 else ''} in the readings, the longest "
            f"{_hours(float(gaps.max()))}: bridged, with a wider band."
        )
    if now_s - seen_s[-1] > GAP_S:
        words.append(
            f"The last reading is {_hours(now_s - float(seen_s[-1]))} old; "
            "since then the room is a guess."
        )
    return tuple(words)


def _hours(seconds: float) -> str:
    return f"{seconds / HOUR_S:.1f} h" if seconds < 2.0 * DAY_S else f"{seconds / DAY_S:.1f} days"
