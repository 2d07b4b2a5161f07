"""A recipe, what is done of it, and wishes, as blocks of acts on the grid."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from monitor.core.cure.plan_clock import (
    ACTS_WITHIN_SLOTS,
    DAY_SLOTS,
    SLOT_S,
    Bench,
    IntArray,
    LayerClock,
    layer_clock,
)
from monitor.core.cure.plan_room import needed, suits
from monitor.core.cure.plan_search import (
    Block,
    BoolArray,
    Field,
    Found,
    Stand,
    Task,
    reaches_the_end,
    search,
    survey,
)
from monitor.core.cure.plan_values import ActKind, Done
from monitor.core.cure.recipe import MOMENT_WINDOWS, NEED_WINDOWS, Moment, Recipe, Step
from monitor.core.cure.wishes import LocalOffset, Wishes, hands_free_until
from monitor.core.vocabulary import FloatArray

Windows = tuple[tuple[str, str | None], ...]

FEW_BLOCKS = 4
HORIZONS = (3 * DAY_SLOTS, 7 * DAY_SLOTS, ACTS_WITHIN_SLOTS)


@dataclass(frozen=True)
class Act:
    """One act still to come: of which step, and the name of its window."""

    step: Step
    what: ActKind
    name: str
    minutes: float
    window: str | None


@dataclass(frozen=True)
class Work:
    """What is still to do, in blocks. `layers[b]` is the step whose layer block b stands on.

    `poured_s` is when the layer under block 0 was poured, None where there is none.
    """

    blocks: tuple[Block, ...]
    acts: tuple[tuple[Act, ...], ...]
    layers: tuple[Step | None, ...]
    poured_s: float | None
    below: Done | None
    earlier: tuple[tuple[Step, float], ...]


def work_left(recipe: Recipe, done: Sequence[Done]) -> Work:
    """The acts still to come, in order, cut into blocks at each pour."""
    marks = {mark.step: mark for mark in done}
    items = _items(recipe)
    last = max(
        (n for n, (act, _) in enumerate(items) if _is_start(act) and act.step.key in marks),
        default=-1,
    )
    poured = [
        act.step for act, _ in items[: last + 1] if act.what == "pour" and act.step.key in marks
    ]
    pending = [
        act
        for act, owners in items[last + 1 :]
        if _is_start(act) or not any(act.what in marks[o].moments for o in owners if o in marks)
    ]
    groups: list[list[Act]] = [[]]
    for act in pending:
        groups[-1].append(act)
        if act.what == "pour":
            groups.append([])
    layers: list[Step | None] = [poured[-1] if poured else None]
    layers += [group[-1].step for group in groups[:-1]]
    below = marks[poured[-1].key] if poured else None
    return Work(
        blocks=tuple(_block(group) for group in groups),
        acts=tuple(tuple(group) for group in groups),
        layers=tuple(layers),
        poured_s=None if below is None else below.at_s,
        below=below,
        earlier=tuple((step, marks[step.key].at_s) for step in poured),
    )


@dataclass(eq=False)
class Problem:
    """The work on its bench, under one set of wishes."""

    work: Work
    bench: Bench
    wishes: Wishes
    now_s: float
    local_offset_s: LocalOffset
    layers: Mapping[str, LayerClock]
    looked_through: tuple[Field, list[Stand]] | None = field(default=None, init=False, repr=False)

    @property
    def enough(self) -> int:
        """How many futures must meet a window."""
        return max(math.ceil(self.wishes.probability * self.bench.paths - 1e-9), 1)

    def solve(self) -> tuple[Found, Field] | None:
        """The best plan, within the shortest horizon that shows it to be the best."""
        longest = self._reach()
        # A piece of many pours never fits into the shortest.
        spans = HORIZONS if len(self.work.blocks) <= FEW_BLOCKS else HORIZONS[1:]
        for span in [*(span for span in spans if span < longest), longest]:
            if self.wishes.mode == "latest" and span < longest:
                continue
            ground = self.ground(span, longest)
            if not ground.at_s.size and any(self.work.acts):
                continue
            stands = survey(self.work.blocks, ground)
            found = search(self.work.blocks, ground, stands)
            if span == longest:
                self.looked_through = ground, stands
            if found is not None and (span == longest or found.finish_s <= self._beyond_s(span)):
                return found, ground
        return None

    def can_be_done(self) -> bool:
        """Whether there is any plan at all."""
        ground, stands = self.whole()
        if not ground.at_s.size and any(self.work.acts):
            return False
        return reaches_the_end(self.work.blocks, stands)

    def whole(self) -> tuple[Field, list[Stand]]:
        """All the ground there is, and the survey of it."""
        if self.looked_through is None:
            longest = self._reach()
            ground = self.ground(longest, longest)
            self.looked_through = ground, survey(self.work.blocks, ground)
        return self.looked_through

    def _reach(self) -> int:
        """How many slots ahead may bear an act at most."""
        deadline_s = self.wishes.deadline_s
        if deadline_s is None:
            return ACTS_WITHIN_SLOTS
        until = int((deadline_s - self.bench.at_s[self.bench.first]) / SLOT_S) + 1
        return max(min(ACTS_WITHIN_SLOTS, until), 0)

    def _beyond_s(self, span: int) -> float:
        """The soonest finish of a plan whose last pour lies past `span` slots."""
        last = self.bench.first + span
        if len(self.work.blocks) == 1:
            return math.inf  # no pour is left
        if self.wishes.done_when == "hands_off":
            return float(self.bench.at_s[last])
        final = self.layer(len(self.work.blocks) - 1)
        ready_s = float(self._ready_s(final, np.array([float(last)]))[0])
        return max(ready_s, float(self.bench.at_s[last]))

    def slots(self, span: int) -> IntArray:
        """Slots ahead in which hands are free, (n,)."""
        first = self.bench.first
        return first + np.flatnonzero(np.isfinite(self.free_s[:span]))

    @cached_property
    def free_s(self) -> FloatArray:
        """Until when hands are free from each slot ahead [s]; -inf where they are not."""
        first = self.bench.first
        at_s = self.bench.at_s[first : first + ACTS_WITHIN_SLOTS + 1]
        return hands_free_until(at_s, self.wishes, self.local_offset_s)

    def ground(self, span: int, longest: int) -> Field:
        """The field on which pours within `span` slots, and what follows the last, may stand."""
        slots = self.slots(longest)
        at_s = self.bench.at_s[slots]
        pours = int(np.searchsorted(slots, self.bench.first + span))

        def meets(block: int, window: str, rows: IntArray, width: int) -> BoolArray:
            return self.meets(block, window, self.rows(block, slots[rows]), slots[:width])

        def hits(block: int, window: str, rows: IntArray, width: int) -> IntArray:
            return self.count(block, window, self.rows(block, slots[rows]), slots[:width])

        def suited(block: int, places: IntArray) -> BoolArray:
            return self.suited(block, slots[places])

        def ready_s(block: int, rows: IntArray) -> FloatArray:
            # Block 0 stands on what is poured already, whether hands are ever free or not.
            return self.ready_s(block, slots[rows] if block > 0 else rows)

        return Field(
            at_s=at_s,
            free_s=self.free_s[slots - self.bench.first],
            pours=pours,
            begin_s=self.now_s,
            enough=self.enough,
            paths=self.bench.paths,
            meets=meets,
            hits=hits,
            suits=suited,
            ready_s=ready_s,
            deadline_s=math.inf if self.wishes.deadline_s is None else self.wishes.deadline_s,
            latest=self.wishes.mode == "latest",
        )

    def rows(self, block: int, slots: IntArray) -> FloatArray:
        """Slots of the pour that a block stands on: the one done, or the ones asked for."""
        if block > 0:
            return slots.astype(np.float64)
        poured_s = self.work.poured_s
        return np.array([0.0 if poured_s is None else self.bench.slot(poured_s)])

    def layer(self, block: int) -> LayerClock:
        """The layer that a block stands on. Raises ValueError where there is none."""
        step = self.work.layers[block]
        if step is None:
            raise ValueError("The first acts of this piece have no layer under them.")
        return self.layers[step.key]

    def windows(self, block: int, window: str) -> Windows:
        """What a window's name means for the layer that a block stands on."""
        if window in NEED_WINDOWS:
            return NEED_WINDOWS[window]
        return (MOMENT_WINDOWS[window, self.layer(block).clock.profile.kind],)

    def edges(
        self, block: int, opens: str, closes: str | None, rows: FloatArray
    ) -> tuple[IntArray, IntArray]:
        """First slot within and first slot past a window, each (paths, rows)."""
        clock = self.layer(block)
        known = self.work.below.reached if block == 0 and self.work.below is not None else {}
        shape = (self.bench.paths, rows.size)
        if opens in known:
            opened = np.full(shape, math.ceil(self.bench.slot(known[opens])))
        else:
            opened = self.bench.reached(clock, opens, rows)
        if closes is None:
            left = np.full(shape, self.bench.at_s.size)
        elif closes in known:
            left = np.full(shape, math.floor(self.bench.slot(known[closes])) + 1)
        else:
            left = self.bench.left(clock, closes, rows)
        return opened, np.maximum(left, opened)

    def count(self, block: int, window: str, rows: FloatArray, slots: IntArray) -> IntArray:
        """Futures in which an act at each slot meets the window, (rows, slots)."""
        counts: list[IntArray] = []
        place = np.searchsorted(slots, np.arange(self.bench.at_s.size + 1))
        for opens, closes in self.windows(block, window):
            opened, left = self.edges(block, opens, closes, rows)
            counts.append(_counted(place[opened], place[left], slots.size))
        return np.asarray(np.maximum.reduce(counts))

    def meets(self, block: int, window: str, rows: FloatArray, slots: IntArray) -> BoolArray:
        """Where an act meets the window in enough futures, (rows, slots)."""
        found = np.zeros((rows.size, slots.size), dtype=np.bool_)
        place = np.searchsorted(slots, np.arange(self.bench.at_s.size + 1))
        late = self.bench.paths - self.enough
        for opens, closes in self.windows(block, window):
            opened, left = self.edges(block, opens, closes, rows)
            # Enough must have opened, and as many not yet have closed: told without counting.
            open_by = place[np.partition(opened, self.enough - 1, axis=0)[self.enough - 1]]
            if closes is None:
                found |= np.arange(slots.size)[None, :] >= open_by[:, None]
                continue
            live = open_by < place[np.partition(left, late, axis=0)[late]]
            if live.any():
                counts = _counted(place[opened[:, live]], place[left[:, live]], slots.size)
                found[live] |= counts >= self.enough
        return found

    def suited(self, block: int, slots: IntArray) -> BoolArray:
        """Where the room suits the pour that ends a block in enough futures, (slots,)."""
        if not self.wishes.within_limits:
            return np.ones(slots.size, dtype=np.bool_)
        fit = np.count_nonzero(suits(self.bench, self.layer(block + 1), slots), axis=0)
        return np.asarray(fit >= self.need_of_room)

    @property
    def need_of_room(self) -> int:
        """How many futures must have the room suit a pour."""
        return needed(self.enough, self.bench.paths)

    def ready_s(self, block: int, slots: IntArray) -> FloatArray:
        """When the layer under a block is ready in enough futures [s], (rows,)."""
        if self.wishes.done_when == "hands_off":
            return np.full(1 if block == 0 else slots.size, -math.inf)
        if block > 0:
            return self._ready_s(self.layer(block), slots.astype(np.float64))
        ready = [
            float(self._ready_s(self.layers[step.key], np.array([self.bench.slot(at_s)]))[0])
            for step, at_s in self.work.earlier
        ]
        return np.array([max(ready, default=-math.inf)])

    def _ready_s(self, layer: LayerClock, rows: FloatArray) -> FloatArray:
        at = self.ready_slots(layer, rows)
        ranked = np.partition(at, self.enough - 1, axis=0)[self.enough - 1]
        return self.times_s(ranked)

    def ready_slots(self, layer: LayerClock, rows: FloatArray) -> IntArray:
        """First slot in which each path's layer is cured (a paint: fit for a coat)."""
        stage = "full_cure" if "full_cure" in layer.places_h else "overcoat_ready"
        return self.bench.reached(layer, stage, rows)

    def times_s(self, slots: IntArray) -> FloatArray:
        """Instants of slots [s]; inf past the end of sight."""
        seen = slots < self.bench.at_s.size
        at_s = self.bench.at_s[np.minimum(slots, self.bench.at_s.size - 1)]
        return np.where(seen, at_s, math.inf)


