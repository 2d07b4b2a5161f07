"""(layer, room past, room future, belief) -> when each stage comes, and how sure.

Recomputed whole from its inputs at every call, so a late reading, a corrected offset or
a deleted mark is simply right. Times come from an ensemble: each path is one future of
the room with one speed and activation energy of the resin; a last path is the middle.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.core.cure import reasons, selfheat
from monitor.core.cure.bands import Band, bands, stage_times
from monitor.core.cure.label import LabelClock, held_to_gel, label_clock
from monitor.core.cure.progress import clock_age, cured_age, summed
from monitor.core.cure.remedy import Stall, stall
from monitor.core.cure.resin import TACK_FREE_CONVERSION, anchor_hours, cure_law
from monitor.core.cure.roomline import HOUR_S, RoomLine, room_line
from monitor.core.cure.soundness import (
    believable,
    check,
    check_draws,
    check_forecast,
    completed,
)
from monitor.core.cure.stages import ANCHOR, hold_to_marks, spans
from monitor.core.cure.states_of_cure import state_of
from monitor.core.cure.surface import surface_index, surface_risk
from monitor.core.cure.warming import LabelRoom, Rise, label_room, own_rise
from monitor.core.physics.aging import ZERO_C_IN_K, rate_factor
from monitor.core.physics.drying import drying_factor
from monitor.core.physics.kinetics import CureLaw, glass_transition_k
from monitor.core.physics.master import master_curve
from monitor.core.physics.network import gel_conversion
from monitor.core.vocabulary import (
    CureState,
    Curve,
    FloatArray,
    Layer,
    Mark,
    Outlook,
    RateDraws,
    RoomPaths,
    RoomSeries,
    StageOutlook,
    SurfaceRisk,
)

ROOM_AHEAD_S = 72.0 * HOUR_S
CUP_ML = 300.0  # a usual mixing cup
_CURVE_POINTS = 280
_LEAST_ENERGY_J_MOL = 1_000.0


@dataclass(frozen=True, eq=False)
class Run:
    """The ensemble of one layer, last row the middle: ages [h] (paths + 1, n).

    `clock_h` is equivalent age times speed, `cured_h` the place on the master curve;
    `resin_c` (paths + 1, n - 1) per interval; `speed` the middle path's own speed.
    """

    line: RoomLine
    at_h: FloatArray
    resin_c: FloatArray
    clock_h: FloatArray
    cured_h: FloatArray
    speed: float
    ea_j_mol: float
    law: CureLaw | None
    rise: Rise | None

    def now(self, values: FloatArray, now_s: float) -> float:
        """The middle path's value at an instant, from values on the instants (n,)."""
        return float(np.interp(now_s, self.line.at_s, values))

    def resin_now_c(self, now_s: float) -> float:
        """Temperature of the resin [C] on the middle path."""
        place = int(np.searchsorted(self.line.at_s, now_s, side="right")) - 1
        return float(self.resin_c[-1, min(max(place, 0), self.resin_c.shape[1] - 1)])

    def room_at_c(self, at_s: float) -> float:
        """Temperature of the room [C] on the middle path; before the pour, as at it."""
        place = int(np.searchsorted(self.line.at_s, at_s, side="right")) - 1
        return float(self.line.temp_c[-1, min(max(place, 0), self.line.temp_c.shape[1] - 1)])


def outlook(
    layer: Layer,
    past: RoomSeries,
    future: RoomPaths,
    draws: RateDraws,
    marks: Sequence[Mark],
    now_s: float,
    heat: Rise | None = None,
    ref_heat: Rise | None = None,
) -> Outlook:
    """What to believe of one layer now.

    Parameters
    ----------
    past
        Readings from about the pour to now; gaps, one reading or none widen the answer.
    future
        Paths from about now; beyond their end each repeats its last day, 14 days on.
    draws
        The resin's speed and activation energy, one pair a path (repeated as needed).
    heat, ref_heat
        The pour's own rise, and that of the label's reference depth at the label's
        temperature; from the heat model where not given.

    `equivalent_age_h` counts temperature only; `rate_now` includes what marks taught.
    Readings that no room can give are left out, as a gap. Raises ValueError where the
    layer's numbers, the forecast or the draws make no sense.
    """
    check(layer)
    check_forecast(future)
    check_draws(draws)
    layer, past = completed(layer), believable(past)
    room = label_room(layer.resin, ref_heat)
    clock = label_clock_of(layer, room)
    run = _run(layer, past, future, draws, now_s, room, heat)
    return _told(layer, clock, run, draws, marks, now_s)


