"""Studios with a hidden resin: does the belief's 80 % band hold, does it narrow, how fast?

    python tests/bench/bench_belief.py [studios] [seed]

The generator knows nothing of the inference code: it integrates its own room second
order in time with its own constants, touches the film as a person does, and keeps the
true rate and activation energy to itself. It draws them from the label's prior family.
Three makers of studios: `steady` (one bottle that never changes, the finger errs anew at
each layer), `marks` (the same, all stages are felt and their errors within one layer are
half shared), `bottles` (as `marks`, with bottles that differ and age, and one layer in
thirty entered wrongly). The studios' rates are one from each equally likely stratum of
the prior, so that 500 of them have less luck in them; all else is drawn freely.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from monitor.core.cure.belief import draws, posterior
from monitor.core.cure.evidence import evidence_of
from monitor.core.vocabulary import Layer, Mark, ResinProfile, StageTime

HOUR_S, DAY_S = 3600.0, 86_400.0
STAGE_SHARE = {"tape_window_open": 0.3, "recoat_window_open": 0.5, "tack_free": 1.0, "sandable": 3}
AFTER = (0, 1, 3, 5, 10)


@dataclass(frozen=True)
class Studio:
    """One hidden truth: ln rate of each layer, activation energy, label, habits."""

    profile: ResinProfile
    log_rate: np.ndarray
    ea_j_mol: float
    batches: tuple[str, ...]
    poured_at_s: np.ndarray
    mean_c: float
    swing_c: float
    touch_h: float


def studio(rng, maker, share=0.5, layers=11):
    hours = rng.uniform(6.0, 12.0)
    kept = STAGE_SHARE if maker != "steady" else {"tack_free": 1.0}
    profile = ResinProfile(
        key="hidden",
        name="hidden",
        kind="pour",
        ref_temp_c=23.0,
        stages={key: StageTime(hours * share, "label") for key, share in kept.items()},
    )
    poured = 1.7e9 + np.cumsum(rng.uniform(1.0, 14.0, layers)) * DAY_S
    poured += rng.uniform(-5.0, 5.0, layers) * HOUR_S
    level = 0.30 * NormalDist().inv_cdf(share)
    log_rate = np.full(layers, level)
    batches = ("",) * layers
    if maker == "bottles":
        centre = level * np.sqrt(1.0 - (0.08 / 0.30) ** 2)
        number = np.cumsum(rng.random(layers) < 0.2)
        offset = rng.normal(0.0, 0.08, layers)[number]
        months = np.diff(poured, prepend=poured[0]) / (30.44 * DAY_S)
        steps = rng.normal(0.0, 0.01, layers) * np.sqrt(months)
        for this in set(number):
            steps[np.argmax(number == this)] = 0.0
            inside = number == this
            offset[inside] += np.cumsum(steps[inside])
        log_rate = centre + offset
        batches = tuple(f"bottle {n}" for n in number)
    return Studio(
        profile,
        log_rate,
        rng.normal(55_000.0, 6_000.0),
        batches,
        poured,
        rng.uniform(15.0, 26.0),
        rng.uniform(0.5, 4.0),
        rng.uniform(0.75, 3.0),
    )


def room(rng, place, start_s, days=16):
    """Quarter-hour temperatures of one cure: a day's swing, a level, a slow wander."""
    at_s = start_s + np.arange(0.0, days * DAY_S, 900.0)
    wander = np.cumsum(rng.normal(0.0, 0.05, at_s.size))
    wander -= np.linspace(0.0, 1.0, at_s.size) * wander[-1]
    level = place.mean_c + rng.normal(0.0, 1.5)
    return at_s, level + place.swing_c * np.sin(2 * np.pi * at_s / DAY_S) + wander


def clock_h(at_s, temp_c, ea_j_mol, age_h):
    """Hours from the pour until the equivalent age is reached (midpoint rule)."""
    middle_k = 0.5 * (temp_c[1:] + temp_c[:-1]) + 273.15
    step_h = np.diff(at_s) / 3600.0
    pace = np.exp(ea_j_mol / 8.314462618 * (1.0 / (23.0 + 273.15) - 1.0 / middle_k))
    age = np.concatenate(([0.0], np.cumsum(pace * step_h)))
    assert age_h < age[-1], "the simulated cure is too short"
    return float(np.interp(age_h, age, (at_s - at_s[0]) / 3600.0))


