"""What else could be done: warm the room, or give up one wish, and what it gains."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from monitor.core.cure.plan_clock import DAY_SLOTS, SLOT_S
from monitor.core.cure.plan_problem import Problem, problem, with_wishes
from monitor.core.cure.plan_reasons import moment, odds
from monitor.core.cure.plan_room import told
from monitor.core.cure.plan_search import Field, Found
from monitor.core.cure.plan_soonest import soonest
from monitor.core.cure.plan_values import Alternative, Done, Wish
from monitor.core.cure.recipe import Recipe
from monitor.core.cure.wishes import Wishes
from monitor.core.vocabulary import RoomPaths

WARM_C = 22.0  # what a small heater holds in a home; common practice, no published source
WORTH_S = 3600.0
USUAL_HOURS = (7.0, 22.0)
LEAST_PROBABILITY = 0.3
_WARMER_BY_K = 0.5


def sooner(
    asked: Problem, future: RoomPaths, pose: Callable[[RoomPaths], Problem], finish_s: float
) -> tuple[Alternative, ...]:
    """What would finish a planned piece sooner: warmth, or a wish given up; soonest first."""
    found = list(warmer(asked, future, pose, finish_s))
    for wish, wanted, words in _without(asked.wishes):
        if wish != "deadline":
            found += _offer(with_wishes(asked, wanted), words, finish_s, wish)
    return tuple(sorted(found, key=lambda offer: offer.finish_s))


def warmer(
    asked: Problem,
    future: RoomPaths,
    pose: Callable[[RoomPaths], Problem],
    finish_s: float | None,
) -> tuple[Alternative, ...]:
    """What holding the room warm would gain; `finish_s` None: where there is no plan."""
    found: list[Alternative] = []
    for key, hold_c, warm in _warm(asked, future):
        nights = key == "warm_nights"
        words = f"Hold the room at {hold_c:g} °C {'overnight' if nights else 'day and night'}"
        offers = _offer(pose(warm), words, finish_s)
        found += [replace(offer, key=key, temp_c=hold_c) for offer in offers]
    return tuple(found)


def _warm(
    asked: Problem, future: RoomPaths
) -> list[tuple[Literal["warm_nights", "warm_room"], float, RoomPaths]]:
    """The room held warm while hands are not free, and all the time, where that is warmer."""
    if not future.temp_c.size:
        return []
    used = [clock.profile for clock in asked.bench.clocks.values()]
    hold_c = max([WARM_C, *(profile.min_temp_c for profile in used)])
    hold_c = min([hold_c, *(profile.max_temp_c for profile in used)])
    slots = np.floor((future.at_s - asked.bench.at_s[asked.bench.first]) / SLOT_S).astype(int)
    inside = np.clip(slots, 0, asked.free_s.size - 1)
    resting = ~np.isfinite(asked.free_s[inside])
    found: list[tuple[Literal["warm_nights", "warm_room"], float, RoomPaths]] = []
    held = np.maximum(future.temp_c, hold_c)
    for key, when in (("warm_nights", resting), ("warm_room", np.ones_like(resting))):
        if when.any() and float(future.temp_c[:, when].mean()) < hold_c - _WARMER_BY_K:
            warm = replace(future, temp_c=np.where(when[None, :], held, future.temp_c))
            found.append(("warm_nights" if key == "warm_nights" else "warm_room", hold_c, warm))
    return found


def give_ups(
    asked: Problem, recipe: Recipe, done: Sequence[Done], less_sure: bool
) -> tuple[Alternative, ...]:
    """Each single wish whose loss brings a plan where there is none; soonest first.

    `less_sure` says whether to try a lower probability too. Last come a room outside the
    labels' limits, and a piece called done before its full cure: that is not the same piece.
    """
    offers: list[Alternative] = []
    for wish, wishes, words in _without(asked.wishes):
        offers += _offer(with_wishes(asked, wishes), words, None, wish)
    if less_sure:
        offers += _less_sure(asked)
    sanded = _sanded(recipe)
    if sanded is not None:
        tried = problem(sanded, done, asked.bench, asked.wishes, asked.now_s, asked.local_offset_s)
        words = "Let it harden and sand it before the next coat"
        offers += _offer(tried, words, None, "recoat_without_sanding")
    if asked.wishes.within_limits:
        anywhere = with_wishes(asked, replace(asked.wishes, within_limits=False))
        offers += _offer(anywhere, _outside_words(asked), None, "room_limits")
    if asked.wishes.done_when == "cured":
        hands_off = with_wishes(asked, replace(asked.wishes, done_when="hands_off"))
        words = "Call it finished after the last step, before it is fully cured"
        offers += _offer(hands_off, words, None, "full_cure")
    last: tuple[Wish, ...] = ("room_limits", "full_cure")
    return tuple(sorted(offers, key=lambda offer: (offer.wish in last, offer.finish_s)))


def _outside_words(asked: Problem) -> str:
    """'Pour in a room colder than the label wants', or warmer, or damper."""
    slots = asked.slots(DAY_SLOTS)
    found: list[str] = []
    for block, acts in enumerate(asked.work.acts):
        if not acts or acts[-1].what != "pour" or not slots.size:
            continue
        layer = asked.layer(block + 1)
        unsuited = told(asked.bench, layer, int(slots[0]), asked.need_of_room)
        if unsuited is not None:
            found.append(str(unsuited.values["limit"]))
    most = max(found, key=found.count, default="cold")
    if most == "cold":
        return "Pour in a room colder than the label wants"
    if most == "warm":
        return "Pour in a room warmer than the label wants"
    return "Pour in a room damper than the label wants"


def _without(wishes: Wishes) -> list[tuple[Wish, Wishes, str]]:
    found: list[tuple[Wish, Wishes, str]] = []
    days = [hours for hours in wishes.waking_h if hours is not None]
    if any(hours != (0.0, 24.0) for hours in days):
        awake = tuple(None if hours is None else (0.0, 24.0) for hours in wishes.waking_h)
        words = "Be free at any hour, day or night"
        found.append(("waking_hours", replace(wishes, waking_h=awake), words))
    if wishes.days_off or len(days) < len(wishes.waking_h):
        usual = days[0] if days else USUAL_HOURS
        every = tuple(usual if hours is None else hours for hours in wishes.waking_h)
        words = "Give up the days off"
        found.append(("days_off", replace(wishes, waking_h=every, days_off=()), words))
    if wishes.deadline_s is not None:
        later = replace(wishes, deadline_s=None, mode="soonest")
        found.append(("deadline", later, "Give up the deadline"))
    return found


def surest(asked: Problem, least: float) -> Problem | None:
    """The same work at the greatest lower probability, in steps of 5 %, that has a plan."""
    low, high = math.ceil(20.0 * least - 1e-9), math.ceil(20.0 * asked.wishes.probability - 1e-9)

    def at(twentieths: int) -> Problem:
        return with_wishes(asked, replace(asked.wishes, probability=twentieths / 20.0))

    # What can be done at a probability can be at any lower; hour by hour it is soon told.
    best, above = low - 1, high
    middle = high - 1  # mostly it is a little short of what was wished
    while best < middle < above:
        best, above = (middle, above) if at(middle).can_be_done_hourly() else (best, middle)
        middle = (best + above) // 2
    while best + 1 < high and at(best + 1).can_be_done_at_all():
        best += 1
    return at(best) if best >= low else None


def _less_sure(asked: Problem) -> list[Alternative]:
    tried = surest(asked, LEAST_PROBABILITY)
    if tried is None:
        return []
    share = tried.wishes.probability
    words = f"Be content with a chance of {odds(share)} at each step"
    offers = _offer(tried, words, None, "probability")
    return [replace(offer, probability=share) for offer in offers]


def _sanded(recipe: Recipe) -> Recipe | None:
    steps = tuple(
        replace(step, needs="sanded") if step.needs == "recoat_window" else step
        for step in recipe.steps
    )
    return None if steps == recipe.steps else replace(recipe, steps=steps)


def _offer(
    tried: Problem, words: str, finish_s: float | None, wish: Wish | None = None
) -> list[Alternative]:
    """The alternative, where it has a plan and is worth it against `finish_s`; else nothing."""
    solved = soonest(tried, math.inf if finish_s is None else finish_s - WORTH_S)
    if solved is None:
        return []
    return [_told(tried, solved, words, finish_s, wish)]


def _told(
    tried: Problem,
    solved: tuple[Found, Field],
    words: str,
    finish_s: float | None,
    wish: Wish | None,
) -> Alternative:
    found, ground = solved
    done = moment(found.finish_s)
    return Alternative(
        key="give_up",
        words=f"{words}, and it is done by {done}."
        if finish_s is None
        else f"{words}, and it is done by {done} instead of {moment(finish_s)}.",
        finish_s=found.finish_s,
        gain_s=None if finish_s is None else finish_s - found.finish_s,
        first_act_s=_first_s(found.places, ground.at_s, tried.now_s),
        wish=wish,
    )


def _first_s(places: Sequence[int], at_s: np.ndarray, now_s: float) -> float:
    return float(at_s[places[0]]) if places else now_s
