"""What else could be done: warm the room, or give up one wish, and what it gains."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from monitor.core.cure.plan_clock import SLOT_S
from monitor.core.cure.plan_problem import Problem, problem, with_wishes
from monitor.core.cure.plan_reasons import moment
from monitor.core.cure.plan_values import Alternative, Done, Wish
from monitor.core.cure.recipe import Recipe
from monitor.core.cure.wishes import Wishes
from monitor.core.vocabulary import RoomPaths

WARM_C = 22.0  # what a small heater holds in a home; common practice, no published source
WORTH_S = 3600.0
USUAL_HOURS = (7.0, 22.0)
LEAST_PROBABILITY_PCT = 30
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
        time_words = "overnight" if key == "warm_nights" else "day and night"
        words = f"Hold the room at {hold_c:g} °C {time_words}"
        offers = _offer(pose(warm), words, finish_s)
        found += [replace(offer, key=key, temp_c=hold_c) for offer in offers]
    return tuple(found)


def _warm(
    asked: Problem, future: RoomPaths
) -> list[tuple[Literal["warm_nights", "warm_room"], float, RoomPaths]]:
    """The room held warm while hands are not free, and all the time, where that is warmer."""
    if not future.temp_c.size:
        return []
    hold_c = min([WARM_C, *(clock.profile.max_temp_c for clock in asked.bench.clocks.values())])
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


def give_ups(asked: Problem, recipe: Recipe, done: Sequence[Done]) -> tuple[Alternative, ...]:
    """Each single wish whose loss brings a plan where there is none; soonest first.

    A piece called done before its full cure comes last: that is not the same piece.
    """
    offers: list[Alternative] = []
    for wish, wishes, words in _without(asked.wishes):
        offers += _offer(with_wishes(asked, wishes), words, None, wish)
    offers += _less_sure(asked)
    sanded = _sanded(recipe)
    if sanded is not None:
        tried = problem(sanded, done, asked.bench, asked.wishes, asked.now_s, asked.local_offset_s)
        words = "Give up bonding without sanding: wait until it is sandable, and sand"
        offers += _offer(tried, words, None, "recoat_without_sanding")
    if asked.wishes.done_when == "cured":
        hands_off = with_wishes(asked, replace(asked.wishes, done_when="hands_off"))
        words = "Count it as done after the last hands-on act, before full cure"
        offers += _offer(hands_off, words, None, "full_cure")
    return tuple(sorted(offers, key=lambda offer: (offer.wish == "full_cure", offer.finish_s)))


def _without(wishes: Wishes) -> list[tuple[Wish, Wishes, str]]:
    found: list[tuple[Wish, Wishes, str]] = []
    days = [hours for hours in wishes.waking_h if hours is not None]
    if any(hours != (0.0, 24.0) for hours in days):
        awake = tuple(None if hours is None else (0.0, 24.0) for hours in wishes.waking_h)
        words = "Get up at night for it"
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


def _less_sure(asked: Problem) -> list[Alternative]:
    """The greatest probability, in steps of five per cent, that has a plan."""
    low, high = LEAST_PROBABILITY_PCT // 5, int(round(100.0 * asked.wishes.probability) - 1) // 5
    best: Alternative | None = None
    while low <= high:
        middle = (low + high + 1) // 2
        share = middle * 5 / 100.0
        tried = with_wishes(asked, replace(asked.wishes, probability=share))
        offers = _offer(tried, f"Be content with {100.0 * share:.0f} %", None, "probability")
        if offers:
            best, low = replace(offers[0], probability=share), middle + 1
        else:
            high = middle - 1
    return [] if best is None else [best]


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
    solved = tried.solve()
    if solved is None:
        return []
    found, ground = solved
    if finish_s is not None and finish_s - found.finish_s < WORTH_S:
        return []
    instead = "" if finish_s is None else f" instead of {moment(finish_s)}"
    return [
        Alternative(
            key="give_up",
            words=f"{words}, and it is done at {moment(found.finish_s)}{instead}.",
            finish_s=found.finish_s,
            gain_s=None if finish_s is None else finish_s - found.finish_s,
            first_act_s=_first_s(found.places, ground.at_s, tried.now_s),
            wish=wish,
        )
    ]


def _first_s(places: Sequence[int], at_s: np.ndarray, now_s: float) -> float:
    return float(at_s[places[0]]) if places else now_s
