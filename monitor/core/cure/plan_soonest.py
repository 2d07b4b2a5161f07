"""The soonest plan by a moment, where nothing else of the plan is asked for.

What else could be done is told by its finish and its first act; no act of it is told what
would come of a later start. So the search need not look past a finish already known to be
in reach: an hourly grid shows one, and all slots are searched up to that. All futures count
in both, and the answer is the one that `Problem.solve` gives.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from monitor.core.cure.plan_problem import HOURLY, Problem, with_wishes
from monitor.core.cure.plan_search import Field, Found, search


def soonest(asked: Problem, limit_s: float = math.inf) -> tuple[Found, Field] | None:
    """The best plan among those that are done by `limit_s`, None where there is none."""
    if asked.wishes.mode == "latest" or asked.wishes in asked.solved:
        solved = asked.solve()
        return solved if solved is not None and solved[0].finish_s <= limit_s else None
    rough = _done_by(asked, limit_s, HOURLY)
    if rough is not None:
        return _done_by(asked, rough[0].finish_s, 1)
    # Windows of less than an hour may lie between the hours.
    if math.isinf(limit_s):
        return asked.solve() if asked.can_be_done_at_all() else None
    return _done_by(asked, limit_s, 1)


def _done_by(asked: Problem, limit_s: float, every: int) -> tuple[Found, Field] | None:
    """The best plan done by a moment with acts in every so-manieth free slot alone."""
    own_s = math.inf if asked.wishes.deadline_s is None else asked.wishes.deadline_s
    limit_s = min(limit_s, own_s)
    wishes = replace(asked.wishes, deadline_s=None if math.isinf(limit_s) else limit_s)
    tried = with_wishes(asked, wishes)
    reach = tried.reach()
    ground, stands = tried.look(tried.ground(_within(tried, reach), reach, every))
    found = search(tried.work.blocks, ground, stands)
    return None if found is None else (found, ground)


def _within(tried: Problem, reach: int) -> list[int]:
    """Slots ahead past which the pour that ends each block comes too late for the deadline.

    Told backward, hour by hour: the last pour is then ready too late, each before it comes
    to the next pour's window too late.
    """
    blocks = tried.work.blocks
    spans = [reach] * len(blocks)
    slots = tried.slots(reach)
    if len(blocks) == 1 or tried.wishes.deadline_s is None or not slots.size:
        return spans
    hourly = np.append(slots[::HOURLY], slots[-1])
    fits = tried.ready_s(len(blocks) - 1, hourly) <= tried.wishes.deadline_s
    for block in range(len(blocks) - 1, 0, -1):
        if not fits.any():
            return [0] * len(blocks)
        last = min(int(np.flatnonzero(fits)[-1]) + 1, hourly.size - 1)
        spans[block - 1] = int(hourly[last]) - tried.bench.first + 1
        hourly = hourly[: last + 1]
        pour = blocks[block - 1].pour
        if block > 1 and pour is not None and pour.window is not None:
            fits = tried.opens(block - 1, pour.window, hourly) <= hourly[-1]
    return spans
