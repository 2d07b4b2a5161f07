"""The heat solver against the outside world: closed forms, criticality, reference runs."""

from __future__ import annotations

import csv
import math

import numpy as np
import pytest
from opendata import open_data

from monitor.core.physics.heat import (
    Slab,
    SlabRun,
    heat_up,
    natural_convection,
    nusselt,
    radiation,
)
from monitor.core.physics.kinetics import SET_A, Kamal, kamal_rate
from monitor.core.vocabulary import FloatArray

GAS = 8.314462618
ZERO = 273.15
# A slower infusion epoxy, fit of 2021 in an open-source process simulator (read).
SET_B = Kamal(200_000.0, 63_267.9637, 118_000.438, 55_157.8279, 0.30450112, 1.61742134)


def inert(alpha: FloatArray, temp_k: FloatArray) -> FloatArray:
    return np.zeros_like(alpha)


def reference_pour(kamal: Kamal, depth_mm: float, room_c: float) -> SlabRun:
    heat = 446_000.0 if kamal is SET_A else 450_000.0
    slab = Slab(depth_mm / 1000.0, 5.0, 10.0, heat, cells=40)
    room_k = room_c + ZERO
    return heat_up(
        slab,
        lambda alpha, temp_k: kamal_rate(kamal, alpha, temp_k),
        room_k,
        room_k,
        12 * 3600.0,
        tolerance_k=0.01,
    )


# First zeta of zeta tan zeta = Bi and C1, Incropera Table 5.1 (from memory, four digits).
@pytest.mark.parametrize(
    ("biot", "zeta", "first"),
    [
        (0.1, 0.3111, 1.0161),
        (0.5, 0.6533, 1.0701),
        (1.0, 0.8603, 1.1191),
        (5.0, 1.3138, 1.2403),
        (10.0, 1.4289, 1.2620),
    ],
)
def test_a_cooling_plate_follows_the_one_term_solution(
    biot: float, zeta: float, first: float
) -> None:
    # Both faces cool alike, so a slab of depth 2L is the plane wall of half thickness L.
    half_m, k, rho, cp = 0.01, 0.2, 1150.0, 1700.0
    surface = biot * k / half_m
    slab = Slab(2 * half_m, surface, surface, 0.0, rho, cp, k, cells=81)
    fourier = 0.6
    seconds = fourier * half_m**2 * rho * cp / k
    run = heat_up(slab, inert, 343.15, 293.15, seconds)
    centre = (run.temp_k[-1, 40] - 293.15) / 50.0
    # 81 cells: truncation about 1e-4; four-digit table: zeta 5e-5 in exp(-zeta^2 Fo).
    assert centre == pytest.approx(first * math.exp(-(zeta**2) * fourier), abs=3e-4)


def test_an_epoxy_slab_cools_as_computed_independently() -> None:
    # 20 mm, both faces 10 W/m2K, theta at the centre (computed independently, full series).
    slab = Slab(0.02, 10.0, 10.0, 0.0, cells=81)
    for seconds, theta in ((1200.0, 0.633734), (3600.0, 0.222254)):
        run = heat_up(slab, inert, 313.15, 293.15, seconds)
        assert (run.temp_k[-1, 40] - 293.15) / 20.0 == pytest.approx(theta, abs=1e-4)


def test_a_deep_slab_warms_like_a_semi_infinite_body() -> None:
    # h 10, k 0.2, a 1e-7, 3600 s, 10 mm below the surface: 0.3587341815 (closed form).
    slab = Slab(0.2, 0.0, 10.0, 0.0, 1000.0, 2000.0, 0.2, cells=400)
    run = heat_up(slab, inert, 290.0, 300.0, 3600.0)
    below_mm = (400 - np.arange(400) - 0.5) * 0.5
    share = float(np.interp(10.0, below_mm[::-1], ((run.temp_k[-1] - 290.0) / 10.0)[::-1]))
    assert share == pytest.approx(0.3587341815, abs=2e-4)  # cells of 0.5 mm


