"""Why an act stands where it stands, and why there is no plan: found by trying otherwise."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from monitor.core.cure.plan_clock import ACTS_WITHIN_SLOTS
from monitor.core.cure.plan_problem import Act, Problem, with_wishes
from monitor.core.cure.plan_room import never_binds, suits, told
from monitor.core.cure.plan_search import Field, Found, Stand
from monitor.core.cure.plan_values import Reason

_TRIED_POURS = 48
_NEXT_SLOT_S = 601.0


def act_words(act: Act) -> str:
    """The act as a phrase: "starting Base", "pulling the tape of Clear flood coat"."""
    if act.what == "pour":
        return f"starting {act.name}"
    if act.what == "pull_tape":
        return f"pulling the tape of {act.name}"
    if act.what == "demould":
        return f"taking {act.name} out of the mould"
    return act.name


def moment(at_s: float) -> str:
    """A moment inside words, to be worded in local time at the edge."""
    return f"⟦{round(at_s)}⟧"


def reasons_of(
    problem: Problem, ground: Field, found: Found, block: int, task: int, place: int, prev_s: float
) -> tuple[Reason, ...]:
    """The whys of one act: task `task` of a block, at instant `place`, after `prev_s`."""
    act = problem.work.acts[block][task]
    out = [_not_earlier(problem, ground, found, block, task, place, prev_s)]
    if act.what == "pour":
        out.append(_not_later(problem, ground, found, block, place))
    return tuple(out)


def _not_earlier(
    problem: Problem, ground: Field, found: Found, block: int, task: int, place: int, prev_s: float
) -> Reason:
    act = problem.work.acts[block][task]
    at_s = float(ground.at_s[place])
    if place == 0 or ground.at_s[place - 1] < prev_s:
        if at_s - prev_s < _NEXT_SLOT_S:
            if prev_s <= problem.now_s:
                return Reason("at_once", "It can begin at once.", {})
            return Reason(
                "follows", f"It follows what ends at {moment(prev_s)}.", {"after_s": prev_s}
            )
        return _woken(at_s)
    before_s = float(ground.at_s[place - 1])
    hits = found.hits[_number(found, block, task)][place - 1]
    chance = float(hits) / ground.paths
    if hits < ground.enough:
        return Reason(
            "too_soon",
            f"At {moment(before_s)} its window is open with only {_floored(chance)} %.",
            {"at_s": before_s, "chance": chance},
        )
    if before_s + 60.0 * act.minutes > ground.free_s[place - 1]:
        return _woken(at_s)
    if act.what == "pour":
        cold = _unsuited(problem, ground, block, place - 1)
        if cold is not None:
            return Reason("room", f"At {moment(before_s)} {cold.words}.", cold.values)
        blocked = _blocked(problem, ground, found, block + 1, place - 1)
        if blocked is not None:
            return Reason(
                "earlier_blocked",
                f"A start at {moment(before_s)} {blocked.words}",
                {"start_s": before_s, **blocked.values},
            )
    if ground.latest:
        return Reason("latest", "An earlier start is not needed for the deadline.", {})
    return Reason("best_chance", "Earlier, the windows are met less often.", {})


def _not_later(problem: Problem, ground: Field, found: Found, block: int, place: int) -> Reason:
    stand, row = found.stands[block], _row(found.stands[block], found, block)
    allowed = stand.allowed[-1][row]
    following = found.stands[block + 1]
    last = place
    while last + 1 < allowed.size and allowed[last + 1] and _finish(following, last + 1) < math.inf:
        last += 1
    last_s = float(ground.at_s[last])
    if last + 1 >= ground.at_s.size:
        return Reason("end_of_sight", "Later starts are out of sight.", {})
    after_s = float(ground.at_s[last + 1])
    waits = "" if last == place else f"It can wait until {moment(last_s)}. "
    values: dict[str, float | str] = {"latest_start_s": last_s}
    if after_s - last_s > _NEXT_SLOT_S:
        until_s = float(ground.free_s[last])
        return Reason("free_until", f"{waits}Hands are free until {moment(until_s)}.", values)
    if last + 1 < allowed.size and allowed[last + 1]:
        blocked = _blocked(problem, ground, found, block + 1, last + 1)
        if blocked is not None:
            return Reason(
                "later_blocked",
                f"{waits}A later start {blocked.words}",
                {**values, **blocked.values},
            )
        if problem.wishes.deadline_s is not None:
            return Reason("later_misses", f"{waits}A later start misses the deadline.", values)
        return Reason("later_no_plan", f"{waits}After a later start no plan is left.", values)
    act = problem.work.acts[block][-1]
    if after_s + 60.0 * act.minutes > ground.free_s[last + 1]:
        return Reason(
            "free_until",
            f"{waits}A later start does not end before {moment(float(ground.free_s[last]))}.",
            values,
        )
    cold = _unsuited(problem, ground, block, last + 1)
    if cold is not None:
        return Reason(
            "room", f"{waits}At {moment(after_s)} {cold.words}.", {**values, **cold.values}
        )
    return Reason("closes", f"{waits}Later, its window has closed too often.", values)


def _unsuited(problem: Problem, ground: Field, block: int, place: int) -> Reason | None:
    """What of the room speaks against a pour at an instant, None where nothing does."""
    if not problem.wishes.within_limits:
        return None
    slot = round(problem.bench.slot(float(ground.at_s[place])))
    return told(problem.bench, problem.layer(block + 1), slot, problem.need_of_room)


def _blocked(
    problem: Problem, ground: Field, found: Found, block: int, place: int
) -> Reason | None:
    """The act that a pour at `place` would put out of reach, and when it would come."""
    stand = found.stands[block]
    where = np.flatnonzero(stand.rows == place)
    if not where.size:
        return None
    row = int(where[0])
    for task, act in enumerate(problem.work.acts[block]):
        if act.window is None or stand.allowed[task][row].any():
            continue
        best_s, chance, free = _best_moment(problem, ground, block, act.window, act.minutes, place)
        values: dict[str, float | str] = {"act": act.what, "step": act.step.key, "act_s": best_s}
        if free:
            words = f"leaves no time for {act_words(act)} after what comes before it."
            return Reason("crowded", words, values)
        if chance * ground.paths >= ground.enough - 0.5:
            return Reason(
                "asleep",
                f"puts {act_words(act)} at {moment(best_s)}, when hands are not free.",
                values,
            )
        return Reason(
            "narrow",
            f"leaves {act_words(act)} a chance of {_floored(chance)} % at best.",
            {**values, "chance": chance},
        )
    return None


def why_none(problem: Problem) -> Reason:
    """What stands in the way, where there is no plan."""
    if problem.wishes.deadline_s is not None:
        endless = replace(problem.wishes, deadline_s=None, mode="soonest")
        solved = with_wishes(problem, endless).solve()
        if solved is not None:
            finish_s = solved[0].finish_s
            words = f"The piece is done at {moment(finish_s)} at the soonest, past the deadline."
            return Reason("deadline", words, {"finish_s": finish_s})
        problem = with_wishes(problem, endless)
    if problem.wishes.within_limits and not all(
        never_binds(problem.bench, layer) for layer in problem.layers.values()
    ):
        anywhere = with_wishes(problem, replace(problem.wishes, within_limits=False))
        if anywhere.can_be_done():
            return _room_stands_in_the_way(problem)
        problem = anywhere
    ground, stands = problem.whole()
    if not ground.at_s.size:
        return Reason("no_hours", "Hands are never free in the next two weeks.", {})
    for block, stand in enumerate(stands):
        for task, act in enumerate(problem.work.acts[block]):
            if not stand.allowed[task].any():
                return _never(problem, ground, block, act, stand)
    return Reason(
        "never_cured", "A layer does not come to full cure within sight in this room.", {}
    )


def _room_stands_in_the_way(problem: Problem) -> Reason:
    """The first pour for which the room is never right in free hours, or all of them together."""
    slots = problem.slots(ACTS_WITHIN_SLOTS)
    for block, acts in enumerate(problem.work.acts):
        if not acts or acts[-1].what != "pour" or problem.suited(block, slots).any():
            continue
        layer, name = problem.layer(block + 1), act_words(acts[-1])
        fit = np.count_nonzero(suits(problem.bench, layer, slots), axis=0)
        best = int(slots[int(fit.argmax())])
        cold = told(problem.bench, layer, best, problem.need_of_room)
        if cold is None:
            continue
        at_s = float(problem.bench.at_s[best])
        return Reason(
            "room",
            f"No free hour has the room as the resin wants it for {name}: "
            f"for one at {moment(at_s)} {cold.words}.",
            {**cold.values, "step": acts[-1].step.key, "act_s": at_s},
        )
    return Reason(
        "room", "In the hours in which the room is as the resins want it, no plan is left.", {}
    )


def _never(problem: Problem, ground: Field, block: int, act: Act, stand: Stand) -> Reason:
    name = act_words(act)
    values: dict[str, float | str] = {"act": act.what, "step": act.step.key}
    if act.window is None:
        return Reason("no_time", f"There is no free stretch for {name}.", values)
    rows = stand.rows[:: max(stand.rows.size // _TRIED_POURS, 1)]
    found = [
        _best_moment(problem, ground, block, act.window, act.minutes, int(row)) for row in rows
    ]
    best_s, chance, _ = max(found, key=lambda best: (best[1], -best[0]))
    if any(free for _, _, free in found):
        words = f"What comes before it leaves no time for {name}."
        return Reason("crowded", words, values)
    if chance * ground.paths < ground.enough - 0.5:
        return Reason(
            "uncertain",
            f"No moment for {name} meets its window with more than {_floored(chance)} %: "
            "the room and the resin are not known well enough.",
            {**values, "chance": chance},
        )
    return Reason(
        "asleep",
        f"Whenever its layer is poured, {name} falls where hands are not free, "
        f"for one at {moment(best_s)}.",
        {**values, "act_s": best_s},
    )


def _best_moment(
    problem: Problem, ground: Field, block: int, window: str, minutes: float, place: int
) -> tuple[float, float, bool]:
    """The moment of greatest chance for a window, hands free or not, and the chance.

    And whether any moment of chance enough has hands free: then something else is in the way.
    """
    first, at_s = problem.bench.first, problem.bench.at_s
    rows = problem.rows(block, problem.slots(ACTS_WITHIN_SLOTS)[place : place + 1])
    slots = np.arange(first, first + ACTS_WITHIN_SLOTS)
    hits = problem.count(block, window, rows, slots)[0]
    free = at_s[slots] + 60.0 * minutes <= problem.free_s[: slots.size]
    best = int(hits.argmax())
    fits = bool(np.any(free & (hits >= ground.enough)))
    return float(at_s[slots[best]]), float(hits[best]) / ground.paths, fits


def _row(stand: Stand, found: Found, block: int) -> int:
    """The row of a stand that the plan uses: where its own pour was placed."""
    if block == 0:
        return 0
    poured = found.places[_number(found, block, 0) - 1]
    return int(np.flatnonzero(stand.rows == poured)[0])


def _number(found: Found, block: int, task: int) -> int:
    """Which act of all a task is."""
    return sum(len(stand.allowed) for stand in found.stands[:block]) + task


def _finish(stand: Stand, place: int) -> float:
    where = np.flatnonzero(stand.rows == place)
    return float(stand.done_s[where[0]]) if where.size else math.inf


def _woken(at_s: float) -> Reason:
    return Reason("hands_free_from", f"Before {moment(at_s)} hands are not free.", {"from_s": at_s})


def _floored(chance: float) -> int:
    """Per cent, cut off: a chance that falls short must not read as the one wished."""
    return math.floor(100.0 * chance + 1e-9)
