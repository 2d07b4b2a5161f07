"""Whether the room suits a pour: at the pour, and while its surface is open.

Judged future by future with the limits of limits.py, on the slots of the bench. The mean of
ten minutes counts, so that a door that stands open for a moment spoils nothing; a moment
between two slots is past a limit where either of them is.

A search that takes the first slot in which enough futures keep a limit finds it too early
more often than not, and promises too much. A forecast made by the hour tells the crossing of
a limit to half an hour at best; so a pour waits until the limit has been kept for that long.
Not so at the beginning, where the room is measured.
"""

from __future__ import annotations

import math

import numpy as np

from monitor.core.cure.limits import (
    HOUR_S,
    LIKELY,
    SIGHT_S,
    WHILE_OPEN,
    BoolArray,
    Limit,
    least_open_s,
    limit_words,
    outside,
)
from monitor.core.cure.plan_clock import ACTS_WITHIN_SLOTS, SLOT_S, Bench, IntArray, LayerClock
from monitor.core.cure.plan_values import Reason
from monitor.core.cure.stages import ANCHOR
from monitor.core.vocabulary import FloatArray

_LOOK_SLOTS = int(2 * SIGHT_S / SLOT_S)
_KEPT_SLOTS = int(HOUR_S / 2.0 / SLOT_S)


def needed(enough: int, paths: int) -> int:
    """Futures in which the room must suit: as wished, and never so few that it likely will not."""
    return max(enough, math.floor(paths * (1.0 - LIKELY)) + 1)


def suits(bench: Bench, layer: LayerClock, slots: IntArray) -> BoolArray:
    """In which futures the room suits a pour in each of some slots, (paths, slots).

    The surface counts as open until it closes in that future or in the middle one,
    whichever is later: the verdict on a pour looks at the middle one. The half hour before
    a pour counts with it, as far as it is ahead.
    """
    if not slots.size or never_binds(bench, layer):
        return np.ones((bench.paths, slots.size), dtype=np.bool_)
    dewy, spoilt = _past(bench, layer)
    begin = slots - bench.first
    before = np.maximum(begin - _KEPT_SLOTS, 0)
    end = np.minimum(open_until(bench, layer, slots) - bench.first, spoilt.shape[1] - 1)
    rows = np.arange(bench.paths)[:, None]
    return np.asarray(~dewy[:, begin] & (spoilt[rows, end] == spoilt[:, before]))


def never_binds(bench: Bench, layer: LayerClock) -> bool:
    """Whether the room keeps a resin's limits in every future as far as it is seen."""
    dewy, spoilt = _past(bench, layer)
    return not (spoilt[:, -1].any() or dewy.any())