def label_clock_of(layer: Layer, room: LabelRoom) -> LabelClock:
    """The label's places and demands; a paint's are its hours alone."""
    profile = layer.resin
    if profile.kind != "paint":
        gel = gel_conversion(layer.hardener_ratio)
        clock = label_clock(profile, room)
        return held_to_gel(clock, ANCHOR[profile.kind], math.inf if gel is None else gel)
    keys = tuple(sorted(profile.stages, key=lambda key: profile.stages[key].hours))
    hours = np.array([profile.stages[key].hours for key in keys])
    return LabelClock(keys, hours, hours, hours / hours[-1], 1.0)


def _run(
    layer: Layer,
    past: RoomSeries,
    future: RoomPaths,
    draws: RateDraws,
    now_s: float,
    room: LabelRoom,
    heat: Rise | None,
) -> Run:
    profile = layer.resin
    paths = max(draws.log_rate.size, future.temp_c.shape[0] if future.temp_c.ndim == 2 else 0, 1)
    log_rate, ea_j_mol = _paired(draws, paths)
    line = room_line(
        layer.poured_at_s,
        now_s,
        past,
        future,
        paths,
        profile.ref_temp_c,
        anchor_hours(profile),
        float(ea_j_mol[-1]),
    )
    at_h = (line.at_s - layer.poured_at_s) / HOUR_S
    speed = np.exp(log_rate)
    if profile.kind == "paint":
        factor = drying_factor(
            line.temp_c + ZERO_C_IN_K, line.humidity_pct, profile.ref_temp_c + ZERO_C_IN_K
        )
        clock_h = summed(factor * speed[:, None] * line.span_h)
        return Run(
            line,
            at_h,
            line.temp_c,
            clock_h,
            clock_h,
            float(speed[-1]),
            float(ea_j_mol[-1]),
            None,
            None,
        )
    law = cure_law(profile, room.scale, layer.hardener_ratio)
    middle_h = (at_h[1:] + at_h[:-1]) / 2.0
    rise = (
        heat
        if heat is not None
        else own_rise(layer, room.scale, float(speed[-1]), middle_h, line.temp_c[-1])
    )
    resin_c = line.temp_c
    if rise is not None:
        resin_c = resin_c + np.interp(middle_h, rise.at_h, rise.rise_c, right=0.0)
    resin_k = resin_c + ZERO_C_IN_K
    clock_h = clock_age(law, line.span_h, resin_k, speed[:, None], ea_j_mol[:, None])
    cured_h = cured_age(law, at_h, clock_h, resin_k)
    return Run(
        line, at_h, resin_c, clock_h, cured_h, float(speed[-1]), float(ea_j_mol[-1]), law, rise
    )


