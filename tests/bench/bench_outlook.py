"""The outlook of one layer: its cost, its cost against SciPy, fifty layers, and memory.

    python tests/bench/bench_outlook.py

Asked for on one desktop core: one layer (200 paths, 72 h) within 60 ms and 50 times faster
than the same ensemble through LSODA at equal accuracy; fifty layers at most 50 times one;
memory flat. Times are processor time of one thread, so that busy neighbours count little.
"""

from __future__ import annotations

import gc
import statistics
import time
import tracemalloc
from collections.abc import Callable

import numpy as np
from scipy.integrate import solve_ivp

from monitor.core.cure.outlook import outlook
from monitor.core.cure.progress import clock_age, cured_age
from monitor.core.cure.resin import cure_law, with_defaults
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
SITTING = 5
ROUNDS = 5
NOW_S = 1_760_000_000.0
AT_H = np.linspace(0.0, 72.0, 433)
SCIPY_PATHS = 10  # path by path each costs SciPy the same; the rest is scaled from these
TOLERANCES = (1e-3, 1e-4, 1e-5, 1e-6)
LONGEST_STEPS_H = (6.0, 1.0 / 6.0)


def spent_ms(work: Callable[[], object]) -> float:
    """Processor time of one call [ms]."""
    start = time.process_time()
    work()
    return 1000.0 * (time.process_time() - start)


def best_ms(work: Callable[[], object], runs: int) -> float:
    """Least of `runs`, after one to warm up [ms]."""
    work()
    return min(spent_ms(work) for _ in range(runs))