def test_without_losses_the_pour_ends_at_the_adiabatic_rise() -> None:
    # 23 + 446000/1700 = 285.353 degC (arithmetic); after 400 h less than 0.1 K is to come.
    slab = Slab(0.01, 0.0, 0.0, 446_000.0, cells=4)
    run = heat_up(
        slab, lambda a, t: kamal_rate(SET_A, a, t), 296.15, 296.15, 400 * 3600.0, tolerance_k=0.01
    )
    assert run.temp_k[-1].mean() - ZERO == pytest.approx(285.353, abs=0.1)


@pytest.mark.parametrize(
    ("kamal", "depth_mm", "room_c", "peak_c", "peak_at_h"),
    [
        (SET_A, 3, 23, 26.405, 1.94),
        (SET_A, 6, 20, 27.297, 2.33),
        (SET_A, 6, 23, 33.182, 1.97),
        (SET_B, 10, 20, 24.513, 5.07),
        (SET_B, 10, 23, 29.430, 4.06),
        (SET_B, 15, 20, 30.06, 5.37),
    ],
)
def test_benign_pours_peak_as_in_the_independent_runs(
    kamal: Kamal, depth_mm: float, room_c: float, peak_c: float, peak_at_h: float
) -> None:
    # Computed independently (finite volume, 40 to 160 cells): good to 0.05 K and 2 %.
    peak_k, peak_s, _ = reference_pour(kamal, depth_mm, room_c).peak()
    assert peak_k - ZERO == pytest.approx(peak_c, abs=0.05)
    assert peak_s / 3600.0 == pytest.approx(peak_at_h, rel=0.02)


@pytest.mark.parametrize(
    ("kamal", "depth_mm", "room_c", "peak_at_h"),
    [
        (SET_A, 15, 20, 1.76),
        (SET_A, 30, 23, 1.08),
        (SET_A, 60, 28, 0.75),
        (SET_B, 30, 18, 4.38),
        (SET_B, 20, 23, 3.36),
    ],
)
def test_runaway_pours_are_seen_as_such_and_in_time(
    kamal: Kamal, depth_mm: float, room_c: float, peak_at_h: float
) -> None:
    # Only the class matters (all peak above 200 degC there); the time to 3 %.
    peak_k, peak_s, _ = reference_pour(kamal, depth_mm, room_c).peak()
    assert peak_k - ZERO > 200.0
    assert peak_s / 3600.0 == pytest.approx(peak_at_h, rel=0.03)


def test_slabs_of_the_open_reference_file_peak_alike() -> None:
    path = open_data("cure/slab_exotherm_reference.csv")
    text = path.read_text().splitlines()
    named = dict(pair.split("=") for pair in text[0].split("(")[0].lstrip("# ").split())
    value = {name: float(number) for name, number in named.items()}
    kamal = Kamal(value["A1"], value["E1"], value["A2"], value["E2"], value["m"], value["n"])
    rows = list(csv.DictReader(text[1:]))
    assert len(rows) == 24
    for row in rows:
        room_k = float(row["room_c"]) + ZERO
        slab = Slab(
            float(row["thickness_mm"]) / 1000.0,
            value["hb"],
            value["ht"],
            value["H"],
            value["rho"],
            value["cp"],
            value["k"],
            cells=40,
        )
        run = heat_up(
            slab,
            lambda alpha, temp_k: kamal_rate(kamal, alpha, temp_k),
            room_k,
            room_k,
            value["tend"],
            tolerance_k=0.01,
        )
        peak_k, peak_s, height = run.peak()
        # The file is good to 0.01 K; ours adds 1 % of the rise at most.
        rise = float(row["peak_c"]) - float(row["room_c"])
        assert peak_k - ZERO == pytest.approx(float(row["peak_c"]), abs=0.01 + 0.005 * rise)
        # The top of a day-long hump is flat.
        assert peak_s / 3600.0 == pytest.approx(float(row["t_peak_h"]), rel=0.02)
        assert height == pytest.approx(float(row["x_peak_over_L"]), abs=0.03)
        # Hours of coarse steps after the peak: a few 1e-4 in conversion.
        assert run.alpha[-1].mean() == pytest.approx(float(row["mean_conversion_end"]), abs=2e-3)


