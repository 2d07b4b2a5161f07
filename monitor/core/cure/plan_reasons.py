"""Why an act stands where it stands, and why there is no plan: found by trying otherwise."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from monitor.core.cure.plan_clock import ACTS_WITHIN_SLOTS
from monitor.core.cure.plan_problem import Act, Problem, with_wishes
from monitor.core.cure.plan_room import never_binds, suits, told
from monitor.core.cure.plan_search import Block, BoolArray, Field, Found, IntArray, Stand, survey
from monitor.core.cure.plan_values import Reason

_TRIED_POURS = 48
_NEXT_SLOT_S = 601.0
_TENTH = 0.1 - 1e-9


def act_words(act: Act) -> str:
    """The act after "for": "starting Base", "pulling the tape of Clear flood coat"."""
    if act.what == "pour":
        return f"starting {act.name}"
    if act.what == "pull_tape":
        return f"pulling the tape of {act.name}"
    if act.what == "demould":
        return f"taking {act.name} out of the mould"
    return f"the step {act.name}"


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
    at_s = float(ground.at_s[place])
    if place == 0 or ground.at_s[place - 1] < prev_s:
        if at_s - prev_s < _NEXT_SLOT_S:
            if prev_s <= problem.now_s:
                return Reason("at_once", "It can begin at once.", {})
            words = f"The step before is not done until {moment(prev_s)}."
            return Reason("follows", words, {"after_s": prev_s})
        return _woken(at_s)
    reason = _not_before(problem, ground, found, block, task, place - 1)
    rested = at_s - float(ground.at_s[place - 1]) > _NEXT_SLOT_S
    if not rested or reason.key not in ("too_soon", "room", "earlier_blocked"):
        return reason
    resting = f"You are not free from {moment(ground.free_s[place - 1])} until {moment(at_s)}."
    return replace(reason, words=f"{resting} {reason.words}")


def _not_before(
    problem: Problem, ground: Field, found: Found, block: int, task: int, place: int
) -> Reason:
    """Why an act that begins right after instant `place` does not begin there."""
    act = problem.work.acts[block][task]
    start_s = float(ground.at_s[place])
    hits = found.hits[_number(found, block, task)][place]
    chance = float(hits) / ground.paths
    if hits < ground.enough:
        words = (
            f"If you start as early as {moment(start_s)}, the chance to hit the right time is "
            f"{'only ' if chance >= _TENTH else ''}{odds(chance)}."
        )
        return Reason("too_soon", words, {"at_s": start_s, "chance": chance})
    if start_s + 60.0 * act.minutes > ground.free_s[place]:
        return _woken(float(ground.at_s[place + 1]))
    if act.what == "pour":
        cold = _unsuited(problem, ground, block, place)
        if cold is not None:
            words = f"If you start as early as {moment(start_s)}, {cold.words}."
            return Reason("room", words, cold.values)
        blocked = _blocked(problem, ground, found, block + 1, place)
        if blocked is not None:
            words = f"If you start as early as {moment(start_s)}, {blocked.words}."
            return Reason("earlier_blocked", words, {"start_s": start_s, **blocked.values})
    if ground.latest:
        return Reason("latest", "You need not start earlier to meet the deadline.", {})
    return Reason("best_chance", "Earlier, you hit the right times less often.", {})


def _not_later(problem: Problem, ground: Field, found: Found, block: int, place: int) -> Reason:
    stand, row = found.stands[block], _row(found.stands[block], found, block)
    allowed = stand.allowed[-1][row]
    following = found.stands[block + 1]
    last = place
    while last + 1 < allowed.size and allowed[last + 1] and _finish(following, last + 1) < math.inf:
        last += 1
    last_s = float(ground.at_s[last])
    if last + 1 >= ground.at_s.size:
        return Reason("end_of_sight", "The plan looks no further ahead.", {})
    reason = _not_after(problem, ground, found, block, last)
    values = {"latest_start_s": last_s, **reason.values}
    if last == place:
        return replace(reason, values=values)
    waits = f"It can wait until {moment(last_s)}."
    return replace(reason, words=f"{waits} {reason.words}", values=values)


def _not_after(problem: Problem, ground: Field, found: Found, block: int, last: int) -> Reason:
    """Why the pour that ends a block cannot begin later than at instant `last`."""
    allowed = found.stands[block].allowed[-1][_row(found.stands[block], found, block)]
    after_s = float(ground.at_s[last + 1])
    until = moment(float(ground.free_s[last]))
    if after_s - float(ground.at_s[last]) > _NEXT_SLOT_S:
        return Reason("free_until", f"You are free until {until}.")
    if last + 1 < allowed.size and allowed[last + 1]:
        blocked = _blocked(problem, ground, found, block + 1, last + 1)
        if blocked is not None:
            words = f"If you start later, {blocked.words}."
            return Reason("later_blocked", words, blocked.values)
        if problem.wishes.deadline_s is not None:
            return Reason("later_misses", "A later start misses the deadline.")
        return Reason("later_no_plan", "If you start later, the rest does not work out.")
    act = problem.work.acts[block][-1]
    if after_s + 60.0 * act.minutes > ground.free_s[last + 1]:
        words = f"If you start later, you do not finish by {until}, when your hours end."
        return Reason("free_until", words)
    cold = _unsuited(problem, ground, block, last + 1)
    if cold is not None:
        words = f"If you start as late as {moment(after_s)}, {cold.words}."
        return Reason("room", words, cold.values)
    return Reason("closes", "Later, you miss the right time too often.")


def _unsuited(problem: Problem, ground: Field, block: int, place: int) -> Reason | None:
    """What of the room speaks against a pour at an instant, None where nothing does."""
    if not problem.wishes.within_limits:
        return None
    slot = round(problem.bench.slot(float(ground.at_s[place])))
    return told(problem.bench, problem.layer(block + 1), slot, problem.need_of_room)


def _blocked(
    problem: Problem, ground: Field, found: Found, block: int, place: int
) -> Reason | None:
    """The act that a pour at `place` would put out of reach, and when it would come.

    The words are what follows "If you start later, ".
    """
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
            words = f"there is no time left for {act_words(act)}"
            return Reason("crowded", words, values)
        if chance * ground.paths >= ground.enough - 0.5:
            words = (
                f"the right time for {act_words(act)} comes about {moment(best_s)}, "
                "when you are not free"
            )
            return Reason("asleep", words, values)
        words = f"the chance to hit the right time for {act_words(act)} is {odds(chance)} at best"
        return Reason("narrow", words, {**values, "chance": chance})
    return None


def why_none(problem: Problem) -> Reason:
    """What stands in the way, where there is no plan."""
    if problem.wishes.deadline_s is not None:
        endless = replace(problem.wishes, deadline_s=None, mode="soonest")
        solved = with_wishes(problem, endless).solve()
        if solved is not None:
            finish_s = solved[0].finish_s
            words = f"The soonest it can be done is {moment(finish_s)}, after the deadline."
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
        return Reason("no_hours", "You are never free in the next two weeks.", {})
    for block, stand in enumerate(stands):
        for task, act in enumerate(problem.work.acts[block]):
            if not stand.allowed[task].any():
                return _never(problem, ground, block, act, stand)
    return Reason(
        "never_cured", "In this room a layer does not cure fully in the next four weeks.", {}
    )


def _room_stands_in_the_way(problem: Problem) -> Reason:
    """The first pour for which the room is never right when it could begin, or all together."""
    ground, stands = problem.whole()
    block = len(stands) - 1
    starts = np.empty(0, dtype=np.int64)
    if 0 < len(stands) < len(problem.work.blocks):
        starts = _starts(problem, ground, block)
    if starts.size:
        act, layer = problem.work.acts[block][-1], problem.layer(block + 1)
        slots = problem.slots(problem.reach())[starts]
        fit = np.count_nonzero(suits(problem.bench, layer, slots), axis=0)
        best = int(fit.argmax())
        at_s = float(ground.at_s[starts[best]])
        cold = told(problem.bench, layer, int(slots[best]), problem.need_of_room)
        if cold is not None:
            return Reason(
                "room",
                f"Whenever you could start {act.name}, the room does not suit it well enough: "
                f"if you start about {moment(at_s)}, {cold.words}.",
                {**cold.values, "step": act.step.key, "act_s": at_s},
            )
    words = "The room is right at some hours, but the steps do not fit into those."
    return Reason("room", words, {})


def _starts(problem: Problem, ground: Field, block: int) -> IntArray:
    """Instants at which the pour that ends a block could begin, were the room right for it.

    That is: all before it is done by then, each earlier pour in a room that is right for it.
    """

    def suited(at: int, places: IntArray) -> BoolArray:
        return ground.suits(at, places) if at != block else np.ones(places.size, dtype=np.bool_)

    blocks = (*problem.work.blocks[: block + 1], Block((), None))
    stand = survey(blocks, replace(ground, suits=suited))[block]
    return np.flatnonzero(stand.allowed[-1].any(axis=0))


def _never(problem: Problem, ground: Field, block: int, act: Act, stand: Stand) -> Reason:
    name = act_words(act)
    values: dict[str, float | str] = {"act": act.what, "step": act.step.key}
    if act.window is None:
        return Reason("no_time", f"You are never free long enough for {name}.", values)
    rows = stand.rows[:: max(stand.rows.size // _TRIED_POURS, 1)]
    found = [
        _best_moment(problem, ground, block, act.window, act.minutes, int(row)) for row in rows
    ]
    best_s, chance, _ = max(found, key=lambda best: (best[1], -best[0]))
    if any(free for _, _, free in found):
        words = f"The steps before leave no time for {name}."
        return Reason("crowded", words, values)
    if chance * ground.paths < ground.enough - 0.5:
        words = (
            f"The chance to hit the right time for {name} is {odds(chance)} at best: "
            "the room and the resin are not known well enough."
            if chance > 0.0
            else f"In this room the right time for {name} does not come in the next two weeks."
        )
        return Reason("uncertain", words, {**values, "chance": chance})
    words = (
        f"The right time for {name} always comes when you are not free, "
        f"for example {moment(best_s)}."
    )
    return Reason("asleep", words, {**values, "act_s": best_s})


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
    return Reason("hands_free_from", f"You are not free before {moment(at_s)}.", {"from_s": at_s})


def odds(chance: float) -> str:
    """'7 in 10', cut off: a chance that falls short must not read as the one wished."""
    if chance < _TENTH:
        return "less than 1 in 10"
    twentieths = math.floor(20.0 * chance + 1e-9)
    return "19 in 20" if twentieths == 19 else f"{twentieths / 2.0:g} in 10"
