"""Every resin's clock on one grid of ten minutes, so that any pour start is a look-up.

Per path of the room ensemble the equivalent age is cumulated once; a layer poured in slot
s has come to a stage in the first slot t whose age is the stage's place further on. That
is exact up to the recoat window. Later stages (sanding, demoulding, full cure) ask for a
degree of cure too, which a cold room delays or forbids: there the delay by diffusion is
laid between a few pour starts (plan_lag.py). A pour's own heat is taken at the mean of the
room ahead, as a shift of its places. Past the forecast the room repeats its last day, and
so do all look-ups: they are made for the first of the days that are alike (plan_grid.py).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from monitor.core.cure.label import LabelClock
from monitor.core.cure.outlook import label_clock_of
from monitor.core.cure.plan_grid import DAY_SLOTS as DAY_SLOTS
from monitor.core.cure.plan_grid import SLOT_S as SLOT_S
from monitor.core.cure.plan_grid import IntArray as IntArray
from monitor.core.cure.plan_grid import Laid, Side, folded, lay
from monitor.core.cure.plan_lag import STARTS, WITH_DIFFUSION, lags
from monitor.core.cure.resin import cure_law
from monitor.core.cure.roomline import RoomLine, room_line
from monitor.core.cure.soundness import check, completed
from monitor.core.cure.warming import label_room, own_rise
from monitor.core.physics.aging import ZERO_C_IN_K, rate_factor
from monitor.core.physics.drying import drying_factor
from monitor.core.physics.kinetics import CureLaw
from monitor.core.vocabulary import (
    FloatArray,
    Layer,
    RateDraws,
    ResinProfile,
    RoomPaths,
    RoomSeries,
)

LookUps = tuple[IntArray, npt.NDArray[np.bool_]]

ACTS_WITHIN_SLOTS = 14 * DAY_SLOTS
SEEN_AHEAD_SLOTS = 28 * DAY_SLOTS
LONGEST_PAST_SLOTS = 14 * DAY_SLOTS
NEVER_DAMP_PCT = 75.0  # up to here air of any warmth is more than 3 K above its dew point

_HOUR_SLOTS = 6
_RISE_H = np.linspace(0.0, 72.0, 217)
_RISE_STEP_K = 0.25
_MEAN_OF_SLOTS = 3 * DAY_SLOTS
_ROUNDING_H = 1e-9


@dataclass(frozen=True, eq=False)
class Clock:
    """One resin on the grid: `age_h` of each path, rising; None for `law`: a paint."""

    profile: ResinProfile
    age_h: Laid
    pace: float
    law: CureLaw | None
    label: LabelClock
    scale: float


@dataclass(frozen=True, eq=False)
class LayerClock:
    """One layer to be poured: its resin's clock and its own places on it [h].

    `kept` remembers look-ups: slots of a stage (pour slots, paths), and which are known;
    `ranked` the same with the paths in order.
    """

    clock: Clock
    places_h: Mapping[str, float]
    kept: dict[tuple[str, str], LookUps] = field(default_factory=dict)
    ranked: dict[str, LookUps] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Bench:
    """The grid, the room on it, and the clocks of all resins in play.

    `at_s` (slots,); `first` is the first slot not before now; `degree_slots` is the room's
    temperature [C] summed over the slots before each, `damp_slots` its humidity [%] alike,
    None where that never comes near a limit.
    """

    at_s: FloatArray
    first: int
    degree_slots: Laid
    clocks: Mapping[str, Clock]
    notes: tuple[str, ...]
    damp_slots: Laid | None = None
    lags: dict[tuple[str, int], Mapping[str, FloatArray]] = field(default_factory=dict)
    rooms: dict[str, tuple[npt.NDArray[np.bool_], IntArray]] = field(default_factory=dict)
    airs: dict[tuple[int, int], tuple[FloatArray, FloatArray | None]] = field(default_factory=dict)

    @property
    def paths(self) -> int:
        """How many futures there are."""
        return int(self.degree_slots.total.shape[0])

    def slot(self, at_s: float) -> float:
        """A moment as a place on the grid, held within it."""
        return min(max((at_s - float(self.at_s[0])) / SLOT_S, 0.0), float(self.at_s.size - 1))

    def air(self, begin: int, end: int) -> tuple[FloatArray, FloatArray | None]:
        """Mean temperature [C] and humidity [%] of each slot of a stretch, (paths, slots).

        Rounded, that a room right at a limit is not past it by 1e-12.
        """
        if (begin, end) not in self.airs:
            damp = self.damp_slots
            self.airs[begin, end] = (
                self.degree_slots.each(begin, end).round(6),
                None if damp is None else damp.each(begin, end).round(6),
            )
        return self.airs[begin, end]

    def mean_c(self, begin: int, end: int) -> FloatArray:
        """Mean temperature of the room from one slot to another [C], (paths,)."""
        ends = self.degree_slots.at(np.array([begin, end]))
        return np.asarray((ends[:, 1] - ends[:, 0]) / (end - begin))

    def until_alike(self) -> Bench:
        """The same bench, in sight only as far as each day is not yet like the one before."""
        return replace(self, at_s=self.at_s[: self.degree_slots.laid + 1], rooms={}, airs={})

    def reached(self, layer: LayerClock, stage: str, rows: FloatArray) -> IntArray:
        """First slot in which each path has come to a stage, (paths, rows).

        `rows` are the slots of the pour, parts of a slot too. The number of slots stands
        for "not in sight".
        """
        return self._remembered(layer, stage, "left", rows)

    def left(self, layer: LayerClock, stage: str, rows: FloatArray) -> IntArray:
        """First slot past a stage that closes a window, (paths, rows)."""
        return self._remembered(layer, stage, "right", rows)

    def ranked(self, layer: LayerClock, stage: str, rows: FloatArray, rank: int) -> IntArray:
        """First slot in which so many paths have come to a stage, (rows,)."""
        whole = rows.astype(np.int64)
        if not np.array_equal(whole, rows):
            return np.asarray(np.sort(self._found(layer, stage, "left", rows), axis=0)[rank - 1])
        here, days = folded(whole, self._alike(layer))
        table = self._known(layer, stage, "left", here)
        if stage not in layer.ranked:
            layer.ranked[stage] = np.empty_like(table), np.zeros(table.shape[0], dtype=np.bool_)
        in_order, known = layer.ranked[stage]
        new = np.unique(here[~known[here]])
        if new.size:
            in_order[new] = np.sort(table[new], axis=1)
            known[new] = True
        return np.asarray(np.minimum(in_order[here, rank - 1] + DAY_SLOTS * days, self.at_s.size))

    def _remembered(self, layer: LayerClock, stage: str, side: Side, rows: FloatArray) -> IntArray:
        whole = rows.astype(np.int64)
        if not np.array_equal(whole, rows):
            return self._found(layer, stage, side, rows)
        here, days = folded(whole, self._alike(layer))
        found = self._known(layer, stage, side, here)[here]
        if days.any():
            found += DAY_SLOTS * days[:, None]
            np.minimum(found, self.at_s.size, out=found)
        return found.T

    def _alike(self, layer: LayerClock) -> int:
        """The pour slot from which on a pour a day later comes to everything a day later."""
        return max(layer.clock.age_h.laid, self.first + STARTS[-1] + DAY_SLOTS)

    def _known(self, layer: LayerClock, stage: str, side: Side, rows: IntArray) -> IntArray:
        """The look-ups of a stage, (pour slots, paths), these rows of them made for sure."""
        if (stage, side) not in layer.kept:
            size = self._alike(layer)
            empty = np.empty((size, self.paths), dtype=np.int64)
            layer.kept[stage, side] = (empty, np.zeros(size, dtype=np.bool_))
        table, known = layer.kept[stage, side]
        new = np.unique(rows[~known[rows]])
        if new.size:
            table[new] = self._found(layer, stage, side, new.astype(np.float64)).T
            known[new] = True
        return table

    def _found(self, layer: LayerClock, stage: str, side: Side, rows: FloatArray) -> IntArray:
        slack_h = _ROUNDING_H if side == "right" else -_ROUNDING_H
        age_h = layer.clock.age_h
        target_h = _age_at(age_h, rows) + (layer.places_h[stage] + slack_h)
        found = age_h.first(target_h, side)
        if stage in WITH_DIFFUSION and layer.clock.law is not None:
            found += self._lag(layer.clock, layer.clock.law, stage, rows)
        return np.minimum(found, self.at_s.size)

    def _lag(self, clock: Clock, law: CureLaw, stage: str, rows: FloatArray) -> IntArray:
        """Slots by which diffusion delays a stage, (paths, rows)."""
        starts = np.array([self.first + s for s in STARTS])
        earliest = int(rows.min())
        if earliest < self.first:
            starts = np.concatenate(([earliest], starts))
        key = (clock.profile.key, int(starts[0]))
        if key not in self.lags:
            self.lags[key] = lags(
                law, clock.label, clock.age_h, self.degree_slots, starts, self.at_s.size
            )
        late = self.lags[key][stage]
        right = np.clip(np.searchsorted(starts, rows), 1, starts.size - 1)
        share = np.clip((rows - starts[right - 1]) / (starts[right] - starts[right - 1]), 0.0, 1.0)
        slots = late[:, right - 1] * (1.0 - share) + late[:, right] * share
        return np.asarray(np.ceil(slots - 1e-6).astype(np.int64))


def bench(
    profiles: Mapping[str, ResinProfile],
    future: RoomPaths,
    past: RoomSeries,
    draws: Mapping[str, RateDraws],
    begin_s: float,
    now_s: float,
) -> Bench:
    """Lay the room and the clocks of these resins on the grid, from `begin_s` on.

    Raises ValueError for a resin without draws, or numbers that make no sense.
    """
    begin_s = max(min(begin_s, now_s), now_s - LONGEST_PAST_SLOTS * SLOT_S)
    rooms = future.temp_c.shape[0] if future.temp_c.ndim == 2 else 0
    sizes = [draws[key].log_rate.size for key in profiles if key in draws]
    paths = max([rooms, *sizes, 1])
    line = room_line(begin_s, now_s, past, future, paths, 20.0, 8.0, 55_000.0)
    first_s = math.floor(begin_s / SLOT_S) * SLOT_S
    first = math.ceil((now_s - first_s) / SLOT_S - 1e-9)
    at_s = np.asarray(first_s + SLOT_S * np.arange(first + SEEN_AHEAD_SLOTS), dtype=np.float64)
    known_s = at_s[: _until_alike(line, future, at_s, now_s)]
    line = _cut(line, float(known_s[-1]))
    warmth = lay(line.temp_c[:-1] * line.span_h * _HOUR_SLOTS, line.at_s, known_s)
    humid: Laid | None = None
    bearable = min([NEVER_DAMP_PCT, *(one.max_humidity_pct for one in profiles.values())])
    if float(line.humidity_pct[:-1].max()) > bearable:
        humid = lay(line.humidity_pct[:-1] * line.span_h * _HOUR_SLOTS, line.at_s, known_s)
    clocks = {
        key: _clock(profile, line, known_s, _drawn(key, draws, paths))
        for key, profile in profiles.items()
    }
    return Bench(at_s, first, warmth, clocks, line.notes, humid)


def _until_alike(line: RoomLine, future: RoomPaths, at_s: FloatArray, now_s: float) -> int:
    """How many slots to lay: to the end of the line, or until its days are all alike."""
    known = int(np.searchsorted(at_s, line.at_s[-1], side="right"))
    day_s = DAY_SLOTS * SLOT_S
    if not future.temp_c.size or float(future.at_s[-1] - future.at_s[0]) < day_s:
        return known
    last_s = max(float(future.at_s[-1]), now_s)
    return min(known, int(np.searchsorted(at_s, last_s)) + DAY_SLOTS + 1)


def _cut(line: RoomLine, until_s: float) -> RoomLine:
    """The line as far as it takes to reach a moment."""
    points = int(np.searchsorted(line.at_s, until_s)) + 1
    return replace(
        line,
        at_s=line.at_s[:points],
        temp_c=line.temp_c[:, : points - 1],
        humidity_pct=line.humidity_pct[:, : points - 1],
    )


def layer_clock(
    bench: Bench, resin: str, depth_mm: float | None, area_cm2: float | None, ml: float | None
) -> LayerClock:
    """The places of a layer's stages on its resin's clock, own heat taken in.

    Raises ValueError where the layer's size makes no sense.
    """
    clock = bench.clocks[resin]
    layer = Layer(0, 0, clock.profile.name, clock.profile, 0.0, depth_mm, area_cm2, ml)
    check(layer)
    places = dict(zip(clock.label.keys, clock.label.age_h.tolist(), strict=True))
    if clock.law is None:
        return LayerClock(clock, places)
    mean_c = float(bench.mean_c(bench.first, bench.first + _MEAN_OF_SLOTS).mean())
    # Of a room so rounded: the heat's sum is dear, and kept from one plan to the next.
    about_c = _RISE_STEP_K * round(mean_c / _RISE_STEP_K)
    rise = own_rise(layer, clock.scale, clock.pace, _RISE_H, np.full(_RISE_H.size, about_c))
    if rise is None:
        return LayerClock(clock, places)
    middle_h = (_RISE_H[1:] + _RISE_H[:-1]) / 2.0
    warm_k = mean_c + np.interp(middle_h, rise.at_h, rise.rise_c, right=0.0) + ZERO_C_IN_K
    energy = clock.profile.ea_j_mol
    quick = float(rate_factor(mean_c + ZERO_C_IN_K, clock.law.ref_k, energy))
    gained = np.diff(_RISE_H) * rate_factor(warm_k, clock.law.ref_k, energy)
    # A resin's own pace speeds the room's clock and the warm one alike.
    warm_h = clock.pace * np.concatenate(([0.0], np.cumsum(gained)))
    cool_h = clock.pace * quick * _RISE_H
    ahead_h = warm_h - cool_h
    return LayerClock(
        clock, {key: age - float(np.interp(age, warm_h, ahead_h)) for key, age in places.items()}
    )


def _clock(profile: ResinProfile, line: RoomLine, at_s: FloatArray, draws: RateDraws) -> Clock:
    layer = completed(Layer(0, 0, profile.name, profile, 0.0))
    check(layer)
    profile = layer.resin
    room = label_room(profile)
    law = None if profile.kind == "paint" else cure_law(profile, room.scale)
    ref_k = profile.ref_temp_c + ZERO_C_IN_K
    temp_k = line.temp_c[:-1] + ZERO_C_IN_K
    if law is None:
        factor = drying_factor(temp_k, line.humidity_pct[:-1], ref_k)
    else:
        factor = rate_factor(temp_k, ref_k, draws.ea_j_mol[:, None])
    gained_h = factor * np.exp(draws.log_rate)[:, None] * line.span_h
    table = lay(gained_h, line.at_s, at_s)
    pace = float(np.exp(np.median(draws.log_rate)))
    return Clock(profile, table, pace, law, label_clock_of(layer, room), room.scale)


def _drawn(key: str, draws: Mapping[str, RateDraws], paths: int) -> RateDraws:
    """One speed and energy a path, repeated as needed."""
    given = draws.get(key)
    if given is None or not given.log_rate.size or given.log_rate.shape != given.ea_j_mol.shape:
        raise ValueError(
            f"Draws of the speed of resin {key!r} are missing or uneven; give at least one rate "
            "and as many energies."
        )
    if not (np.all(np.isfinite(given.log_rate)) and np.all(given.ea_j_mol > 0.0)):
        raise ValueError(f"Draws of resin {key!r} hold values that are not numbers above 0.")
    rows = np.arange(paths) % given.log_rate.size
    return RateDraws(given.log_rate[rows], given.ea_j_mol[rows], given.layers_learned, given.why)


def _age_at(age_h: Laid, rows: FloatArray) -> FloatArray:
    whole = np.floor(rows).astype(np.int64)
    share = rows - whole
    if not np.any(share):
        return age_h.at(whole)
    return np.asarray(age_h.at(whole) * (1.0 - share) + age_h.at(whole + 1) * share)
