"""The heat solver against the outside world: closed forms, criticality, reference runs."""

from __future__ import annotations

import csv
import math

import numpy as np
import pytest
from opendata import open_data

from monitor.core.cure.pourheat import TOP_W_M2_K
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
        (0.01, 0.0998, 1.0017),
        (0.05, 0.2218, 1.0082),
        (0.1, 0.3111, 1.0161),
        (0.2, 0.4328, 1.0311),
        (0.5, 0.6533, 1.0701),
        (1.0, 0.8603, 1.1191),
        (2.0, 1.0769, 1.1785),
        (5.0, 1.3138, 1.2402),
        (10.0, 1.4289, 1.2620),
        (20.0, 1.4961, 1.2699),
        (100.0, 1.5552, 1.2731),
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


def test_a_worked_plane_wall() -> None:
    # Half thickness 0.1 m, k 20, h 100, diffusivity 2e-5, after 600 s (inputs from an
    # open worksheet; full series computed independently): centre and surface.
    slab = Slab(0.2, 100.0, 100.0, 0.0, 1000.0, 1000.0, 20.0, cells=81)
    run = heat_up(slab, inert, 393.15, 293.15, 600.0)
    theta = (run.temp_k[-1] - 293.15) / 100.0
    assert theta[40] == pytest.approx(0.6412488, abs=2e-4)  # 81 cells
    half_m = 0.2 / 81 / 2
    surface = theta[-1] / (1.0 + 100.0 * half_m / 20.0)  # half a cell and the film in series
    assert surface == pytest.approx(0.5092159, abs=3e-4)


def test_an_epoxy_slab_cools_as_computed_independently() -> None:
    # 20 mm, both faces 10 W/m2K, theta at the centre (computed independently, full series).
    slab = Slab(0.02, 10.0, 10.0, 0.0, cells=81)
    for seconds, theta in ((1200.0, 0.633734), (3600.0, 0.222254)):
        run = heat_up(slab, inert, 313.15, 293.15, seconds)
        assert (run.temp_k[-1, 40] - 293.15) / 20.0 == pytest.approx(theta, abs=1e-4)


def test_a_deep_slab_warms_like_a_semi_infinite_body() -> None:
    # h 10, k 0.2, a 1e-7, 3600 s, 10 mm below the surface: 0.3587341815 (closed form).
    slab = Slab(0.1, 0.0, 10.0, 0.0, 1000.0, 2000.0, 0.2, cells=200)
    run = heat_up(slab, inert, 290.0, 300.0, 3600.0)
    below_mm = (200 - np.arange(200) - 0.5) * 0.5
    share = float(np.interp(10.0, below_mm[::-1], ((run.temp_k[-1] - 290.0) / 10.0)[::-1]))
    assert share == pytest.approx(0.3587341815, abs=2e-4)  # cells of 0.5 mm


def test_without_losses_the_pour_ends_at_the_adiabatic_rise() -> None:
    # 23 + 446000/1700 = 285.353 degC (arithmetic); after 400 h less than 0.1 K is to come.
    slab = Slab(0.01, 0.0, 0.0, 446_000.0, cells=4)
    run = heat_up(
        slab, lambda a, t: kamal_rate(SET_A, a, t), 296.15, 296.15, 400 * 3600.0, tolerance_k=0.01
    )
    assert run.temp_k[-1].mean() - ZERO == pytest.approx(285.353, abs=0.1)


@pytest.mark.parametrize(("heat_j_g", "rise_k"), [(446.0, 262.4), (400.0, 235.3), (486.0, 285.9)])
def test_the_adiabatic_rise_is_heat_over_heat_capacity(heat_j_g: float, rise_k: float) -> None:
    # 1700 J/kgK, computed independently; 0.4 % of the cure is still to come after 100 h.
    slab = Slab(0.01, 0.0, 0.0, 1000.0 * heat_j_g, cells=2)
    run = heat_up(slab, lambda a, t: kamal_rate(SET_A, a, t), 296.15, 296.15, 100 * 3600.0)
    assert run.temp_k[-1].mean() - 296.15 == pytest.approx(rise_k, rel=4e-3)


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
    ("kamal", "depth_mm", "room_c", "peak_c", "peak_at_h"),
    [
        (SET_A, 10, 18, 37.0, 2.97),
        (SET_B, 10, 18, 21.6, 5.95),
        (SET_B, 15, 18, 25.4, 6.05),
        (SET_B, 20, 18, 35.5, 6.85),
        (SET_B, 15, 23, 43.4, 4.79),
        (SET_B, 10, 28, 42.0, 3.07),
    ],
)
def test_pours_just_short_of_runaway(
    kamal: Kamal, depth_mm: float, room_c: float, peak_c: float, peak_at_h: float
) -> None:
    # Computed independently, "+-1 K"; one decimal printed.
    peak_k, peak_s, _ = reference_pour(kamal, depth_mm, room_c).peak()
    assert peak_k - ZERO == pytest.approx(peak_c, abs=1.0)
    assert peak_s / 3600.0 == pytest.approx(peak_at_h, rel=0.02)


