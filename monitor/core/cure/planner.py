"""Which start times put the hands-on moments into waking hours, before the deadline.

The plan is the optimum on a grid of ten minutes (plan_search.py says of what) over an
ensemble of rooms and resin speeds (plan_clock.py). The room past the forecast repeats its
last day, up to 14 days of acts. Planned again from scratch at every call: with what is
done, the marks (by way of the draws) and the room as they now are.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from monitor.core.cure.bands import Band
from monitor.core.cure.plan_acts import finish_band, told_acts
from monitor.core.cure.plan_air import ALL_SLOTS, lay_out
from monitor.core.cure.plan_clock import bench
from monitor.core.cure.plan_otherwise import give_ups, sooner, surest, warmer
from monitor.core.cure.plan_problem import Problem, problem, with_wishes
from monitor.core.cure.plan_reasons import why_none
from monitor.core.cure.plan_search import Field, Found
from monitor.core.cure.plan_values import ActWindow as ActWindow
from monitor.core.cure.plan_values import Alternative as Alternative
from monitor.core.cure.plan_values import Done as Done
from monitor.core.cure.plan_values import Plan as Plan
from monitor.core.cure.plan_values import PlannedAct as PlannedAct
from monitor.core.cure.plan_values import Reason as Reason
from monitor.core.cure.recipe import Recipe, faults
from monitor.core.cure.wishes import LocalOffset as LocalOffset
from monitor.core.cure.wishes import Wishes as Wishes
from monitor.core.cure.wishes import faults as wish_faults
from monitor.core.vocabulary import RateDraws, ResinProfile, RoomPaths, RoomSeries

_NOTHING = np.empty(0)


def plan(
    recipe: Recipe,
    resins: Mapping[str, ResinProfile],
    future: RoomPaths,
    draws: Mapping[str, RateDraws],
    wishes: Wishes,
    now_s: float,
    local_offset_s: LocalOffset = 0.0,
    *,
    past: RoomSeries | None = None,
    done: Sequence[Done] = (),
    otherwise: bool = True,
    even_with_a_plan: bool = True,
    content_from: float | None = None,
) -> Plan:
    """When to do each step of a piece.

    Parameters
    ----------
    resins, draws
        Profile and belief of each resin that the recipe names, by key.
    future, past
        The room's paths from about now, and its readings back to the first pour done.
    local_offset_s
        Local time less UTC [s], or a function of the moment [s] that gives it.
    done
        Steps already begun, when, and what is known of them.
    otherwise
        Whether to look for alternatives: a sooner finish, or what to give up where no plan is;
        with `even_with_a_plan` False, in the latter case alone.
    content_from
        Where no plan keeps the wished probability: the least one to be content with, if a
        plan keeps that. The plan then says so (`content_with`).

    Raises ValueError that lists every fault of the recipe, the marks or the wishes.
    """
    wrong = [
        *faults(recipe, {key: profile.kind for key, profile in resins.items()}),
        *wish_faults(wishes, now_s),
        *_done_faults(recipe, done, now_s),
    ]
    if wrong:
        raise ValueError("; ".join(wrong))
    used = {step.resin: resins[step.resin] for step in recipe.steps if step.resin is not None}
    begin_s = min([mark.at_s for mark in done], default=now_s)
    seen = RoomSeries(_NOTHING, _NOTHING, _NOTHING) if past is None else past
    ground = bench(used, future, seen, draws, begin_s, now_s)
    asked = problem(recipe, done, ground, wishes, now_s, local_offset_s)
    lay_out(ground, asked.layers.values(), ALL_SLOTS)
    if not any(asked.work.acts):
        # Only the cure is left, and no deadline hastens that.
        asked = with_wishes(asked, replace(wishes, deadline_s=None, mode="soonest"))
    solved = asked.solve()

    def pose(paths: RoomPaths) -> Problem:
        other = bench(used, paths, seen, draws, begin_s, now_s)
        return problem(recipe, done, other, wishes, now_s, local_offset_s)

    if solved is not None:
        made = _told(asked, solved)
        if otherwise and even_with_a_plan and wishes.mode == "soonest":
            made = replace(made, alternatives=sooner(asked, future, pose, solved[0].finish_s))
        return made
    lesser = None if content_from is None else surest(asked, content_from)
    content = None if lesser is None else lesser.solve()
    if lesser is None or content is None:
        return _no_plan(asked, recipe, done, future, pose if otherwise else None, True)
    offered = pose if otherwise and even_with_a_plan else None
    none = _no_plan(asked, recipe, done, future, offered, False)
    return replace(
        _told(lesser, content),
        reasons=none.reasons,
        alternatives=none.alternatives,
        content_with=lesser.wishes.probability,
    )


def _told(asked: Problem, solved: tuple[Found, Field]) -> Plan:
    found, field = solved
    acts, chance = told_acts(asked, field, found)
    return Plan(
        found=True,
        made_at_s=asked.now_s,
        acts=acts,
        finish_s=found.finish_s,
        finish=finish_band(asked, acts),
        reasons=(),
        notes=asked.bench.notes,
        chance=chance,
    )


def _no_plan(
    asked: Problem,
    recipe: Recipe,
    done: Sequence[Done],
    future: RoomPaths,
    pose: Callable[[RoomPaths], Problem] | None,
    less_sure: bool,
) -> Plan:
    reason = why_none(asked)
    offers: tuple[Alternative, ...] = ()
    given: tuple[Alternative, ...] = ()
    if pose is not None:
        given = give_ups(asked, recipe, done, less_sure)
        warm = warmer(asked, future, pose, None)
        # A room out of limits is mended first, and only then put up with.
        offers = warm + given if reason.key == "room" else given + warm
    return Plan(
        found=False,
        made_at_s=asked.now_s,
        acts=(),
        finish_s=None,
        finish=Band(None, None, None),
        reasons=(reason,),
        alternatives=offers,
        give_up=given[0] if given else None,
        notes=asked.bench.notes,
    )


def _done_faults(recipe: Recipe, done: Sequence[Done], now_s: float) -> list[str]:
    found = []
    known = {step.key for step in recipe.steps}
    for mark in done:
        if mark.step not in known:
            found.append(f"step {mark.step!r} marked as done is not in the recipe")
        if not (math.isfinite(mark.at_s) and mark.at_s <= now_s):
            found.append(f"step {mark.step!r} is marked as done at a time that has not come")
        if not all(math.isfinite(at_s) for at_s in mark.reached.values()):
            found.append(f"step {mark.step!r} has a stage reached at what is not a time")
    marked = {mark.step for mark in done}
    last = max((n for n, step in enumerate(recipe.steps) if step.key in marked), default=0)
    found += [
        f"{step.name} comes before {recipe.steps[last].name}, which is done; say when it was done"
        for step in recipe.steps[:last]
        if step.resin is not None and step.key not in marked
    ]
    return found
