"""The search for start times: exact, by dynamic programming over pours.

Acts are done in order. Each has a window of the layer below it, which hangs on when that
layer was poured and on nothing else; so what follows a pour depends on its slot alone.
A block is what lies between two pours: its moments and work, then the next pour.

What is optimal, in this order: every act meets its window in enough futures, begins and
ends with hands free, in order, before the deadline, each pour where the room suits it; then
the piece is done soonest (mode "latest": the first pour still to come starts latest, then
done soonest); then the sum of the acts' chances is greatest; then acts are earliest (mode
"latest": latest).

The piece is done when the last act ends and each layer is ready in enough futures. A later
pour is never ready sooner, so a search of pours within a horizon has found the best once it
is done no later than a last pour just past that horizon would be.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from monitor.core.vocabulary import FloatArray

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Task:
    """One act to place: how long it takes, and a name for its window (None: none)."""

    name: str
    minutes: float
    window: str | None


@dataclass(frozen=True)
class Block:
    """Acts after one pour: `tasks` in order, then the next `pour` (None after the last)."""

    tasks: tuple[Task, ...]
    pour: Task | None


@dataclass(frozen=True, eq=False)
class Field:
    """Where acts may stand: instants `at_s` (n,), hands free until `free_s` (n,) from each.

    The acts of block b stand on the first `widths[b]` of them. `hits(block, window, rows,
    width)` counts the futures (rows, width), of `paths`, in which an act at each of the first
    `width` instants meets the window of a layer poured at each of the instants `rows`; block 0
    has one row, row 0. `meets` says alike where they are enough. `suits(block, places)` says
    where the room suits the pour that ends a block, (places,). `ready_s(block, rows)` is when
    the layer below a block is ready in enough.
    """

    at_s: FloatArray
    free_s: FloatArray
    widths: tuple[int, ...]
    begin_s: float
    enough: int
    paths: int
    meets: Callable[[int, str, IntArray, int], BoolArray]
    hits: Callable[[int, str, IntArray, int], IntArray]
    suits: Callable[[int, IntArray], BoolArray]
    ready_s: Callable[[int, IntArray], FloatArray]
    deadline_s: float = math.inf
    latest: bool = False


@dataclass(eq=False)
class Stand:
    """One block as far as it can be reached, one row a pour that it may stand on.

    `allowed` holds one array (rows, instants) a task, the next pour's last, order kept;
    `ends_s` (rows,) is when the tasks are over at the soonest, `done_s` the finish.
    """

    rows: IntArray
    begin_s: FloatArray
    ready_s: FloatArray
    allowed: list[BoolArray]
    ends_s: FloatArray
    done_s: FloatArray


@dataclass(frozen=True)
class Found:
    """Places of all acts in order (the tasks of block 0, its pour, ...) and the finish.

    `hits` holds for each act the futures hit at each instant, (instants,), its layer poured
    as planned.
    """

    places: tuple[int, ...]
    finish_s: float
    hits: tuple[IntArray, ...] = field(default=(), compare=False, repr=False)
    stands: tuple[Stand, ...] = field(default=(), compare=False, repr=False)


def search(blocks: Sequence[Block], ground: Field, surveyed: Sequence[Stand]) -> Found | None:
    """The best places for every act by the `survey` of the ground, None where none will do."""
    stands = list(surveyed)
    if not reaches_the_end(blocks, stands):
        return None
    limit_s = float(stands[0].done_s[0])
    if ground.latest and blocks[0].pour is not None:
        fits = stands[0].allowed[-1][0, stands[1].rows] & np.isfinite(stands[1].done_s)
        last = int(np.flatnonzero(fits)[-1])
        limit_s = max(float(stands[0].ready_s[0]), float(stands[1].done_s[last]))
        stands[1] = _of_rows(stands[1], np.array([last]))
    places, hits = _best(blocks, ground, stands, limit_s)
    return Found(places, limit_s, hits, tuple(surveyed))


def reaches_the_end(blocks: Sequence[Block], stands: Sequence[Stand]) -> bool:
    """Whether a survey found any way through all blocks."""
    return len(stands) == len(blocks) and math.isfinite(stands[0].done_s[0])


def survey(blocks: Sequence[Block], ground: Field) -> list[Stand]:
    """Forward, what can be reached at all; then backward, the soonest finish from there.

    Shorter than `blocks` where some pour can never be reached.
    """
    stands: list[Stand] = []
    rows = np.array([0])
    for index in range(len(blocks)):
        stands.append(_stand(blocks, index, rows, ground))
        if blocks[index].pour is not None:
            rows = np.flatnonzero(stands[-1].allowed[-1].any(axis=0))
            rows = rows[ground.ready_s(index + 1, rows) <= ground.deadline_s]
            if not rows.size:
                return stands
    for index in range(len(blocks) - 1, -1, -1):
        stand = stands[index]
        after_s = stand.ends_s
        if blocks[index].pour is not None:
            after_s = _soonest_after(stand.allowed[-1], stands[index + 1])
        finish_s = np.maximum(after_s, stand.ready_s)
        stand.done_s = np.where(finish_s <= ground.deadline_s, finish_s, math.inf)
    return stands


def _soonest_after(allowed: BoolArray, following: Stand) -> FloatArray:
    """The soonest finish over the pours allowed to each row, inf where none leads to one."""
    after_s = np.full(allowed.shape[0], math.inf)
    done = np.flatnonzero(np.isfinite(following.done_s))
    if done.size:
        done = done[np.argsort(following.done_s[done], kind="stable")]
        reach = allowed.take(following.rows[done], axis=1)
        first = reach.argmax(axis=1)
        found = reach[np.arange(first.size), first]
        after_s[found] = following.done_s[done[first[found]]]
    return after_s


def _stand(blocks: Sequence[Block], index: int, rows: IntArray, ground: Field) -> Stand:
    block = blocks[index]
    begin_s = np.array([ground.begin_s])
    if index > 0:
        pour = blocks[index - 1].pour
        begin_s = ground.at_s[rows] + 60.0 * (0.0 if pour is None else pour.minutes)
    stand = Stand(rows, begin_s, ground.ready_s(index, rows), [], begin_s, np.empty(0))
    width = ground.widths[index]
    for task in block.tasks:
        allowed = _meet(task, index, stand, ground, width)
        place = allowed.argmax(axis=1)
        found = allowed[np.arange(rows.size), place]
        over_s = ground.at_s[place] + 60.0 * task.minutes
        stand.ends_s = np.where(found, over_s, math.inf)
    if block.pour is not None:
        allowed = _meet(block.pour, index, stand, ground, width)
        places = np.flatnonzero(allowed.any(axis=0))
        suited = ground.suits(index, places)
        if not suited.all():
            fits = np.zeros(width, dtype=np.bool_)
            fits[places] = suited
            allowed &= fits[None, :]
    return stand


def _meet(task: Task, index: int, stand: Stand, ground: Field, width: int) -> BoolArray:
    """Where a task may begin, (rows, instants); noted on the stand."""
    at_s = ground.at_s[:width]
    free = at_s + 60.0 * task.minutes <= ground.free_s[:width]
    allowed = from_place(np.searchsorted(at_s, stand.ends_s), width)
    allowed &= free[None, :]
    if task.window is not None:
        allowed &= ground.meets(index, task.window, stand.rows, width)
    stand.allowed.append(allowed)
    return allowed


def from_place(first: IntArray, width: int) -> BoolArray:
    """True from each row's first place on, (rows, width)."""
    # Small numbers are compared several at a time; a field has some thousand places.
    return np.asarray(np.arange(width, dtype=np.int16) >= first.astype(np.int16)[:, None])