@pytest.mark.parametrize(("depth_mm", "slower"), [(10, 1.67), (20, 0.776), (40, 0.341)])
def test_how_slow_a_resin_must_be_for_its_depth(depth_mm: float, slower: float) -> None:
    # Set B times this factor peaks at 60 degC in a room of 23 (computed independently, three
    # figures); near runaway a hundredth of speed is worth kelvins: 3 % brackets it.
    room_k = 23.0 + ZERO
    slab = Slab(depth_mm / 1000.0, 5.0, 10.0, 450_000.0, cells=40)
    peaks_c = []
    for speed in (0.97 * slower, 1.03 * slower):
        run = heat_up(
            slab,
            lambda a, t, speed=speed: speed * kamal_rate(SET_B, a, t),  # type: ignore[misc]
            room_k,
            room_k,
            60 * 3600.0,
            tolerance_k=0.01,
        )
        peaks_c.append(run.peak()[0] - ZERO)
    assert peaks_c[0] < 60.0 < peaks_c[1]


@pytest.mark.parametrize(
    ("kamal", "room_c", "power_w_m3", "cold_faced_mm", "lumped_mm"),
    [
        (SET_A, 18, 9616, 34.1, 9.1),
        (SET_A, 23, 13297, 29.5, 6.8),
        (SET_A, 28, 18207, 25.6, 5.2),
        (SET_B, 18, None, 49.2, 19.0),
        (SET_B, 23, None, 41.2, 13.3),
        (SET_B, 28, None, 34.7, 9.4),
    ],
)
def test_critical_depths_by_the_two_classical_limits(
    kamal: Kamal, room_c: float, power_w_m3: float | None, cold_faced_mm: float, lumped_mm: float
) -> None:
    # Frank-Kamenetskii 0.878458 with both faces at the room, Semenov 1/e with 15 W/m2K in
    # all, at the energy of the autocatalytic path; computed independently, three figures.
    room_k = room_c + ZERO
    fastest = float(kamal_rate(kamal, np.linspace(0.0, 1.0, 2001), room_k).max())
    power = 1150.0 * (446e3 if kamal is SET_A else 450e3) * fastest
    if power_w_m3 is not None:
        assert power == pytest.approx(power_w_m3, rel=1e-4)
    sharpness = kamal.e2_j_mol / (GAS * room_k**2) * power
    cold_faced_m = 2.0 * math.sqrt(0.878458 * 0.2 / sharpness)
    assert 1000.0 * cold_faced_m == pytest.approx(cold_faced_mm, rel=3e-3)
    assert 1000.0 * 15.0 / (math.e * sharpness) == pytest.approx(lumped_mm, rel=1e-2)
    # The conducting slab, cooled as a real one, gives way between the two.
    assert reference_pour(kamal, 0.6 * lumped_mm, room_c).peak()[0] - room_k < 25.0
    assert reference_pour(kamal, cold_faced_mm, room_c).peak()[0] - ZERO > 200.0


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
    for area_m2, round_m, convection, total in (
        (0.3 * 0.4, 1.4, 4.61, 10.14),
        (0.1 * 0.1, 0.4, 6.27, 11.80),
        (0.6 * 0.9, 3.0, 3.83, 9.36),
    ):
        found = natural_convection(303.15, 293.15, area_m2 / round_m)
        assert found == pytest.approx(convection, rel=0.02)
        with_radiation = found + radiation(303.15, 293.15)
        assert with_radiation == pytest.approx(total, rel=0.02)
        # What a pour is given for its top is the middle of these.
        assert with_radiation == pytest.approx(TOP_W_M2_K, rel=0.2)


def test_radiation_matches_the_linear_form() -> None:
    # 4 sigma T^3 = 5.714 W/m2K at 20 degC, closed form; 5.53 at emissivity 0.92, 10 K up.
    assert radiation(293.15, 293.15, 1.0) == pytest.approx(5.714, abs=5e-4)
    assert radiation(303.15, 293.15) == pytest.approx(5.53, abs=0.01)
