"""The planner: what it costs, and whether its chances are honest.

    python tests/bench/bench_planner.py [rooms]

Asked for on one desktop core: a plan of a five-step piece on a 72 h forecast (200 paths)
within 300 ms of processor time; on simulated rooms each planned act met by its window at
the stated probability within 5 points. The rooms come from a generator of their own (a
heated room as one thermal mass in weather of its own, no line shared with the program's
simulated studio); the forecast is the program's, from fourteen days of
each room's log; each resin's true speed and energy are drawn from the belief that the
planner was given. Windows are then judged by the outlook of the layer as it was really
poured, in the room as it really was, at the resin's true speed.
"""

from __future__ import annotations

import statistics
import sys
import time
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np

from monitor.core.cure.outlook import outlook
from monitor.core.cure.planner import Wishes, plan
from monitor.core.cure.recipe import NEED_WINDOWS, Recipe, from_dict
from monitor.core.cure.resin import from_mapping
from monitor.core.room.forecast import forecast
from monitor.core.vocabulary import Layer, RateDraws, RoomPaths, RoomSeries

DATA = Path(__file__).resolve().parents[2] / "monitor" / "data"
NOW_S = 1_760_000_400.0
DAY_S = 86_400.0
PATHS = 200
COST_ROOM = 1
WISHED = (0.6, 0.8, 0.9)
LEARNT_SD, EA_SD_J_MOL = 0.10, 2_500.0  # about what five layers of marks leave over
BINS = (
    (0.60, 0.70),
    (0.70, 0.80),
    (0.80, 0.85),
    (0.85, 0.90),
    (0.90, 0.95),
    (0.95, 0.99),
    (0.99, 1.01),
)


def shelf():
    with (DATA / "resins.toml").open("rb") as file:
        return {key: from_mapping({"key": key, **t}) for key, t in tomllib.load(file).items()}


def recipes():
    with (DATA / "recipes.toml").open("rb") as file:
        return {key: from_dict({"key": key, **t}) for key, t in tomllib.load(file).items()}


def five_steps(panel: Recipe) -> Recipe:
    """The layered panel without its dam: base, cell, lines, tape, flood coat."""
    steps = []
    for step in panel.steps:
        if step.key == "dam":
            continue
        steps.append(replace(step, needs="recoat_or_sanded") if step.key == "cell" else step)
    return replace(panel, steps=tuple(steps))


def simulated_room(seed: int, days: float, noise: float = 1.0) -> RoomSeries:
    """A room as one thermal mass: weather outside, a thermostat with night setback, sun.

    `noise` is the share of the sensor's own that is left in: 0 is the air itself.
    """
    rng = np.random.default_rng(seed)
    at_s = NOW_S - 14.0 * DAY_S + 600.0 * np.arange(int((14.0 + days) * 144))
    hour = (at_s / 3600.0) % 24.0
    outside, drift = np.empty(at_s.size), 0.0
    level, swing = rng.uniform(2.0, 14.0), rng.uniform(2.0, 5.0)
    for n in range(at_s.size):
        drift += -drift / (36.0 * 6.0) + rng.normal(0.0, 0.25)
        outside[n] = level + drift + swing * np.sin(2.0 * np.pi * (hour[n] - 9.0) / 24.0)
    hold_day, hold_night = rng.uniform(18.5, 22.0), rng.uniform(15.0, 19.0)
    leak_h, power_k_h = rng.uniform(15.0, 50.0), rng.uniform(1.0, 2.5)
    temp_c = np.empty(at_s.size)
    here = hold_day
    for n in range(at_s.size):
        wanted = hold_day if 6.5 <= hour[n] < 22.5 else hold_night
        heat = np.clip(2.0 * (wanted - here), 0.0, power_k_h)
        sun = 0.3 * max(np.sin(np.pi * (hour[n] - 8.0) / 8.0), 0.0) if 8 < hour[n] < 16 else 0.0
        here += ((outside[n] - here) / leak_h + heat + sun) / 6.0
        temp_c[n] = here + noise * rng.normal(0.0, 0.08)
    # Vapour: the weather's own, slowly changing, and what people and plants add.
    dew_c, drift = np.empty(at_s.size), 0.0
    wet_c = level - rng.uniform(1.0, 5.0)
    for n in range(at_s.size):
        drift += -drift / (36.0 * 6.0) + rng.normal(0.0, 0.25)
        dew_c[n] = wet_c + drift
    vapour_hpa = magnus_hpa(dew_c) + rng.uniform(1.0, 4.0)
    damp = np.clip(100.0 * vapour_hpa / magnus_hpa(temp_c), 15.0, 95.0)
    damp += noise * rng.normal(0.0, 0.5, at_s.size)
    return RoomSeries(at_s, temp_c, damp)


