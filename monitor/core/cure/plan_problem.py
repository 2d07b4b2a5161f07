"""A recipe, what is done of it, and wishes, as blocks of acts on the grid."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from monitor.core.cure.plan_air import lay_out
from monitor.core.cure.plan_clock import (
    ACTS_WITHIN_SLOTS,
    DAY_SLOTS,
    SLOT_S,
    Bench,
    IntArray,
    LayerClock,
    layer_clock,
)
from monitor.core.cure.plan_grid import folded
from monitor.core.cure.plan_room import needed, suits
from monitor.core.cure.plan_search import (
    BoolArray,
    Field,
    Found,
    Stand,
    from_place,
    reaches_the_end,
    search,
    survey,
)
from monitor.core.cure.plan_values import Done
from monitor.core.cure.plan_work import Act as Act
from monitor.core.cure.plan_work import Work, work_left
from monitor.core.cure.recipe import MOMENT_WINDOWS, NEED_WINDOWS, Recipe
from monitor.core.cure.wishes import LocalOffset, Wishes, hands_free_until
from monitor.core.vocabulary import FloatArray

Windows = tuple[tuple[str, str | None], ...]

FEW_BLOCKS = 4
HOURLY = 6
HORIZONS = (3 * DAY_SLOTS, 7 * DAY_SLOTS, ACTS_WITHIN_SLOTS)


@dataclass(eq=False)
class Problem:
    """The work on its bench, under one set of wishes.

    What was found for a set of wishes is shared by all problems that differ in these alone.
    """

    work: Work
    bench: Bench
    wishes: Wishes
    now_s: float
    local_offset_s: LocalOffset
    layers: Mapping[str, LayerClock]
    solved: dict[Wishes, tuple[Found, Field] | None] = field(default_factory=dict, repr=False)
    surveyed: dict[Wishes, tuple[Field, list[Stand]]] = field(default_factory=dict, repr=False)

    @property
    def enough(self) -> int:
        """How many futures must meet a window."""
        return max(math.ceil(self.wishes.probability * self.bench.paths - 1e-9), 1)

    def solve(self) -> tuple[Found, Field] | None:
        """The best plan, within the shortest horizon that shows it to be the best."""
        if self.wishes not in self.solved:
            self.solved[self.wishes] = self._solved()
        return self.solved[self.wishes]

    def _solved(self) -> tuple[Found, Field] | None:
        longest = self.reach()
        # A piece of many pours never fits into the shortest.
        spans = HORIZONS if len(self.work.blocks) <= FEW_BLOCKS else HORIZONS[1:]
        for span in [*(span for span in spans if span < longest), longest]:
            if self.wishes.mode == "latest" and span < longest:
                continue
            ground, stands = self._looked(span, longest)
            found = search(self.work.blocks, ground, stands)
            if found is not None and (span == longest or found.finish_s <= self._beyond_s(span)):
                return found, ground
        return None

    def can_be_done(self) -> bool:
        """Whether there is any plan at all."""
        known = self.wishes in self.surveyed
        return (not known and self.can_be_done_hourly()) or self.can_be_done_at_all()

    def can_be_done_hourly(self) -> bool:
        """Whether there is a plan on every sixth free slot alone: soon told."""
        longest = self.reach()
        _, stands = self.look(self.ground([longest] * len(self.work.blocks), longest, HOURLY))
        return reaches_the_end(self.work.blocks, stands)

    def can_be_done_at_all(self) -> bool:
        """Whether there is any plan, where one on whole hours was not found."""
        return reaches_the_end(self.work.blocks, self.whole()[1])

    def whole(self) -> tuple[Field, list[Stand]]:
        """All the ground there is, and the survey of it."""
        return self._looked(self.reach(), self.reach())

    def _looked(self, span: int, longest: int) -> tuple[Field, list[Stand]]:
        if span == longest and self.wishes in self.surveyed:
            return self.surveyed[self.wishes]
        looked = self.look(self.ground([span] * len(self.work.blocks), longest))
        if span == longest:
            self.surveyed[self.wishes] = looked
        return looked

    def look(self, ground: Field) -> tuple[Field, list[Stand]]:
        """A ground with its survey: where hands are never free, no block can be reached."""
        if not ground.at_s.size and any(self.work.acts):
            return ground, []
        return ground, survey(self.work.blocks, ground)

    def reach(self) -> int:
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
        ends = [*_offset_changes(at_s, self.local_offset_s), at_s.size]
        parts, begin = [], 0
        for end in ends:
            offset_s = _offset_s(self.local_offset_s, float(at_s[begin]))
            until_s = hands_free_until(at_s[begin:end], self.wishes, offset_s)
            if end < at_s.size:
                # Hours that run past a change of the clocks end by the new ones.
                later_s = offset_s - _offset_s(self.local_offset_s, float(at_s[end]))
                until_s = np.where(until_s > at_s[end], until_s + later_s, until_s)
            parts.append(until_s)
            begin = end
        return np.concatenate(parts)

    def ground(self, spans: Sequence[int], longest: int, every: int = 1) -> Field:
        """The field on which each block stands within its span of slots, the last within all.

        `every`: on each slot in which hands are free, or on each so-manieth of them alone.
        """
        slots = self.slots(longest)[::every]
        at_s = self.bench.at_s[slots]
        widths = np.searchsorted(slots, self.bench.first + np.array(spans))
        widths[-1] = slots.size

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
            widths=tuple(widths.tolist()),
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

    def opens(self, block: int, window: str, slots: IntArray) -> IntArray:
        """First slot at which a window can be open in enough futures, by pour slot, (rows,)."""
        clock, rows = self.layer(block), self.rows(block, slots)
        found = [
            self.bench.ranked(clock, opens, rows, self.enough)
            for opens, _ in self.windows(block, window)
        ]
        return np.asarray(np.minimum.reduce(found))

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
                found |= from_place(open_by, slots.size)
                continue
            close_by = place[np.partition(left, late, axis=0)[late]]
            live = np.flatnonzero(open_by < close_by)
            if live.size:
                # Each row counted from its own first place on, as far as the widest goes.
                begin, wide = open_by[live], int((close_by - open_by)[live].max())
                opened, left = place[opened[:, live]] - begin, place[left[:, live]] - begin
                counts = _counted(np.clip(opened, 0, wide), np.clip(left, 0, wide), wide)
                row, at = np.nonzero(counts >= self.enough)
                found[live[row], begin[row] + at] = True
        return found

    def suited(self, block: int, slots: IntArray) -> BoolArray:
        """Where the room suits the pour that ends a block in enough futures, (slots,)."""
        if not self.wishes.within_limits:
            return np.ones(slots.size, dtype=np.bool_)
        lay_out(self.bench, self.layers.values(), 0)
        # Past the forecast the days are alike: asked of one whose day before is like it too.
        here, _ = folded(slots, self.bench.degree_slots.laid + DAY_SLOTS)
        once, where = np.unique(here, return_inverse=True)
        fit = np.count_nonzero(suits(self.bench, self.layer(block + 1), once), axis=0)
        return np.asarray(fit >= self.need_of_room)[where]

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
        return self.times_s(self.bench.ranked(layer, _ready_stage(layer), rows, self.enough))

    def ready_slots(self, layer: LayerClock, rows: FloatArray) -> IntArray:
        """First slot in which each path's layer is cured (a paint: fit for a coat)."""
        return self.bench.reached(layer, _ready_stage(layer), rows)

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