def coating_layers() -> list[Layer]:
    """Three millimetres of an eight-hour coating resin on wood, five pieces a sitting."""
    stages = {"working_time_end": StageTime(0.75, "label"), "tack_free": StageTime(8.0, "label")}
    profile = ResinProfile("coating", "Coating resin", "pour", 23.0, with_defaults("pour", stages))
    return [
        Layer(
            number,
            number,
            "flood coat",
            profile,
            NOW_S - (4.0 + 2.0 * (number // SITTING)) * 3600.0,
            depth_mm=3.0,
        )
        for number in range(LAYERS)
    ]


def rooms_c(random: np.random.Generator) -> FloatArray:
    """A cool room's daily swing, weather, and a heater of its own hours, (paths, n)."""
    wander = np.cumsum(random.normal(0.0, 0.05, (PATHS, AT_H.size)), axis=1)
    heater = 3.0 * ((AT_H / 24.0 + random.uniform(0.0, 1.0, (PATHS, 1))) % 1.0 < 0.3)
    return np.asarray(17.0 + 2.0 * np.sin(2.0 * np.pi * AT_H / 24.0) + wander + heater)


def ours(law: CureLaw, temp_k: FloatArray) -> FloatArray:
    """Degree of cure of the ensemble by the product's own integrator, (paths, n)."""
    middle_k = (temp_k[:, 1:] + temp_k[:, :-1]) / 2.0
    clock_h = clock_age(law, np.diff(AT_H), middle_k)
    return master_curve(law).alpha_at(cured_age(law, AT_H, clock_h, middle_k))


def lsoda(law: CureLaw, temp_k: FloatArray, rtol: float, longest_h: float) -> FloatArray:
    """The same path by path, (paths, n)."""
    found = []
    for room_k in temp_k:

        def pace(t: float, alpha: FloatArray, room_k: FloatArray = room_k) -> FloatArray:
            return rate(law, alpha, np.interp(t, AT_H, room_k)) * 3600.0

        found.append(_solved(pace, np.zeros(1), rtol, longest_h)[0])
    return np.array(found)


def batched(law: CureLaw, temp_k: FloatArray, rtol: float, longest_h: float) -> FloatArray:
    """The same, all paths as one system with a diagonal Jacobian, (paths, n)."""
    by_time = np.ascontiguousarray(temp_k.T)
    step_h = AT_H[1] - AT_H[0]

    def pace(t: float, alpha: FloatArray) -> FloatArray:
        place = min(int(t / step_h), AT_H.size - 2)
        share = t / step_h - place
        room_k = by_time[place] * (1.0 - share) + by_time[place + 1] * share
        return rate(law, alpha, room_k) * 3600.0

    return _solved(pace, np.zeros(temp_k.shape[0]), rtol, longest_h, lband=0, uband=0)


def _solved(
    pace: Callable[[float, FloatArray], FloatArray],
    start: FloatArray,
    rtol: float,
    longest_h: float,
    **bands: int,
) -> FloatArray:
    run = solve_ivp(
        pace,
        (0.0, AT_H[-1]),
        start,
        "LSODA",
        AT_H,
        rtol=rtol,
        atol=rtol / 10.0,
        max_step=longest_h,
        **bands,
    )
    return np.asarray(run.y)


def quickest(
    solver: Callable[[CureLaw, FloatArray, float, float], FloatArray],
    law: CureLaw,
    temp_k: FloatArray,
    exact: FloatArray,
    allowed: float,
) -> tuple[float, str]:
    """Least time [ms] over settings of LSODA that are as accurate as ours, and which."""
    best, which = np.inf, "none is as accurate"
    for rtol in TOLERANCES:
        for longest_h in LONGEST_STEPS_H:
            error = float(np.abs(solver(law, temp_k, rtol, longest_h) - exact).max())
            if error > allowed:
                continue
            cost = min(
                spent_ms(lambda r=rtol, h=longest_h: solver(law, temp_k, r, h)) for _ in range(2)
            )
            if cost < best:
                best, which = (
                    cost,
                    f"rtol {rtol:.0e}, steps to {longest_h:.2g} h, error {error:.0e}",
                )
    return best, which


def main() -> None:
    """Print each figure of one run."""
    random = np.random.default_rng(7)
    layers = coating_layers()
    future_c = rooms_c(random)
    seen_s = NOW_S - 3600.0 * np.arange(30.0, 0.0, -1.0 / 60.0)
    draws = RateDraws(random.normal(0.0, 0.15, PATHS), random.normal(55e3, 3e3, PATHS))

    def tick(some: list[Layer]) -> None:
        """Every layer's outlook on readings and a forecast that no tick has seen before."""
        new_c = random.normal(0.0, 1e-3)
        future = RoomPaths(NOW_S + AT_H * 3600.0, future_c + new_c, np.full(future_c.shape, 50.0))
        past = RoomSeries(seen_s, np.full(seen_s.size, 18.0 + new_c), np.full(seen_s.size, 50.0))
        for layer in some:
            outlook(layer, past, future, draws, (), NOW_S)

    cold_ms = spent_ms(lambda: tick(layers[:1]))
    # Alternating, so that a slow spell of the machine falls on both.
    ones, manys = [], []
    for _ in range(ROUNDS):
        for number in range(0, LAYERS, 2):
            ones.append(spent_ms(lambda n=number: tick(layers[n : n + 1])))
        manys.append(spent_ms(lambda: tick(layers)))
    one_ms = min(ones)
    print(
        f"a tick of one layer, {PATHS} paths, 72 h (and 14 days of tail): least {one_ms:.1f} ms, "
        f"median {statistics.median(ones):.1f} ms; first of a process {cold_ms:.0f} ms"
    )
    print(
        f"a tick of {LAYERS} layers, {SITTING} a sitting: least {min(manys):.0f} ms; "
        f"{statistics.mean(manys) / statistics.mean(ones):.1f} times one by means, "
        f"{statistics.median(manys) / statistics.median(ones):.1f} by medians"
    )

    law = cure_law(layers[0].resin)
    temp_k = future_c + 273.15
    exact = batched(law, temp_k, 1e-10, 1.0 / 6.0)
    alone = ours(law, temp_k)
    error = float(np.abs(alone - exact).max())
    alone_ms = best_ms(lambda: ours(law, temp_k), 15)
    print(f"integrator alone, 72 h: {alone_ms:.1f} ms, error {error:.0e}")
    few = slice(0, SCIPY_PATHS)
    by_path_ms, which = quickest(lsoda, law, temp_k[few], exact[few], error)
    by_path_ms *= PATHS / SCIPY_PATHS
    print(
        f"  LSODA path by path ({which}): {by_path_ms:.0f} ms, {by_path_ms / alone_ms:.0f} times "
        f"our integrator, {by_path_ms / one_ms:.0f} times our whole outlook"
    )
    batch_ms, which = quickest(batched, law, temp_k, exact, error)
    print(
        f"  LSODA all paths as one system ({which}): {batch_ms:.0f} ms, "
        f"{batch_ms / alone_ms:.1f} times our integrator, {batch_ms / one_ms:.1f} times our outlook"
    )

    gc.collect()
    tracemalloc.start()
    tick(layers[:1])
    gc.collect()
    after_one, peak = tracemalloc.get_traced_memory()
    for _ in range(2):
        tick(layers)
        gc.collect()
    after_fifty, _ = tracemalloc.get_traced_memory()
    tick(layers)
    gc.collect()
    after_many, peak_many = tracemalloc.get_traced_memory()
    print(
        f"memory: peak {peak / 1e6:.1f} MB for one, {peak_many / 1e6:.1f} MB for {LAYERS}; "
        f"kept after one {after_one / 1e3:.0f} kB, two fifties {after_fifty / 1e3:.0f} kB, "
        f"three {after_many / 1e3:.0f} kB"
    )


if __name__ == "__main__":
    main()