def magnus_hpa(temp_c):
    """Saturation pressure of water [hPa], Magnus form (from memory; good to 0.5 % here)."""
    return 6.112 * np.exp(17.62 * temp_c / (243.12 + temp_c))


def beliefs(resins, seed: int):
    rng = np.random.default_rng(seed)
    return {
        key: RateDraws(rng.normal(0.05, LEARNT_SD, PATHS),
                       rng.normal(profile.ea_j_mol, EA_SD_J_MOL, PATHS), 5)
        for key, profile in resins.items()
    }  # fmt: skip


def until(room: RoomSeries, now_s: float) -> RoomSeries:
    seen = room.at_s <= now_s
    return RoomSeries(room.at_s[seen], room.temp_c[seen], room.humidity_pct[seen])


def truly_reached(step, resin, poured_s: float, room: RoomSeries, truth: RateDraws):
    """When the stages of one layer really came, by its outlook with hindsight."""
    nothing = RoomPaths(np.empty(0), np.empty((0, 0)), np.empty((0, 0)))
    layer = Layer(1, 1, step.name, resin, poured_s, step.depth_mm, step.area_cm2, step.volume_ml)
    told = outlook(layer, room, nothing, truth, (), float(room.at_s[-1]))
    return {stage.key: stage.p50_s for stage in told.stages}


def room_stayed(resin, poured_s: float, times, room: RoomSeries) -> bool:
    """Whether the room, averaged over ten minutes, kept the resin's limits while it was open."""
    anchor = {"pour": "tack_free", "adhesive": "handling_set", "paint": "touch_dry"}[resin.kind]
    least_s = (12.0 if resin.kind == "pour" else 1.0) * 3600.0
    closed_s = times[anchor] or np.inf
    until_s = min(max(closed_s, poured_s + least_s), poured_s + DAY_S)
    middle_c = (room.temp_c[1:] + room.temp_c[:-1]) / 2.0
    middle_pct = (room.humidity_pct[1:] + room.humidity_pct[:-1]) / 2.0
    open_ = (room.at_s[1:] > poured_s - 1.0) & (room.at_s[:-1] < until_s)
    fine = (middle_c >= resin.min_temp_c) & (middle_c <= resin.max_temp_c)
    if resin.kind != "adhesive":
        fine &= middle_pct <= resin.max_humidity_pct
    return bool(fine[open_].all())