def problem(
    recipe: Recipe,
    done: Sequence[Done],
    bench: Bench,
    wishes: Wishes,
    now_s: float,
    local_offset_s: LocalOffset,
) -> Problem:
    """The problem of one recipe; layers of equal resin and size share their places."""
    same: dict[tuple[object, ...], LayerClock] = {}
    layers: dict[str, LayerClock] = {}
    for step in recipe.steps:
        if step.resin is None:
            continue
        key = (step.resin, step.depth_mm, step.area_cm2, step.volume_ml)
        if key not in same:
            same[key] = layer_clock(bench, step.resin, *key[1:])
        layers[step.key] = same[key]
    return Problem(work_left(recipe, done), bench, wishes, now_s, local_offset_s, layers)


def with_wishes(problem: Problem, wishes: Wishes) -> Problem:
    """The same work on the same bench under other wishes."""
    return replace(problem, wishes=wishes)


def _counted(opened: IntArray, left: IntArray, wide: int) -> IntArray:
    """How many intervals (paths, rows) of places hold each place, (rows, wide)."""
    rows = opened.shape[1]
    lines = np.arange(rows) * (wide + 1)
    change = np.bincount((opened + lines).ravel(), minlength=rows * (wide + 1))
    change -= np.bincount((left + lines).ravel(), minlength=rows * (wide + 1))
    return np.asarray(np.cumsum(change.reshape(rows, wide + 1)[:, :-1], axis=1))


def _items(recipe: Recipe) -> list[tuple[Act, tuple[str, ...]]]:
    """Every act of a recipe in order, with the steps whose marks may say it is done."""
    items: list[tuple[Act, tuple[str, ...]]] = []
    carried: list[tuple[Moment, str]] = []
    for step in recipe.steps:
        window = None if step.needs == "none" else step.needs
        what: ActKind = "work" if step.resin is None else "pour"
        items.append((Act(step, what, step.name, step.hands_on_min, window), (step.key,)))
        carried += [(moment, step.key) for moment in step.moments]
        if step.resin is None:
            continue
        for moment, owner in carried:
            act = Act(step, moment.kind, step.name, moment.hands_on_min, moment.kind)
            items.append((act, (step.key, owner)))
        carried = []
    return items


def _is_start(act: Act) -> bool:
    return act.what in ("pour", "work")


def _block(acts: Sequence[Act]) -> Block:
    tasks = [Task(f"{act.what} {act.step.key}", act.minutes, act.window) for act in acts]
    if acts and acts[-1].what == "pour":
        return Block(tuple(tasks[:-1]), tasks[-1])
    return Block(tuple(tasks), None)