def _of_rows(stand: Stand, keep: IntArray) -> Stand:
    return Stand(
        stand.rows[keep],
        stand.begin_s[keep],
        stand.ready_s[keep],
        [allowed[keep] for allowed in stand.allowed],
        stand.ends_s[keep],
        stand.done_s[keep],
    )


def _best(
    blocks: Sequence[Block], ground: Field, stands: Sequence[Stand], limit_s: float
) -> tuple[tuple[int, ...], tuple[IntArray, ...]]:
    """The places of greatest summed chance among all that finish by the limit; their hits."""
    kept = [_of_rows(stand, np.flatnonzero(stand.done_s <= limit_s)) for stand in stands]
    counted = [_counts(block, n, kept[n], ground) for n, block in enumerate(blocks)]
    chains: list[list[FloatArray]] = [[] for _ in blocks]
    after = np.empty(0)
    for index in range(len(blocks) - 1, -1, -1):
        following = kept[index + 1].rows if blocks[index].pour is not None else np.empty(0, int)
        chains[index] = _chain(
            blocks[index], kept[index], counted[index], following, after, ground, limit_s
        )
        after = chains[index][-1].max(axis=1) if chains[index] else np.zeros(kept[index].rows.size)
    places: list[int] = []
    hits: list[IntArray] = []
    row = 0
    for index, block in enumerate(blocks):
        hits += [np.array(counts[row]) for counts in counted[index]]
        chain = [worth[row] for worth in chains[index]]
        before_s = math.inf
        own: list[int] = []
        if block.pour is not None:
            row = _pick(chain[-1], ground.latest)
            own.append(int(kept[index + 1].rows[row]))
            before_s = float(ground.at_s[own[0]])
        for place in range(len(block.tasks) - 1, -1, -1):
            at_s = ground.at_s[: chain[place].size]
            over = at_s + 60.0 * block.tasks[place].minutes <= before_s + 1e-6
            own.append(_pick(np.where(over, chain[place], -math.inf), ground.latest))
            before_s = float(at_s[own[-1]])
        places += own[::-1]
    return tuple(places), tuple(hits)