def touches(rng, place, maker, number, at_s, temp_c):
    """Marks of one layer: the film's state as this person's finger judges it."""
    shared, own = (0.0, 0.15) if maker == "steady" else (0.15 / 2**0.5, 0.15 / 2**0.5)
    common = rng.normal(0.0, shared)
    felt_h = {
        key: clock_h(
            at_s,
            temp_c,
            place.ea_j_mol,
            stage.hours * np.exp(-place.log_rate[number] + common + rng.normal(0.0, own)),
        )
        for key, stage in place.profile.stages.items()
    }
    if maker == "steady":
        states = [("tacky", 0.0), ("tack_free", felt_h["tack_free"])]
    else:
        states = [
            ("still_liquid", 0.0),
            ("stringy", felt_h["tape_window_open"]),
            ("tacky", felt_h["recoat_window_open"]),
            ("tack_free", felt_h["tack_free"]),
            ("hard", felt_h["sandable"]),
        ]
    marks = []
    now_h = rng.uniform(0.2, 1.0) * place.touch_h
    while True:
        kind = [name for name, from_h in states if from_h <= now_h][-1]
        marks.append(Mark(len(marks), number, kind, at_s[0] + now_h * HOUR_S))
        if kind == states[-1][0]:
            return marks
        now_h += place.touch_h * rng.uniform(0.6, 1.4) * (1.0 if now_h < 24.0 else 4.0)


def spoil(marks):
    """One wrong entry: the layer was called tack-free at a third of the time it took."""
    dry = next(mark for mark in marks if mark.kind in ("tack_free", "hard"))
    start = marks[0].at_s - 600.0
    return [Mark(0, dry.layer_id, "tack_free", start + (dry.at_s - start) / 3.0)]


def layer_of(place, number):
    return Layer(
        number,
        1,
        f"layer {number}",
        place.profile,
        float(place.poured_at_s[number]),
        batch=place.batches[number],
    )


def band_h(place, evidence, number, at_s, temp_c, seed, paths=200):
    """10, 50, 90 % of the clock hours to tack-free of layer `number`, room known."""
    belief = posterior(
        place.profile,
        evidence,
        float(place.poured_at_s[number]),
        batch=place.batches[number],
    )
    rates = draws(belief, paths, seed)
    soon = at_s <= at_s[0] + 8 * DAY_S  # tack-free needs no more, and it saves half the time
    at_s, temp_c = at_s[soon], temp_c[soon]
    hours = place.profile.stages["tack_free"].hours
    times = [
        clock_h(at_s, temp_c, ea, hours * np.exp(-rate))
        for rate, ea in zip(rates.log_rate, rates.ea_j_mol, strict=True)
    ]
    return np.quantile(times, [0.1, 0.5, 0.9])


def trial(rng, maker, share, seed):
    """Rows (layers known, truth, p10, p50, p90), and how far one wrong mark in ten moves
    the median, in bands: against the honest layer, and against no such layer at all."""
    place = studio(rng, maker, share)
    rooms = [room(rng, place, start) for start in place.poured_at_s]
    marks = [touches(rng, place, maker, n, *rooms[n]) for n in range(11)]
    if maker == "bottles":
        marks = [spoil(own) if rng.random() < 1 / 30 else own for own in marks]
    known = [evidence_of(layer_of(place, n), marks[n], *rooms[n]) for n in range(11)]
    rows = []
    for count in AFTER:
        at_s, temp_c = rooms[count]
        truth = clock_h(
            at_s,
            temp_c,
            place.ea_j_mol,
            place.profile.stages["tack_free"].hours * np.exp(-place.log_rate[count]),
        )
        earlier = [item for items in known[:count] for item in items]
        rows.append((count, truth, *band_h(place, earlier, count, at_s, temp_c, seed)))
    wrong = int(rng.integers(10))
    spoilt = evidence_of(layer_of(place, wrong), spoil(marks[wrong]), *rooms[wrong])
    shifts = []
    for instead in (known[wrong], ()):
        pair = [
            [item for n in range(10) for item in (own if n == wrong else known[n])]
            for own in (spoilt, instead)
        ]
        (_, moved, _), (low, middle, high) = (
            band_h(place, items, 10, *rooms[10], seed) for items in pair
        )
        shifts.append(abs(moved - middle) / (high - low))
    return rows, shifts