def _ready_stage(layer: LayerClock) -> str:
    return "full_cure" if "full_cure" in layer.places_h else "overcoat_ready"


def _offset_s(local_offset_s: LocalOffset, at_s: float) -> float:
    return local_offset_s(at_s) if callable(local_offset_s) else local_offset_s


def _offset_changes(at_s: FloatArray, local_offset_s: LocalOffset) -> list[int]:
    """The instants from which local time is another hour ahead, if any: a zone's summer time.

    Asked for each day, and closer only within a day in which it changes.
    """
    if not callable(local_offset_s):
        return []
    found: list[int] = []
    for begin in range(0, at_s.size - 1, DAY_SLOTS):
        low, high = begin, min(begin + DAY_SLOTS, at_s.size - 1)
        before_s = local_offset_s(float(at_s[low]))
        if local_offset_s(float(at_s[high])) == before_s:
            continue
        while high - low > 1:
            middle = (low + high) // 2
            if local_offset_s(float(at_s[middle])) == before_s:
                low = middle
            else:
                high = middle
        found.append(high)
    return found


def _counted(opened: IntArray, left: IntArray, wide: int) -> IntArray:
    """How many intervals (paths, rows) of places hold each place, (rows, wide)."""
    rows = opened.shape[1]
    lines = np.arange(rows) * (wide + 1)
    change = np.bincount((opened + lines).ravel(), minlength=rows * (wide + 1))
    change -= np.bincount((left + lines).ravel(), minlength=rows * (wide + 1))
    return np.asarray(np.cumsum(change.reshape(rows, wide + 1)[:, :-1], axis=1))