def judged(recipe: Recipe, resins, seed: int, wishes: Wishes):
    """(stated chance, hit, act, stage, when) of every act with a window of one plan on one room."""
    room, air = simulated_room(seed, 16.0), simulated_room(seed, 16.0, noise=0.0)
    draws = beliefs(resins, seed)
    past = until(room, NOW_S)
    future = forecast(past, NOW_S, paths=PATHS, seed=seed)
    found = plan(recipe, resins, future, draws, wishes, NOW_S, past=past, otherwise=False)
    if not found.found:  # as a maker would who has no warmer room
        wishes = replace(wishes, within_limits=False)
        found = plan(recipe, resins, future, draws, wishes, NOW_S, past=past, otherwise=False)
    if not found.found:
        return None
    rng = np.random.default_rng(10_000 + seed)
    steps = {step.key: step for step in recipe.steps}
    reached, out = {}, []
    for act in found.acts:
        if act.window is not None and act.at_s < room.at_s[-1]:
            times = reached[act.window.of_step]
            windows = NEED_WINDOWS.get(steps[act.step].needs, ()) if act.what == "pour" else ()
            sides = [w for w in windows if w[0] == act.window.opens_with] or [
                (act.window.opens_with, act.window.closes_with)
            ]
            opens, closes = sides[0]
            hit = times[opens] is not None and times[opens] <= act.at_s
            hit = hit and (closes is None or times[closes] is None or act.at_s <= times[closes])
            out.append((act.chance, bool(hit and act.hands_free), act.what, opens, act.at_s))
        if act.what == "pour":
            step = steps[act.step]
            pick = {
                step.resin: RateDraws(
                    np.array([rng.choice(draws[step.resin].log_rate)]),
                    np.array([rng.choice(draws[step.resin].ea_j_mol)]),
                )
            }
            resin = resins[step.resin]
            reached[act.step] = truly_reached(step, resin, act.at_s, room, pick[step.resin])
            if act.at_s < NOW_S + 3.0 * DAY_S:
                fine = room_stayed(resin, act.at_s, reached[act.step], air)
                kind = "pour within limits" if wishes.within_limits else "pour in any room"
                out.append((act.room_chance, fine, kind, "room", act.at_s))
    return out


def cost(recipe: Recipe, resins, otherwise: bool, anywhere: bool, runs: int = 7) -> float:
    room = simulated_room(COST_ROOM, 0.0)
    past = until(room, NOW_S)
    future = forecast(past, NOW_S, paths=PATHS)
    draws = beliefs(resins, COST_ROOM)
    spent = []
    for _ in range(runs + 1):
        start = time.process_time()
        wishes = Wishes(within_limits=not anywhere)
        plan(recipe, resins, future, draws, wishes, NOW_S, past=past, otherwise=otherwise)
        spent.append(1000.0 * (time.process_time() - start))
    return statistics.median(spent[1:])


def main() -> None:
    rooms = int(sys.argv[1]) if len(sys.argv) > 1 else 150
    resins, pieces = shelf(), recipes()
    pieces["five_steps"] = five_steps(pieces["layered_panel"])
    print("processor time of a plan, 200 paths, 72 h [ms]: alone / with alternatives;")
    print("  within the resins' limits of the room, and in any room")
    for key, recipe in pieces.items():
        spent = [cost(recipe, resins, o, a) for a in (False, True) for o in (False, True)]
        print(f"  {key:14s} {len(recipe.steps)} steps  {spent[0]:6.0f} / {spent[1]:6.0f}"
              f"   {spent[2]:6.0f} / {spent[3]:6.0f}")  # fmt: skip
    rows = []
    none = 0
    for seed in range(rooms):
        names = ("five_steps", "coaster_set")
        wishes = Wishes(probability=WISHED[seed % 3])
        found = judged(pieces[names[seed % 2]], resins, seed, wishes)
        none += found is None
        rows += found or []
    print(f"calibration on {rooms} simulated rooms ({none} without a plan), {len(rows)} acts:")
    print("  stated            acts  stated %   hit %  (standard error)")
    every, rows = rows, [row for row in rows if row[3] != "room"]
    for low, high in (*BINS, (0.0, 1.01)):
        chosen = [row for row in rows if low <= row[0] < high]
        if chosen:
            _line(f"{low:.2f} to {min(high, 1.0):.2f}", chosen)
    for kind in sorted({row[2:4] for row in every}):
        _line(" ".join(kind), [row for row in every if row[2:4] == kind])
    _line("within the forecast", [row for row in rows if row[4] <= NOW_S + 3.0 * DAY_S])
    _line("beyond it", [row for row in rows if row[4] > NOW_S + 3.0 * DAY_S])


def _line(name: str, rows) -> None:
    stated = 100.0 * np.mean([row[0] for row in rows])
    hit = 100.0 * np.mean([row[1] for row in rows])
    error = 100.0 * np.sqrt(max(hit * (100.0 - hit), 1.0) / 1e4 / len(rows))
    print(f"  {name:26s} {len(rows):5d}  {stated:6.1f}  {hit:6.1f}  ({error:.1f})")


if __name__ == "__main__":
    main()
