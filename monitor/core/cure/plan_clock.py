"""Every resin's clock on one grid of ten minutes, so that any pour start is a look-up.

Per path of the room ensemble the equivalent age is cumulated once; a layer poured in slot
s has come to a stage in the first slot t whose age is the stage's place further on. That
is exact up to the recoat window. Later stages (sanding, demoulding, full cure) ask for a
degree of cure too, which a cold room delays or forbids: there the delay by diffusion is
computed for a few pour starts and laid between them. A pour's own heat is taken at the
mean of the room ahead, as a shift of its places. Past the forecast the room repeats its
last day.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt

from monitor.core.cure.label import LabelClock
from monitor.core.cure.outlook import label_clock_of
from monitor.core.cure.progress import cured_age
from monitor.core.cure.resin import cure_law
from monitor.core.cure.roomline import RoomLine, room_line
from monitor.core.cure.soundness import check, completed
from monitor.core.cure.warming import label_room, own_rise
from monitor.core.physics.aging import ZERO_C_IN_K, rate_factor
from monitor.core.physics.drying import drying_factor
from monitor.core.physics.kinetics import CureLaw
from monitor.core.physics.master import master_curve
from monitor.core.vocabulary import (
    FloatArray,
    Layer,
    RateDraws,
    ResinProfile,
    RoomPaths,
    RoomSeries,
)

IntArray = npt.NDArray[np.int64]
Side = Literal["left", "right"]

SLOT_S = 600.0
DAY_SLOTS = 144
ACTS_WITHIN_SLOTS = 14 * DAY_SLOTS
SEEN_AHEAD_SLOTS = 28 * DAY_SLOTS
LONGEST_PAST_SLOTS = 14 * DAY_SLOTS
NEVER_DAMP_PCT = 75.0  # up to here air of any warmth is more than 3 K above its dew point
WITH_DIFFUSION = ("sandable", "demouldable", "full_cure")

_HOUR_SLOTS = 6
_LAG_STARTS = (0, DAY_SLOTS + DAY_SLOTS // 2, 3 * DAY_SLOTS)
_LAG_AT_H = np.concatenate((np.arange(0.0, 48.0, 2.0), np.arange(48.0, 14 * 24 + 1.0, 6.0)))
_NEVER_H = 1e5
_RISE_H = np.linspace(0.0, 72.0, 217)
_MEAN_OF_SLOTS = 3 * DAY_SLOTS
_ROUNDING_H = 1e-9


@dataclass(frozen=True, eq=False)
class Clock:
    """One resin on the grid: `age_h` (paths, slots), rising; None for `law`: a paint."""

    profile: ResinProfile
    age_h: FloatArray
    pace: float
    law: CureLaw | None
    label: LabelClock
    scale: float


@dataclass(frozen=True, eq=False)
class LayerClock:
    """One layer to be poured: its resin's clock and its own places on it [h]."""

    clock: Clock
    places_h: Mapping[str, float]
    kept: dict[tuple[str, str], tuple[IntArray, npt.NDArray[np.bool_]]] = field(
        default_factory=dict
    )


@dataclass(frozen=True, eq=False)
class Bench:
    """The grid, the room on it, and the clocks of all resins in play.

    `at_s` (slots,); `first` is the first slot not before now; `degree_slots` (paths, slots)
    is the room's temperature [C] summed over the slots before each, `damp_slots` its
    humidity [%] alike, None where that never comes near a limit.
    """

    at_s: FloatArray
    first: int
    degree_slots: FloatArray
    clocks: Mapping[str, Clock]
    notes: tuple[str, ...]
    damp_slots: FloatArray | None = None
    lags: dict[tuple[str, int], Mapping[str, FloatArray]] = field(default_factory=dict)
    rooms: dict[str, tuple[npt.NDArray[np.bool_], IntArray]] = field(default_factory=dict)

    @property
    def paths(self) -> int:
        """How many futures there are."""
        return int(self.degree_slots.shape[0])

    def slot(self, at_s: float) -> float:
        """A moment as a place on the grid, held within it."""
        return min(max((at_s - float(self.at_s[0])) / SLOT_S, 0.0), float(self.at_s.size - 1))

    def air(self, begin: int, end: int) -> tuple[FloatArray, FloatArray | None]:
        """Mean temperature [C] and humidity [%] of each slot of a stretch, (paths, slots)."""
        temp_c = _each(self.degree_slots[:, begin : end + 1])
        if self.damp_slots is None:
            return temp_c, None
        return temp_c, _each(self.damp_slots[:, begin : end + 1])

    def mean_c(self, begin: int, end: int) -> FloatArray:
        """Mean temperature of the room from one slot to another [C], (paths,)."""
        return np.asarray((self.degree_slots[:, end] - self.degree_slots[:, begin]) / (end - begin))

    def reached(self, layer: LayerClock, stage: str, rows: FloatArray) -> IntArray:
        """First slot in which each path has come to a stage, (paths, rows).

        `rows` are the slots of the pour, parts of a slot too. The number of slots stands
        for "not in sight".
        """
        return self._remembered(layer, stage, "left", rows)

    def left(self, layer: LayerClock, stage: str, rows: FloatArray) -> IntArray:
        """First slot past a stage that closes a window, (paths, rows)."""
        return self._remembered(layer, stage, "right", rows)

    def _remembered(self, layer: LayerClock, stage: str, side: Side, rows: FloatArray) -> IntArray:
        whole = rows.astype(np.int64)
        if not np.array_equal(whole, rows):
            return self._found(layer, stage, side, rows)
        if (stage, side) not in layer.kept:
            empty = np.empty((self.paths, self.at_s.size), dtype=np.int64)
            layer.kept[stage, side] = (empty, np.zeros(self.at_s.size, dtype=np.bool_))
        table, known = layer.kept[stage, side]
        new = whole[~known[whole]]
        if new.size:
            table[:, new] = self._found(layer, stage, side, new.astype(np.float64))
            known[new] = True
        return table[:, whole]

    def _found(self, layer: LayerClock, stage: str, side: Side, rows: FloatArray) -> IntArray:
        slack_h = _ROUNDING_H if side == "right" else -_ROUNDING_H
        target_h = _age_at(layer.clock, rows) + (layer.places_h[stage] + slack_h)
        found = np.empty(target_h.shape, dtype=np.int64)
        for row in range(self.paths):
            found[row] = layer.clock.age_h[row].searchsorted(target_h[row], side=side)
        if stage in WITH_DIFFUSION and layer.clock.law is not None:
            found += self._lag(layer.clock, stage, rows)
        return np.minimum(found, self.at_s.size)

    def _lag(self, clock: Clock, stage: str, rows: FloatArray) -> IntArray:
        """Slots by which diffusion delays a stage, (paths, rows)."""
        starts = np.array([self.first + s for s in _LAG_STARTS])
        earliest = int(rows.min())
        if earliest < self.first:
            starts = np.concatenate(([earliest], starts))
        key = (clock.profile.key, int(starts[0]))
        if key not in self.lags:
            self.lags[key] = _lags(clock, self.degree_slots, starts)
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
    known = int(np.searchsorted(at_s, line.at_s[-1], side="right"))
    warmth = _on_grid(line.temp_c[:-1] * line.span_h * _HOUR_SLOTS, line, at_s, known)
    humid: FloatArray | None = None
    bearable = min([NEVER_DAMP_PCT, *(one.max_humidity_pct for one in profiles.values())])
    if float(line.humidity_pct[:-1].max()) > bearable:
        humid = _on_grid(line.humidity_pct[:-1] * line.span_h * _HOUR_SLOTS, line, at_s, known)
    clocks = {
        key: _clock(profile, line, at_s, known, _drawn(key, draws, paths))
        for key, profile in profiles.items()
    }
    return Bench(at_s, first, warmth, clocks, line.notes, humid)


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
    rise = own_rise(layer, clock.scale, clock.pace, _RISE_H, np.full(_RISE_H.size, mean_c))
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


