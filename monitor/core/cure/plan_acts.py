"""A found plan told act by act: windows, chances, the stretch an act may move in, reasons."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from monitor.core.cure.bands import Band, bands
from monitor.core.cure.plan_problem import Act, Problem
from monitor.core.cure.plan_reasons import reasons_of
from monitor.core.cure.plan_room import suits, told
from monitor.core.cure.plan_search import Field, Found
from monitor.core.cure.plan_values import ActWindow, PlannedAct
from monitor.core.vocabulary import FloatArray

_NEXT_SLOT_S = 601.0


@dataclass(frozen=True, eq=False)
class _Spot:
    """Where one act of the plan stands: task `task` of a block, act `number` of all."""

    block: int
    task: int
    number: int
    row: int
    prev_s: float


def told_acts(asked: Problem, field: Field, found: Found) -> tuple[tuple[PlannedAct, ...], float]:
    """All acts in order, and the share of futures in which all of it comes true.

    That is: every act meets its window, and the room suits every pour.
    """
    acts: list[PlannedAct] = []
    all_hit = np.ones(asked.bench.paths, dtype=np.bool_)
    prev_s, poured = asked.now_s, 0
    for block, group in enumerate(asked.work.acts):
        stand = found.stands[block]
        row = 0 if block == 0 else int(np.flatnonzero(stand.rows == poured)[0])
        for task, act in enumerate(group):
            spot = _Spot(block, task, len(acts), row, prev_s)
            place = found.places[spot.number]
            at_s = float(field.at_s[place])
            pour_s = asked.work.poured_s if block == 0 else float(field.at_s[poured])
            window, hit = _window(asked, block, act, pour_s, at_s)
            all_hit &= hit
            slot = int(asked.bench.slot(at_s))
            room_chance: float | None = None
            warning = ""
            if act.what == "pour":
                layer = asked.layer(block + 1)
                suited = suits(asked.bench, layer, np.array([slot]))[:, 0]
                all_hit &= suited
                room_chance = float(suited.mean())
                unsuited = told(asked.bench, layer, slot, asked.need_of_room)
                warning = "" if unsuited is None else _sentence(unsuited.words)
            good_s = _good(asked, field, found, spot)
            room_c = float(np.median(asked.bench.mean_c(slot, slot + 1)))
            reasons = reasons_of(asked, field, found, block, task, place, prev_s)
            prev_s = at_s + 60.0 * act.minutes
            acts.append(
                PlannedAct(
                    step=act.step.key,
                    what=act.what,
                    name=act.name,
                    at_s=at_s,
                    until_s=prev_s,
                    window=window,
                    chance=float(found.hits[spot.number][place]) / field.paths,
                    hands_free=prev_s <= float(field.free_s[place]),
                    good_from_s=good_s[0],
                    good_until_s=good_s[1],
                    room_c=room_c,
                    reasons=reasons,
                    room_chance=room_chance,
                    warning=warning,
                )
            )
            if act.what == "pour":
                poured = place
    return tuple(acts), float(all_hit.mean())


def finish_band(asked: Problem, acts: tuple[PlannedAct, ...]) -> Band:
    """When the whole piece is done, over all futures."""
    last_s = max((act.until_s for act in acts), default=asked.now_s)
    done_s = np.full((asked.bench.paths, 1), last_s)
    if asked.wishes.done_when == "cured":
        steps = {layer.key: layer for layer in asked.work.layers if layer is not None}
        poured = [(steps[act.step], act.at_s) for act in acts if act.what == "pour"]
        for step, at_s in (*asked.work.earlier, *poured):
            ready = asked.ready_slots(asked.layers[step.key], np.array([asked.bench.slot(at_s)]))
            done_s = np.maximum(done_s, asked.times_s(ready))
    return bands(done_s)[0]


def _good(asked: Problem, field: Field, found: Found, spot: _Spot) -> tuple[float, float]:
    """The stretch around the planned moment in which the act may begin as well [s].

    All other acts stay where they are planned; those that hang on a pour still meet their
    windows.
    """
    act = asked.work.acts[spot.block][spot.task]
    fine = found.stands[spot.block].allowed[spot.task][spot.row].copy()
    at_s = field.at_s[: fine.size]
    later = found.places[spot.number + 1 :]
    next_s = float(field.at_s[later[0]]) if later else math.inf
    fine &= (at_s >= spot.prev_s) & (at_s + 60.0 * act.minutes <= next_s + 1e-6)
    if act.what == "pour":
        following = found.stands[spot.block + 1]
        kept = np.ones(following.rows.size, dtype=np.bool_)
        for allowed, place in zip(following.allowed, later, strict=False):
            kept &= allowed[:, place]
        holds = np.zeros(field.at_s.size, dtype=np.bool_)
        holds[following.rows] = kept
        fine &= holds[: fine.size]
    low = high = found.places[spot.number]
    while low > 0 and fine[low - 1] and at_s[low] - at_s[low - 1] < _NEXT_SLOT_S:
        low -= 1
    while high + 1 < fine.size and fine[high + 1] and at_s[high + 1] - at_s[high] < _NEXT_SLOT_S:
        high += 1
    return float(at_s[low]), float(at_s[high])


def _window(
    asked: Problem, block: int, act: Act, pour_s: float | None, at_s: float
) -> tuple[ActWindow | None, npt.NDArray[np.bool_]]:
    """The window that an act meets most often at its moment, as bands; and where it does."""
    layer = asked.work.layers[block]
    best: ActWindow | None = None
    most = np.ones(asked.bench.paths, dtype=np.bool_)
    if act.window is None or layer is None or pour_s is None:
        return best, most
    slot = int(asked.bench.slot(at_s))
    rows: FloatArray = np.array([asked.bench.slot(pour_s)])
    for opens, closes in asked.windows(block, act.window):
        opened, left = asked.edges(block, opens, closes, rows)
        hit = ((opened <= slot) & (left > slot))[:, 0]
        if best is None or np.count_nonzero(hit) > np.count_nonzero(most):
            closed = None if closes is None else bands(asked.times_s(left - 1))[0]
            opening = bands(asked.times_s(opened))[0]
            best, most = ActWindow(opens, closes, layer.key, opening, closed), hit
    return best, most


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."