def _told(
    layer: Layer,
    clock: LabelClock,
    run: Run,
    draws: RateDraws,
    marks: Sequence[Mark],
    now_s: float,
) -> Outlook:
    profile = layer.resin
    alpha = _degree_of_cure(clock, run)
    alpha_now = run.now(alpha, now_s)
    tg_c = None
    if run.law is not None:
        tg_c = float(glass_transition_k(run.law, alpha_now)) - ZERO_C_IN_K
    times_s = stage_times(clock, run.law, run.line.at_s, run.clock_h[:-1], run.cured_h[:-1])
    observed = spans(profile.kind, marks, layer.poured_at_s, now_s)
    banded = bands(hold_to_marks(times_s, clock.keys, observed))
    ahead = (run.line.at_s[1:] > now_s) & (run.line.at_s[1:] <= now_s + ROOM_AHEAD_S)
    room_c = float(run.line.temp_c[-1, ahead].mean()) if ahead.any() else profile.ref_temp_c
    full_s = banded[-1].p50_s if clock.keys[-1] == "full_cure" else None
    full = full_s is not None and full_s <= now_s
    stopped = None if full else _stall(layer, clock, run, room_c, now_s)
    resin_now_c = run.resin_now_c(now_s)
    # Cured once it is in nine futures of ten, when its stage gets its tick.
    state = _state(layer, clock, run, alpha_now, tg_c, now_s, banded[-1].p90_s, stopped)
    told = reasons.Told(
        layer, clock, run.line, run.resin_c[-1], draws, room_c, stopped, run.law, observed
    )
    stages = []
    for key, hours, band in zip(clock.keys, clock.hours, banded, strict=True):
        reached = band.p50_s if band.p90_s is not None and band.p90_s <= now_s else None
        stages.append(
            StageOutlook(
                key=key,
                label_h=float(hours),
                basis=profile.stages[key].basis,
                label_at_s=layer.poured_at_s + float(hours) * HOUR_S,
                reached_at_s=reached,
                p10_s=band.p10_s,
                p50_s=band.p50_s,
                p90_s=band.p90_s,
                why=reasons.stage_why(told, key, band),
            )
        )
    surface = _surface(layer, clock, run, banded[clock.keys.index(ANCHOR[profile.kind])].p50_s)
    rise = run.rise
    return Outlook(
        layer_id=layer.id,
        as_of_s=now_s,
        degree_of_cure=alpha_now,
        glass_transition_c=tg_c,
        equivalent_age_h=run.now(run.clock_h[-1], now_s) / run.speed,
        rate_now=_rate_now(layer, run, resin_now_c, now_s),
        stalled=stopped is not None,
        remedy=None if stopped is None else stopped.remedy,
        state=state,
        surface=surface,
        peak_c=None if rise is None else float(rise.peak_c),
        peak_at_s=None if rise is None else layer.poured_at_s + float(rise.peak_at_h) * HOUR_S,
        stages=tuple(stages),
        notes=reasons.notes(told, state, tg_c, surface, now_s, stages),
        knowledge_age_s=run.line.knowledge_age_s,
        max_depth_mm=_deepest_mm(layer, run, now_s),
        cup_working_h=_cup_h(layer, run, now_s),
        curve=_curve(layer, run, alpha, banded, now_s),
    )


def _paired(draws: RateDraws, paths: int) -> tuple[FloatArray, FloatArray]:
    """Speed and energy of each path, (paths + 1,); the middle last."""
    rows = np.arange(paths) % draws.log_rate.size
    log_rate = np.append(draws.log_rate[rows], np.median(draws.log_rate))
    energy = np.append(draws.ea_j_mol[rows], np.median(draws.ea_j_mol))
    # A very wide belief reaches down to no energy at all.
    energy = np.maximum(energy, _LEAST_ENERGY_J_MOL)
    return log_rate, energy


def _degree_of_cure(clock: LabelClock, run: Run) -> FloatArray:
    if run.law is None:
        return np.asarray(np.minimum(run.clock_h[-1] / clock.age_h[-1], 1.0))
    reached: FloatArray = master_curve(run.law).alpha_at(run.cured_h[-1])
    return reached


def _stall(layer: Layer, clock: LabelClock, run: Run, room_c: float, now_s: float) -> Stall | None:
    if run.law is None or "full_cure" not in clock.keys:
        return None
    pace = run.speed * float(rate_factor(room_c + ZERO_C_IN_K, run.law.ref_k, run.ea_j_mol))
    law_pace = float(rate_factor(room_c + ZERO_C_IN_K, run.law.ref_k, layer.resin.ea_j_mol))
    return stall(
        run.law,
        pace / law_pace,
        run.now(run.cured_h[-1], now_s),
        (now_s - layer.poured_at_s) / HOUR_S,
        clock.age_of("full_cure") / pace,
        clock.need_of("full_cure"),
        room_c,
        layer.resin.warm_limit_c,
    )