def open_until(bench: Bench, layer: LayerClock, slots: IntArray) -> IntArray:
    """First slot in which the surface of a pour counts as closed, (paths, slots)."""
    kind = layer.clock.profile.kind
    closed = bench.reached(layer, ANCHOR[kind], slots.astype(np.float64))
    middle = np.partition(closed, bench.paths // 2, axis=0)[bench.paths // 2]
    least = slots + int(least_open_s(kind) / SLOT_S)
    return np.asarray(
        np.minimum(np.maximum(np.maximum(closed, middle), least), slots + int(SIGHT_S / SLOT_S))
    )


def told(bench: Bench, layer: LayerClock, slot: int, need: int) -> Reason | None:
    """What of the room does not suit a pour in a slot, None where it does."""
    slots = np.array([slot])
    fit = int(np.count_nonzero(suits(bench, layer, slots)))
    if fit >= need:
        return None
    profile = layer.clock.profile
    before = max(slot - _KEPT_SLOTS, bench.first)
    wide = int(open_until(bench, layer, slots).max()) - before
    past, temp_c = _between(bench, layer, before, slot + _LOOK_SLOTS)
    at_pour = slot - before

    def often(limit: Limit) -> int:
        span = slice(0, wide) if limit in WHILE_OPEN else slice(at_pour, at_pour + 1)
        return int(np.count_nonzero(past[limit][:, span].any(axis=1)))

    worst = max(past, key=often)
    share = past[worst].mean(axis=0)
    mostly = share > 1.0 - need / bench.paths
    begin = worst_at = int(share[:wide].argmax())
    while begin > 0 and mostly[begin] and mostly[begin - 1]:
        begin -= 1
    words = limit_words(profile, worst)
    values: dict[str, float | str] = {"limit": worst, "chance": fit / bench.paths}
    # Late slots are seen by the slowest layers alone; most others may have closed before.
    sure = share[worst_at] >= LIKELY and fit <= (1.0 - LIKELY) * bench.paths
    if begin <= at_pour and mostly[begin]:
        over = begin + np.flatnonzero(~mostly[begin:])
        if not over.size:
            found = f"the room may be {words} at some time in each of the next two days"
            if sure:
                found = f"the room is {words} for at least two days"
            return Reason("room", found, values)
        until_s = float(bench.at_s[before + int(over[0])])
        values["until_s"] = until_s
        found = (
            f"the room {'is' if sure else 'may be'} {words} until {_moment(until_s)}, "
            "give or take half an hour"
        )
        return Reason("room", found, values)
    from_s = float(bench.at_s[before + begin])
    values["from_s"] = from_s
    begins = _moment(from_s)
    # How far, in the middle of those futures in which it is past the limit at all.
    those_c = temp_c[past[worst][:, :wide].any(axis=1), :wide]
    if not those_c.size:
        found = f"the room {'is' if sure else 'may be'} {words} from {begins} on"
    elif worst == "cold":
        low_c = float(np.median(those_c.min(axis=1)))
        found = (
            f"the room {'is' if sure else 'may be'} {words} from {begins} on, "
            f"down to {low_c:.1f} °C, before the surface has set"
        )
    elif worst == "warm":
        high_c = float(np.median(those_c.max(axis=1)))
        found = (
            f"the room {'is' if sure else 'may be'} {words} from {begins} on, "
            f"up to {high_c:.1f} °C, before the surface has set"
        )
    else:
        found = (
            f"the room {'is' if sure else 'may be'} {words} from {begins} on, "
            "before the surface has set"
        )
    return Reason("room", found, values)


def _past(bench: Bench, layer: LayerClock) -> tuple[BoolArray, IntArray]:
    """Where dew speaks against a pour, (paths, slots ahead); and the slots spoilt before each.

    Spoilt: past a limit that counts while a surface is open; (paths, slots ahead + 1).
    """
    key = layer.clock.profile.key
    if key not in bench.rooms:
        end = bench.first + ACTS_WITHIN_SLOTS + int(SIGHT_S / SLOT_S)
        past, temp_c = _between(bench, layer, bench.first, end)
        dewy = past.get("dew", np.zeros(temp_c.shape, dtype=np.bool_))
        spoilt = np.logical_or.reduce([past[limit] for limit in WHILE_OPEN if limit in past])
        count = np.zeros((spoilt.shape[0], spoilt.shape[1] + 1), dtype=np.int64)
        np.cumsum(spoilt, axis=1, out=count[:, 1:])
        bench.rooms[key] = (dewy, count)
    return bench.rooms[key]


def _between(
    bench: Bench, layer: LayerClock, begin: int, end: int
) -> tuple[dict[Limit, BoolArray], FloatArray]:
    """Where the room is past each limit from slot to slot, and its warmth, (paths, slots)."""
    before = max(begin - 1, bench.first)
    temp_c, humid = bench.air(before, min(end, bench.at_s.size - 1))
    found: dict[Limit, BoolArray] = {}
    for limit, past in outside(layer.clock.profile, temp_c, humid).items():
        either = past.copy()
        either[:, 1:] |= past[:, :-1]
        found[limit] = either[:, begin - before :]
    return found, temp_c[:, begin - before :]


def _moment(at_s: float) -> str:
    return f"⟦{round(at_s)}⟧"
