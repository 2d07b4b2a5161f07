"""Degree of cure along random rooms, against SciPy's stiff solver at tight tolerance."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from monitor.core.cure.progress import cured_age
from monitor.core.physics.aging import equivalent_age, rate_factor
from monitor.core.physics.kinetics import SET_A, CureLaw, law_at
from monitor.core.physics.master import master_curve

# The bar is 1e-4 in degree of cure; SciPy itself is run four orders tighter.
AGREEMENT = 1e-4
RESINS = 200
SIGHT_H = 72.0
STEP_H = 1.0 / 6.0
SEEN_EVERY = 36


def random_law(random: np.random.Generator) -> CureLaw:
    """Any resin a home could hold: tack-free from about 3 to 40 h, any usual final Tg."""
    return law_at(
        SET_A,
        ref_k := 273.15 + random.uniform(20.0, 25.0),
        ea_j_mol=random.uniform(40e3, 70e3),
        tg0_k=273.15 + random.uniform(-60.0, -30.0),
        tg_inf_k=ref_k + random.uniform(30.0, 90.0),
        tg_lambda=random.uniform(0.3, 0.5),
        time_scale=float(np.exp(random.uniform(np.log(0.2), np.log(2.5)))),
    )


def random_room_k(random: np.random.Generator, at_h: np.ndarray) -> np.ndarray:
    """A daily swing about 5 to 30 degC, weather on top, and a heater that jumps."""
    day = random.uniform(0.0, 4.0) * np.sin(2.0 * np.pi * (at_h / 24.0 + random.uniform()))
    wander = np.cumsum(random.normal(0.0, 0.05, at_h.size))
    heater = random.uniform(0.0, 4.0) * ((at_h / 24.0 + random.uniform()) % 1.0 < 0.4)
    return np.clip(random.uniform(8.0, 26.0) + day + wander + heater, 2.0, 40.0) + 273.15


def stiff_solution(laws: list[CureLaw], at_h: np.ndarray, rooms_k: np.ndarray) -> np.ndarray:
    """All resins in one LSODA run with a diagonal Jacobian; the rate written out afresh."""
    k1, k2, energy, ref_k, tg0_k, tg_inf_k, bend = (
        np.array([getattr(law, name) for law in laws])
        for name in ("k1_s", "k2_s", "ea_j_mol", "ref_k", "tg0_k", "tg_inf_k", "tg_lambda")
    )
    same = laws[0]  # exponents and diffusion constants are the set's own
    slope = np.diff(rooms_k, axis=1) / STEP_H

    def pace(t: float, alpha: np.ndarray) -> np.ndarray:
        place = min(int(t / STEP_H), at_h.size - 2)
        temp_k = rooms_k[:, place] + slope[:, place] * (t - at_h[place])
        warmth = np.exp(-(energy / 8.314462618) * (1.0 / temp_k - 1.0 / ref_k))
        chemical = warmth * (k1 + k2 * np.clip(alpha, 0.0, None) ** same.m)
        tg_k = tg0_k + (tg_inf_k - tg0_k) * bend * alpha / (1.0 - (1.0 - bend) * alpha)
        above_k = temp_k - tg_k
        diffusion = same.diffusion_s * np.exp(
            same.wlf_c1 * above_k / (same.wlf_c2_k + np.abs(above_k))
        )
        left = np.clip(1.0 - alpha, 0.0, None) ** same.n
        return 3600.0 * left / (1.0 / chemical + 1.0 / diffusion)

    found = solve_ivp(
        pace,
        (0.0, SIGHT_H),
        np.zeros(len(laws)),
        method="LSODA",
        rtol=1e-8,
        atol=1e-9,
        t_eval=at_h[::SEEN_EVERY],
        max_step=STEP_H,  # no kink of the room's line is stepped over
        lband=0,
        uband=0,
    )
    return np.asarray(found.y)


def test_two_hundred_random_resins_and_rooms_agree_with_a_stiff_solver():
    random = np.random.default_rng(20240)
    at_h = np.linspace(0.0, SIGHT_H, round(SIGHT_H / STEP_H) + 1)
    drawn = [(random_law(random), random_room_k(random, at_h)) for _ in range(RESINS)]
    laws = [law for law, _ in drawn]
    rooms_k = np.array([room_k for _, room_k in drawn])
    reference = stiff_solution(laws, at_h, rooms_k)

    worst = 0.0
    for law, room_k, expected in zip(laws, rooms_k, reference, strict=True):
        temp_k = room_k[None, :]
        age_h = cured_age(
            law,
            at_h,
            equivalent_age(at_h * 3600.0, temp_k, law.ref_k, law.ea_j_mol),
            (temp_k[:, 1:] + temp_k[:, :-1]) / 2.0,
            at_h,
        )
        ours = master_curve(law).alpha_at(age_h[0])[::SEEN_EVERY]
        worst = max(worst, float(np.abs(ours - expected).max()))

    assert worst < AGREEMENT


@pytest.mark.parametrize(
    ("temp_c", "at_24_h", "at_72_h", "at_7_d", "at_28_d"),
    [
        # Set A + WLF, computed independently (LSODA, rtol 1e-9); printed to 4 decimals.
        (10.0, 0.6797, 0.8081, 0.8212, 0.8379),
        (15.0, 0.7841, 0.8303, 0.8413, 0.8565),
        (18.0, 0.8154, 0.8426, 0.8527, 0.8671),
        (20.0, 0.8283, 0.8505, 0.8600, 0.8739),
        (23.0, 0.8439, 0.8618, 0.8707, 0.8839),
        (25.0, 0.8531, 0.8691, 0.8776, 0.8904),
        (30.0, 0.8735, 0.8864, 0.8941, 0.9060),
    ],
)
def test_cure_levels_off_as_the_independent_run_does(temp_c, at_24_h, at_72_h, at_7_d, at_28_d):
    law = law_at(SET_A, 273.15 + temp_c, 55e3, 216.15, 364.15, 0.36903)
    at_h = np.linspace(0.0, 672.0, 4033)
    room_k = np.full((1, at_h.size - 1), law.ref_k)

    age_h = cured_age(law, at_h, at_h[None, :].copy(), room_k, np.arange(0.0, 672.0, 0.5))
    alpha = np.interp([24.0, 72.0, 168.0, 672.0], at_h, master_curve(law).alpha_at(age_h[0]))

    # 1e-4: half a unit of the last printed place, and as much for our own steps.
    assert alpha == pytest.approx([at_24_h, at_72_h, at_7_d, at_28_d], abs=1e-4)


def test_seven_cold_days_then_warmth_still_cures_out():
    # Set A with both its energies, computed independently: 7 d at 10 degC, then 23 degC for
    # 72 h -> Tg 46.8 degC; one energy stands in here, which the plateau hardly feels.
    law = law_at(SET_A, 283.15, 50e3, 216.15, 364.15, 0.36903)
    at_h = np.linspace(0.0, 240.0, 2401)
    room_k = np.where(at_h[1:] <= 168.0, 283.15, 296.15)[None, :]
    gained = np.diff(at_h) * rate_factor(room_k, law.ref_k, law.ea_j_mol)
    clock_h = np.concatenate((np.zeros((1, 1)), np.cumsum(gained, axis=1)), axis=1)

    age_h = cured_age(law, at_h, clock_h, room_k, np.arange(0.0, 240.0, 0.25))
    tg_c = np.interp(age_h[0, -1], master_curve(law).age_h, master_curve(law).tg_k) - 273.15

    # 0.3 K: the independent run's two energies against one.
    assert tg_c == pytest.approx(46.8, abs=0.3)