def _state(
    layer: Layer,
    clock: LabelClock,
    run: Run,
    alpha: float,
    tg_c: float | None,
    now_s: float,
    last_s: float | None,
    stopped: Stall | None,
) -> CureState:
    age_h = run.now(run.clock_h[-1], now_s)
    if tg_c is None:
        if last_s is not None and last_s <= now_s:
            return "cured"
        return "soft" if age_h >= clock.age_h[0] else "liquid"
    working_h = clock.age_of("working_time_end") if "working_time_end" in clock.keys else 0.0
    return state_of(
        layer.resin.kind,
        age_h,
        working_h,
        alpha,
        tg_c,
        run.resin_now_c(now_s),
        gel_conversion(layer.hardener_ratio),
        TACK_FREE_CONVERSION,
        last_s is not None and last_s <= now_s and clock.keys[-1] == "full_cure",
        stopped is not None,
    )


def _rate_now(layer: Layer, run: Run, resin_c: float, now_s: float) -> float:
    if run.law is not None:
        factor = rate_factor(resin_c + ZERO_C_IN_K, run.law.ref_k, run.ea_j_mol)
        return run.speed * float(factor)
    place = int(np.searchsorted(run.line.at_s, now_s, side="right")) - 1
    place = min(max(place, 0), run.line.temp_c.shape[1] - 1)
    humidity = run.line.humidity_pct[-1, place]
    ref_k = layer.resin.ref_temp_c + ZERO_C_IN_K
    return run.speed * float(drying_factor(resin_c + ZERO_C_IN_K, humidity, ref_k))


def _surface(layer: Layer, clock: LabelClock, run: Run, open_until_s: float | None) -> SurfaceRisk:
    if layer.resin.kind != "pour":
        return SurfaceRisk(0.0, "low")
    label_h = anchor_hours(layer.resin)
    until_s = open_until_s if open_until_s is not None else float(run.line.at_s[-1])
    is_open = run.line.at_s[1:] <= max(until_s, float(run.line.at_s[1]))
    air_c = run.line.temp_c[-1, is_open]
    found = surface_index(
        run.line.span_h[is_open], air_c, run.line.humidity_pct[-1, is_open], air_c, label_h
    )
    open_h = (until_s - layer.poured_at_s) / HOUR_S
    return surface_risk(found, open_until_s, label_h, open_h)


def _deepest_mm(layer: Layer, run: Run, now_s: float) -> float | None:
    """The greatest depth [mm] that stays cool enough in this room, by model and by label."""
    profile = layer.resin
    if profile.kind != "pour":
        return None
    modelled = selfheat.max_depth_mm(profile, layer.base, run.room_at_c(now_s))
    return modelled if profile.max_depth_mm is None else min(modelled, profile.max_depth_mm)


def _cup_h(layer: Layer, run: Run, now_s: float) -> float | None:
    """Working time [h] of this layer's mix had it stayed in the cup, a small one at most."""
    if layer.resin.kind != "pour" or "working_time_end" not in layer.resin.stages:
        return None
    volume_ml = CUP_ML if layer.volume_ml is None else min(layer.volume_ml, CUP_ML)
    mass_g = volume_ml * selfheat.mixed_density(layer.resin) / 1000.0
    # Half a kelvin moves it by less than the model is good to, and then it is remembered.
    room_c = round(2.0 * run.room_at_c(min(now_s, layer.poured_at_s))) / 2.0
    return selfheat.cup(layer.resin, mass_g, room_c, layer.pour_temp_c).working_h


def _curve(
    layer: Layer, run: Run, alpha: FloatArray, banded: Sequence[Band], now_s: float
) -> Curve | None:
    """At most 300 points, closer together while the resin is young; None for a paint."""
    if run.law is None:
        return None
    at_s = run.line.at_s
    last = banded[-1]
    latest_s = next((s for s in (last.p90_s, last.p50_s) if s is not None), float(at_s[-1]))
    end_s = min(max(latest_s, now_s + 6.0 * HOUR_S), float(at_s[-1]))
    if end_s <= at_s[0]:
        end_s = float(at_s[-1])
    drawn_s = at_s[0] + (end_s - at_s[0]) * np.linspace(0.0, 1.0, _CURVE_POINTS) ** 1.5
    drawn_alpha = np.interp(drawn_s, at_s, alpha)
    tg_c = glass_transition_k(run.law, drawn_alpha) - ZERO_C_IN_K
    middle_s = (at_s[1:] + at_s[:-1]) / 2.0
    return Curve(drawn_s, drawn_alpha, tg_c, np.interp(drawn_s, middle_s, run.resin_c[-1]))