def test_a_slab_explodes_at_frank_kamenetskii_delta_878() -> None:
    """Zero order, no consumption, cold faces: critical delta 0.878458 (closed form).

    Rate exp(theta) in Frank-Kamenetskii's variable, so that no finite activation energy
    shifts the limit. 40 cells put it within 0.5 %.
    """

    def blows_up(delta: float) -> bool:
        # Half thickness 1, k = rho = cp = 1; H = 1: theta' = theta'' + delta exp(theta).
        slab = Slab(2.0, 1e6, 1e6, 1e-9, 1.0, 1.0, 1.0, cells=40)

        def rate(alpha: FloatArray, temp_k: FloatArray) -> FloatArray:
            return np.asarray(1e9 * delta * np.exp(np.minimum(temp_k - 1.0, 50.0)))

        run = heat_up(
            slab, rate, 1.0, 1.0, 120.0, tolerance_k=0.02, longest_step_s=0.5, stop_above_k=6.0
        )
        return float(run.temp_k.max()) > 6.0

    low, high = 0.7, 1.1
    while high - low > 0.002:
        middle = (low + high) / 2.0
        low, high = (low, middle) if blows_up(middle) else (middle, high)
    assert (low + high) / 2.0 == pytest.approx(0.878458, rel=0.005)


def test_a_lumped_mass_explodes_at_semenov_one_over_e() -> None:
    def blows_up(delta: float) -> bool:
        slab = Slab(1.0, 1.0, 0.0, 1e-9, 1.0, 1.0, math.inf, cells=1)

        def rate(alpha: FloatArray, temp_k: FloatArray) -> FloatArray:
            return np.asarray(1e9 * delta * np.exp(np.minimum(temp_k - 1.0, 50.0)))

        run = heat_up(
            slab, rate, 1.0, 1.0, 200.0, tolerance_k=0.02, longest_step_s=0.5, stop_above_k=6.0
        )
        return float(run.temp_k.max()) > 6.0

    # At 1/e the slowing-down is endless: 1 % above takes 60 time constants of our 200.
    assert not blows_up(0.99 / math.e)
    assert blows_up(1.01 / math.e)


def test_a_warm_plate_loses_heat_by_mcadams() -> None:
    # Nu at Ra = 5.54 x 3.21e8: docstring of an open-source heat transfer library (read).
    rayleigh = 5.54 * 3.21e8
    assert nusselt(rayleigh, "up") == pytest.approx(181.731213, rel=1e-8)
    assert nusselt(rayleigh, "down") == pytest.approx(55.445648, rel=1e-8)
    # 0.3 x 0.4 m above air of 20 degC (computed independently); power laws for air: 2 %.
    for above_k, up in ((5.0, 3.89), (10.0, 4.61), (20.0, 5.45), (40.0, 6.42)):
        found = natural_convection(293.15 + above_k, 293.15, 0.3 * 0.4 / 1.4)
        assert found == pytest.approx(up, rel=0.02)
        facing_down = natural_convection(293.15 + above_k, 293.15, 0.3 * 0.4 / 1.4, "down")
        assert facing_down == pytest.approx(up / 2.0, rel=0.02)


def test_radiation_matches_the_linear_form() -> None:
    # 4 sigma T^3 = 5.714 W/m2K at 20 degC, closed form; 5.53 at emissivity 0.92, 10 K up.
    assert radiation(293.15, 293.15, 1.0) == pytest.approx(5.714, abs=5e-4)
    assert radiation(303.15, 293.15) == pytest.approx(5.53, abs=0.01)
