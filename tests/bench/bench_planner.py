"""The planner: what it costs, and whether its chances are honest.

    python tests/bench/bench_planner.py [rooms] [first room]

Asked for on one desktop core: a plan of a five-step piece on a 72 h forecast (200 paths),
alternatives and all, within 300 ms of processor time; on simulated rooms each planned act
met by its window at the stated probability within 5 points. The rooms come from a generator
of their own (a heated room as one thermal mass in weather of its own, no line shared with
the program's simulated studio); the forecast is the program's, from fourteen days of each
room's log; each layer's true speed and energy are drawn from the law that the planner's own
draws came from, and are none of them. Windows are then judged by the outlook of the layer
as it was really poured, in the room as it really was, at the resin's true speed.

A row of the tables is right where it is within 5 points. Rows are merged until each holds
enough acts to tell, and show the 95 % interval of a binomial (Wilson's). Acts of one room
share its weather, so the true interval is somewhat wider.
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
UNMET = {
    "deadline in 3 days": Wishes(deadline_s=NOW_S + 3.0 * DAY_S),
    "chance of 0.995": Wishes(probability=0.995),
    "two hours in the evening": Wishes(waking_h=((18.0, 20.0),) * 7),
}
WISHED = (0.6, 0.8, 0.9)
LEARNT_SD, EA_SD_J_MOL = 0.10, 2_500.0  # about what five layers of marks leave over
BELIEF_LOG = 0.05
EDGES = (0.0, 0.05, 0.2, 0.4, 0.6, 0.7, 0.8, 0.85, 0.9, 0.95, 0.98, 0.995)
LEAST_ACTS = 100  # a row of fewer is merged with the next: chance alone moves it by 10 points
WITHIN = 5.0


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
        key: RateDraws(rng.normal(BELIEF_LOG, LEARNT_SD, PATHS),
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
    draws = beliefs(resins, 20_000 + seed)
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
            resin = resins[step.resin]
            truth = RateDraws(
                rng.normal(BELIEF_LOG, LEARNT_SD, 1), rng.normal(resin.ea_j_mol, EA_SD_J_MOL, 1)
            )
            reached[act.step] = truly_reached(step, resin, act.at_s, room, truth)
            if act.at_s < NOW_S + 3.0 * DAY_S:
                fine = room_stayed(resin, act.at_s, reached[act.step], air)
                kind = "pour within limits" if wishes.within_limits else "pour in any room"
                out.append((act.room_chance, fine, kind, "room", act.at_s))
    return out


def cost(recipe: Recipe, resins, wishes: Wishes, runs: int = 7, **asked) -> float:
    """Of a plan asked for again and again, in a room that has changed a little each time."""
    room = simulated_room(COST_ROOM, 0.0)
    past = until(room, NOW_S)
    future = forecast(past, NOW_S, paths=PATHS)
    draws = beliefs(resins, COST_ROOM)
    spent = []
    for run in range(runs + 1):
        now = replace(future, temp_c=future.temp_c + 0.01 * run)
        start = time.process_time()
        plan(recipe, resins, now, draws, wishes, NOW_S, past=past, **asked)
        spent.append(1000.0 * (time.process_time() - start))
    return statistics.median(spent[1:])


def costs(resins, pieces) -> None:
    print("processor time of a plan, 200 paths, 72 h [ms]: alone / with alternatives;")
    print("  within the resins' limits of the room, and in any room")
    for key, recipe in pieces.items():
        spent = [
            cost(recipe, resins, Wishes(within_limits=limits), otherwise=otherwise)
            for limits in (True, False)
            for otherwise in (False, True)
        ]
        print(f"  {key:14s} {len(recipe.steps)} steps  {spent[0]:6.0f} / {spent[1]:6.0f}"
              f"   {spent[2]:6.0f} / {spent[3]:6.0f}")  # fmt: skip
    print("the same where a wish is unmet, content with a lesser chance from 0.5 on:")
    for name, wishes in UNMET.items():
        for key in ("five_steps", "layered_panel"):
            spent = [cost(pieces[key], resins, wishes, otherwise=otherwise, content_from=0.5)
                     for otherwise in (False, True)]  # fmt: skip
            print(f"  {key:14s} {name:24s} {spent[0]:6.0f} / {spent[1]:6.0f}")


def calibration(rooms: int, first: int, resins, pieces) -> None:
    rows, none = [], 0
    for seed in range(first, first + rooms):
        names = ("five_steps", "coaster_set")
        wishes = Wishes(probability=WISHED[seed % 3])
        found = judged(pieces[names[seed % 2]], resins, seed, wishes)
        none += found is None
        rows += found or []
    print(f"calibration on simulated rooms {first} to {first + rooms - 1} ({none} without a plan)")
    of_room = [row for row in rows if row[3] == "room"]
    windows = [row for row in rows if row[3] != "room"]
    _table("windows hit in waking hours, by stated chance:", by_chance(windows))
    kinds = sorted({row[2:4] for row in windows})
    parts = [(" ".join(kind), [r for r in windows if r[2:4] == kind]) for kind in kinds]
    end_s = NOW_S + 3.0 * DAY_S
    parts.append(("within the forecast", [r for r in windows if r[4] <= end_s]))
    parts.append(("beyond it", [r for r in windows if r[4] > end_s]))
    _table("the same windows, by act:", parts)
    # Plans within limits are those of rooms thought well of, the others of rooms thought ill of.
    _table("room stays within the limits, every pour:", by_chance(of_room))
    for kind in sorted({row[2] for row in of_room}):
        chosen = [row for row in of_room if row[2] == kind]
        _table(f"room stays within the limits, {kind}:", by_chance(chosen))


def by_chance(rows):
    """(name, rows) from the least chance to the greatest, and all; each of enough acts."""
    found, begin, held = [], EDGES[0], []
    for low, high in zip(EDGES, (*EDGES[1:], 1.01), strict=True):
        held += [row for row in rows if low <= row[0] < high]
        above = sum(row[0] >= high for row in rows)
        if len(held) >= LEAST_ACTS and (above >= LEAST_ACTS or not above):
            found.append((f"{begin:.3f} to {min(high, 1.0):.3f}", held))
            begin, held = high, []
    if held:
        found.append((f"{begin:.3f} to 1.000", held))
    return [*found, ("all", rows)]


def wilson_pct(hits: int, acts: int) -> tuple[float, float]:
    """The 95 % interval of a share [%] (Wilson, 1927)."""
    z = statistics.NormalDist().inv_cdf(0.975)
    share, wide = hits / acts, 1.0 + z * z / acts
    middle = share + z * z / (2.0 * acts)
    half = z * np.sqrt(share * (1.0 - share) / acts + (z / (2.0 * acts)) ** 2)
    return 100.0 * (middle - half) / wide, 100.0 * (middle + half) / wide


def _table(title: str, parts) -> None:
    print(f"  {title}")
    print("                               acts  stated %  hit %  95 % interval")
    for name, rows in parts:
        if not rows:
            continue
        stated = 100.0 * float(np.mean([row[0] for row in rows]))
        hits = sum(row[1] for row in rows)
        low, high = wilson_pct(hits, len(rows))
        off = 100.0 * hits / len(rows) - stated
        far = f"   off by {off:+.1f}" if abs(off) > WITHIN else ""
        if far and low <= stated <= high:
            far += ", may be chance"
        print(f"    {name:26s} {len(rows):5d}  {stated:7.1f} {100.0 * hits / len(rows):6.1f}"
              f"  {low:5.1f} to {high:5.1f}{far}")  # fmt: skip


def main() -> None:
    rooms = int(sys.argv[1]) if len(sys.argv) > 1 else 150
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    resins, pieces = shelf(), recipes()
    pieces["five_steps"] = five_steps(pieces["layered_panel"])
    costs(resins, pieces)
    calibration(rooms, first, resins, pieces)


if __name__ == "__main__":
    main()