def _counts(block: Block, index: int, stand: Stand, ground: Field) -> list[IntArray]:
    """Futures hit by each task and the next pour, (rows, instants) each."""
    found: list[IntArray] = []
    tasks = block.tasks if block.pour is None else (*block.tasks, block.pour)
    for task, allowed in zip(tasks, stand.allowed, strict=True):
        if task.window is None:
            found.append(np.broadcast_to(np.int64(ground.paths), allowed.shape))
        else:
            found.append(ground.hits(index, task.window, stand.rows, allowed.shape[1]))
    return found


def _chain(
    block: Block,
    stand: Stand,
    counted: Sequence[IntArray],
    following: IntArray,
    after: FloatArray,
    ground: Field,
    limit_s: float,
) -> list[FloatArray]:
    """Greatest summed chance up to and with each task at each instant, (rows, n) each.

    The last array is of the next pour: (rows, following), with all that comes after it.
    """
    chain: list[FloatArray] = []
    base: FloatArray | None = None
    for task, hits, allowed in zip(block.tasks, counted, stand.allowed, strict=False):
        at_s = ground.at_s[: allowed.shape[1]]
        in_time = allowed & (at_s + 60.0 * task.minutes <= limit_s)[None, :]
        worth = np.where(in_time, hits if base is None else base + hits, -math.inf)
        chain.append(worth)
        best = np.maximum.accumulate(worth, axis=1)
        count = np.searchsorted(at_s, at_s - 60.0 * task.minutes + 1e-6)
        base = np.where(count > 0, best[:, np.maximum(count - 1, 0)], -math.inf)
    if block.pour is not None:
        worth = np.where(stand.allowed[-1][:, following], counted[-1][:, following], -math.inf)
        if base is not None:
            worth = worth + base[:, following]
        chain.append(worth + after[None, :])
    return chain


def _pick(worth: FloatArray, latest: bool) -> int:
    return worth.size - 1 - int(worth[::-1].argmax()) if latest else int(worth.argmax())
