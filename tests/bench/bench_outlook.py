"""The outlook of one layer: its cost, its cost against SciPy, fifty layers, and memory.

    python tests/bench/bench_outlook.py

Asked for on one desktop core: one layer (200 paths, 72 h) within 60 ms and 50 times faster
than the same ensemble through LSODA at equal accuracy; fifty layers at most 50 times one.
"""

from __future__ import annotations

import statistics
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.integrate import solve_ivp

from monitor.core.cure.outlook import outlook
from monitor.core.cure.progress import cured_age
from monitor.core.cure.resin import cure_law, with_defaults
from monitor.core.physics.aging import equivalent_age
from monitor.core.physics.kinetics import CureLaw, rate
from monitor.core.physics.master import master_curve
from monitor.core.vocabulary import (
    FloatArray,
    Layer,
    RateDraws,
    ResinProfile,
    RoomPaths,
    RoomSeries,
    StageTime,
)

PATHS = 200
LAYERS = 50
NOW_S = 1_760_000_000.0
AT_H = np.linspace(0.0, 72.0, 433)
SCIPY_PATHS = 20  # each path costs SciPy the same; the rest is scaled from these
LOOSER = (1e-3, 1e-4, 1e-5, 1e-6, 1e-7)


def median_ms(work: Callable[[], object], runs: int) -> float:
    """Median of `runs`, after one to warm up [ms]."""
    work()
    spent = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        spent.append(1000.0 * (time.perf_counter() - start))
    return statistics.median(spent)


def coating_layer() -> Layer:
    """Three millimetres of an eight-hour coating resin on wood, poured four hours ago."""
    stages = {"working_time_end": StageTime(0.75, "label"), "tack_free": StageTime(8.0, "label")}
    profile = ResinProfile("coating", "Coating resin", "pour", 23.0, with_defaults("pour", stages))
    return Layer(1, 1, "flood coat", profile, NOW_S - 4.0 * 3600.0, depth_mm=3.0)


def rooms_c(random: np.random.Generator) -> FloatArray:
    """A cool room's daily swing with weather on top, (paths, n)."""
    wander = np.cumsum(random.normal(0.0, 0.05, (PATHS, AT_H.size)), axis=1)
    return np.asarray(18.0 + 2.0 * np.sin(2.0 * np.pi * AT_H / 24.0) + wander)


def ours(law: CureLaw, temp_k: FloatArray, step_h: float) -> FloatArray:
    """Degree of cure of the ensemble by the product's own integrator, (paths, n)."""
    clock_h = equivalent_age(AT_H * 3600.0, temp_k, law.ref_k, law.ea_j_mol)
    middle_k = (temp_k[:, 1:] + temp_k[:, :-1]) / 2.0
    age_h = cured_age(law, AT_H, clock_h, middle_k, np.arange(0.0, 72.0, step_h))
    return master_curve(law).alpha_at(age_h)


def lsoda(law: CureLaw, temp_k: FloatArray, rtol: float) -> FloatArray:
    """The same, path by path, (paths, n)."""
    found = []
    for room_k in temp_k:

        def pace(t: float, alpha: FloatArray, room_k: FloatArray = room_k) -> FloatArray:
            return rate(law, alpha, np.interp(t, AT_H, room_k)) * 3600.0

        run = solve_ivp(
            pace, (0.0, 72.0), [0.0], "LSODA", AT_H, rtol=rtol, atol=rtol / 10.0, max_step=6.0
        )
        found.append(run.y[0])
    return np.array(found)


def main() -> None:
    """Print each figure of one run."""
    random = np.random.default_rng(7)
    layer = coating_layer()
    future_c = rooms_c(random)
    future = RoomPaths(NOW_S + AT_H * 3600.0, future_c, np.full(future_c.shape, 50.0))
    seen_s = NOW_S - 3600.0 * np.arange(6.0, 0.0, -1.0 / 60.0)
    past = RoomSeries(seen_s, np.full(seen_s.size, 18.0), np.full(seen_s.size, 50.0))
    draws = RateDraws(random.normal(0.0, 0.15, PATHS), random.normal(55e3, 3e3, PATHS))

    def one(number: int = 1) -> None:
        outlook(replace(layer, id=number), past, future, draws, (), NOW_S)

    def many() -> None:
        for number in range(LAYERS):
            one(number)

    one_ms = median_ms(one, 15)
    many_ms = median_ms(many, 2)
    print(f"one outlook, {PATHS} paths, 72 h (and 14 days of tail)   {one_ms:8.1f} ms")
    print(f"{LAYERS} layers {many_ms:10.1f} ms, {many_ms / one_ms:5.1f} times one")

    law = cure_law(layer.resin, 1.0, 1.0)
    temp_k = future_c + 273.15
    exact = lsoda(law, temp_k[:SCIPY_PATHS], 1e-10)
    for step_h in (0.5, 1.0 / 6.0):
        spent_ms = median_ms(lambda step_h=step_h: ours(law, temp_k, step_h), 7)
        error = float(np.abs(ours(law, temp_k, step_h)[:SCIPY_PATHS] - exact).max())
        print(
            f"integrator alone, {step_h * 60:3.0f} min steps {spent_ms:8.1f} ms, error {error:.1e}"
        )
        for rtol in LOOSER:
            start = time.perf_counter()
            found = lsoda(law, temp_k[:SCIPY_PATHS], rtol)
            scipy_ms = (time.perf_counter() - start) * 1000.0 * PATHS / SCIPY_PATHS
            scipy_error = float(np.abs(found - exact).max())
            if scipy_error <= error or rtol == LOOSER[-1]:
                break
        print(
            f"  LSODA, rtol {rtol:.0e}, error {scipy_error:.1e}: {scipy_ms:8.0f} ms; "
            f"{scipy_ms / spent_ms:5.0f} times our integrator, {scipy_ms / one_ms:5.0f} times "
            "our whole outlook"
        )

    tracemalloc.start()
    one()
    after_one, peak = tracemalloc.get_traced_memory()
    many()
    after_many, peak_many = tracemalloc.get_traced_memory()
    print(
        f"memory: peak {peak / 1e6:.1f} MB for one, {peak_many / 1e6:.1f} MB for {LAYERS}; "
        f"kept {(after_many - after_one) / 1e3:.0f} kB more"
    )


if __name__ == "__main__":
    main()