def _clock(
    profile: ResinProfile, line: RoomLine, at_s: FloatArray, known: int, draws: RateDraws
) -> Clock:
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
    table = _on_grid(gained_h, line, at_s, known)
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


def _on_grid(gained: FloatArray, line: RoomLine, at_s: FloatArray, known: int) -> FloatArray:
    """What each interval of the line gained, summed up to each slot (paths, slots).

    Past the `known` slots the last day repeats.
    """
    total = np.zeros((gained.shape[0], gained.shape[1] + 1))
    np.cumsum(gained, axis=1, out=total[:, 1:])
    table = np.empty((gained.shape[0], at_s.size))
    for row in range(table.shape[0]):
        table[row, :known] = np.interp(at_s[:known], line.at_s, total[row])
    day = table[:, known - DAY_SLOTS : known]
    a_day = day[:, -1:] - table[:, known - DAY_SLOTS - 1 : known - DAY_SLOTS]
    for begin in range(known, at_s.size, DAY_SLOTS):
        end = min(begin + DAY_SLOTS, at_s.size)
        days = 1 + (begin - known) // DAY_SLOTS
        table[:, begin:end] = day[:, : end - begin] + days * a_day
    return table


def _each(total: FloatArray) -> FloatArray:
    """What each slot adds; rounded, that a room right at a limit is not past it by 1e-12."""
    return np.asarray(np.diff(total, axis=1).round(6))


def _age_at(clock: Clock, rows: FloatArray) -> FloatArray:
    whole = np.floor(rows).astype(np.int64)
    share = rows - whole
    if not np.any(share):
        return clock.age_h[:, whole]
    after = np.minimum(whole + 1, clock.age_h.shape[1] - 1)
    return np.asarray(clock.age_h[:, whole] * (1.0 - share) + clock.age_h[:, after] * share)


def _lags(clock: Clock, warmth: FloatArray, starts: IntArray) -> Mapping[str, FloatArray]:
    """Slots by which diffusion delays each late stage, (paths, starts); huge: never.

    All starts of all paths run together, on hours since the pour.
    """
    law = clock.law
    if law is None:
        return {}
    at_h = _LAG_AT_H[
        : np.searchsorted(_LAG_AT_H, (warmth.shape[1] - int(starts[-1])) / _HOUR_SLOTS)
    ]
    at = starts[:, None] + (_HOUR_SLOTS * at_h).astype(np.int64)
    paths = clock.age_h.shape[0]
    age_h = (clock.age_h[:, at] - clock.age_h[:, starts][:, :, None]).reshape(-1, at_h.size)
    mean_c = np.diff(warmth[:, at], axis=2).reshape(-1, at_h.size - 1) / (
        _HOUR_SLOTS * np.diff(at_h)
    )
    cured_h = cured_age(law, at_h, age_h, mean_c + ZERO_C_IN_K)
    curve = master_curve(law)
    found = {}
    for stage in WITH_DIFFUSION:
        if stage not in clock.label.keys:
            continue
        need = clock.label.need_of(stage)
        need_h = float(curve.age_at(need)) if need < law.alpha_max else math.inf
        place_h = clock.label.age_of(stage)
        late_h = np.empty(age_h.shape[0])
        for row in range(late_h.size):
            by_clock = np.interp(place_h, age_h[row], at_h)
            late_h[row] = np.interp(need_h, cured_h[row], at_h, right=_NEVER_H) - by_clock
        found[stage] = _HOUR_SLOTS * np.maximum(late_h, 0.0).reshape(paths, starts.size)
    return found