def coverage(studios, maker, seed=1):
    """Coverage and median width of ln time, both by layers known; then, per studio, the
    wrong mark's shift against the honest layer and against leaving the layer out."""
    rng = np.random.default_rng(seed)
    shares = (rng.permutation(studios) + rng.random(studios)) / studios
    inside = {count: [] for count in AFTER}
    width = {count: [] for count in AFTER}
    shifts = []
    for number, share in enumerate(shares):
        rows, moved = trial(rng, maker, float(share), number)
        shifts.append(moved)
        for count, truth, low, _, high in rows:
            inside[count].append(low <= truth <= high)
            width[count].append(np.log(high / low))
    replaced, left_out = np.array(shifts).T
    return (
        {count: float(np.mean(inside[count])) for count in AFTER},
        {count: float(np.median(width[count])) for count in AFTER},
        replaced,
        left_out,
    )


def update_times(layers=50, marks_each=4, repeats=20):
    """Seconds of (marks to evidence, evidence to belief) for 200 marks over minute logs."""
    rng = np.random.default_rng(3)
    place = studio(rng, "bottles", layers=layers)
    logs, marks = [], []
    for n in range(layers):
        at_s = place.poured_at_s[n] + np.arange(0.0, 2 * DAY_S, 60.0)
        logs.append((at_s, place.mean_c + 3 * np.sin(2 * np.pi * at_s / DAY_S)))
        kinds = ("stringy", "tacky", "tack_free", "hard")[:marks_each]
        tack_h = place.profile.stages["tack_free"].hours
        marks.append(
            [
                Mark(k, n, kind, at_s[0] + HOUR_S * tack_h * share)
                for k, (kind, share) in enumerate(
                    zip(kinds, (0.4, 0.8, 1.3, 3.5), strict=True),
                )
            ]
        )
    gathered, updated = [], []
    for _ in range(repeats):
        start = time.perf_counter()
        evidence = [
            item
            for n in range(layers)
            for item in evidence_of(layer_of(place, n), marks[n], *logs[n])
        ]
        between = time.perf_counter()
        posterior(place.profile, evidence, float(place.poured_at_s[-1]) + 9 * DAY_S)
        gathered.append(between - start)
        updated.append(time.perf_counter() - between)
    return float(np.median(gathered)), float(np.median(updated)), len(evidence)


def main():
    studios = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    print(f"{studios} studios, seed {seed}: 80 % band of the next layer's tack-free time")
    for maker in ("steady", "marks", "bottles"):
        covered, width, replaced, left_out = coverage(studios, maker, seed)
        print(f"  {maker}")
        for count in AFTER:
            print(
                f"    after {count:2d} layers: covers {100 * covered[count]:5.1f} %, "
                f"median width {width[count]:.3f} of ln time "
                f"({100 * width[count] / width[0]:.0f} % of the first)"
            )
        for shift, against in ((replaced, "the honest layer"), (left_out, "no such layer")):
            print(
                f"    one wrong mark in ten, against {against}, moves the median by "
                f"{np.median(shift):.3f} bands (under a quarter in "
                f"{100 * np.mean(shift < 0.25):.0f} % of studios, most {shift.max():.2f})"
            )
    gathered, updated, intervals = update_times()
    print(
        f"  200 marks of 50 layers ({intervals} intervals): belief {1000 * updated:.1f} ms, "
        f"evidence from minute logs {1000 * gathered:.1f} ms"
    )


if __name__ == "__main__":
    main()
