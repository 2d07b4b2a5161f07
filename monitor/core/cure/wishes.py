"""What the maker wishes of a plan, and when hands are free."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np

from monitor.core.vocabulary import FloatArray

Mode = Literal["soonest", "latest"]
DoneWhen = Literal["cured", "hands_off"]
LocalOffset = float | Callable[[float], float]

MONDAY_TO_SUNDAY = 7
_DAY_S = 86_400.0
_HOUR_S = 3_600.0
_EPOCH_ORDINAL = date(1970, 1, 1).toordinal()
_EPOCH_WEEKDAY = date(1970, 1, 1).weekday()


@dataclass(frozen=True)
class Wishes:
    """What a plan shall respect.

    `waking_h` holds, Monday first, local hours (from, to) of each weekday, None for a
    weekday without work; `to` may pass 24 (25 is one in the morning). `days_off` are local
    dates as 2026-11-28. `probability` is the least chance that each act meets its window,
    and that the piece is done by the finish named. `mode` "latest" starts the first pour as
    late as the deadline safely allows. `done_when` "cured" waits for every layer's full
    cure, "hands_off" for the last hands-on act. `within_limits` pours only where the room is
    as the resin wants it, at the pour and while its surface is open.
    """

    waking_h: tuple[tuple[float, float] | None, ...] = ((7.0, 22.0),) * 7
    days_off: tuple[str, ...] = ()
    deadline_s: float | None = None
    probability: float = 0.8
    mode: Mode = "soonest"
    done_when: DoneWhen = "cured"
    within_limits: bool = True


def faults(wishes: Wishes, now_s: float) -> tuple[str, ...]:
    """What is wrong with the wishes, one sentence each, empty where they are sound."""
    found = []
    if len(wishes.waking_h) != MONDAY_TO_SUNDAY:
        found.append(f"waking hours are given for {len(wishes.waking_h)} weekdays; give all 7")
    for hours in wishes.waking_h:
        if hours is None:
            continue
        from_h, to_h = hours
        if not (0.0 <= from_h < 24.0 and from_h < to_h <= from_h + 24.0):
            found.append(
                f"waking hours {from_h:g} to {to_h:g} make no day; give hours such as 7 to 22, "
                "or 10 to 26 for two in the morning"
            )
    for day in wishes.days_off:
        try:
            date.fromisoformat(day)
        except ValueError:
            found.append(f"day off {day!r} is not a date; write it as 2026-11-28")
    if not 0.0 < wishes.probability <= 1.0:
        found.append(f"probability is {wishes.probability:g}; give a share such as 0.8")
    if wishes.deadline_s is not None and not (
        math.isfinite(wishes.deadline_s) and wishes.deadline_s > now_s
    ):
        found.append("the deadline has passed or is not a time; give a later one")
    if wishes.mode not in ("soonest", "latest"):
        found.append(f"mode is {wishes.mode!r}; use soonest or latest")
    if wishes.mode == "latest" and wishes.deadline_s is None:
        found.append("to start as late as possible, a deadline is needed; give one")
    if wishes.done_when not in ("cured", "hands_off"):
        found.append(f"done_when is {wishes.done_when!r}; use cured or hands_off")
    return tuple(found)


def hands_free_until(at_s: FloatArray, wishes: Wishes, local_offset_s: LocalOffset) -> FloatArray:
    """Until when hands stay free from each instant on [s], (n,); -inf where they are not."""
    if callable(local_offset_s):
        local_s = at_s + np.array([local_offset_s(float(t)) for t in at_s])
    else:
        local_s = at_s + local_offset_s
    day = np.floor(local_s / _DAY_S)
    into_h = (local_s - day * _DAY_S) / _HOUR_S
    until_s = np.full(at_s.shape, -math.inf)
    for back in (1.0, 0.0):  # last evening's late hours, then today's
        from_h, to_h = _hours(day - back, wishes)
        at_h = into_h + 24.0 * back
        awake = (at_h >= from_h) & (at_h < to_h)
        left_s = at_s + (to_h - at_h) * _HOUR_S
        until_s = np.where(awake, np.maximum(until_s, left_s), until_s)
    return np.asarray(until_s)


def _hours(day: FloatArray, wishes: Wishes) -> tuple[FloatArray, FloatArray]:
    weekday = (day.astype(np.int64) + _EPOCH_WEEKDAY) % MONDAY_TO_SUNDAY
    from_h = np.array([hours[0] if hours else math.inf for hours in wishes.waking_h])[weekday]
    to_h = np.array([hours[1] if hours else -math.inf for hours in wishes.waking_h])[weekday]
    off = [date.fromisoformat(text).toordinal() - _EPOCH_ORDINAL for text in wishes.days_off]
    resting = np.isin(day, off)
    return np.where(resting, math.inf, from_h), np.where(resting, -math.inf, to_h)
