"""Laws that hold for any resin and any room."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.cure.progress import cured_age, isothermal_hours
from monitor.core.physics.aging import equivalent_age, rate_factor
from monitor.core.physics.drying import drying_factor
from monitor.core.physics.kinetics import (
    SET_A,
    CureLaw,
    chemical_rate,
    law_at,
    rate,
    relative_viscosity,
)
from monitor.core.physics.master import master_curve
from monitor.core.physics.network import gel_conversion

GEL = gel_conversion()

laws = st.builds(
    lambda energy, scale, ceiling, hot_c: replace(
        law_at(SET_A, 296.15, energy, 216.15, 273.15 + hot_c, 0.37, scale), alpha_max=ceiling
    ),
    st.floats(40e3, 70e3),
    st.floats(0.2, 20.0),
    st.floats(0.7, 1.0),
    st.floats(45.0, 120.0),
)
rooms_c = st.lists(st.floats(2.0, 40.0), min_size=3, max_size=12)


def room_line(temps_c: list[float]) -> tuple[np.ndarray, np.ndarray]:
    """Straight lines between temperatures four hours apart, on a ten-minute grid."""
    at_h = np.arange(0.0, 4.0 * (len(temps_c) - 1) + 1e-9, 1.0 / 6.0)
    temp_k = np.interp(at_h, 4.0 * np.arange(len(temps_c)), temps_c) + 273.15
    return at_h, temp_k


def cured(law: CureLaw, at_h: np.ndarray, temp_k: np.ndarray) -> np.ndarray:
    clock_h = equivalent_age(at_h * 3600.0, temp_k[None, :], law.ref_k, law.ea_j_mol)
    middle_k = ((temp_k[1:] + temp_k[:-1]) / 2.0)[None, :]
    age_h = cured_age(law, at_h, clock_h, middle_k)
    return master_curve(law).alpha_at(age_h[0])


@given(laws, rooms_c)
@settings(max_examples=60, deadline=None)
def test_conversion_never_falls_and_never_passes_its_ceiling(law, temps_c):
    alpha = cured(law, *room_line(temps_c))

    assert np.all(np.diff(alpha) >= 0.0)
    assert alpha[0] == 0.0
    assert alpha[-1] <= law.alpha_max


def test_the_clock_it_is_given_is_left_alone():
    law = law_at(SET_A, 296.15, 55e3, 216.15, 364.15, 0.36903)
    at_h = np.linspace(0.0, 72.0, 433)
    clock_h = at_h[None, :].copy()

    cured_age(law, at_h, clock_h, np.full((1, 432), 285.15))

    assert np.array_equal(clock_h[0], at_h)


@given(laws, rooms_c)
@settings(max_examples=60, deadline=None)
def test_diffusion_delays_and_never_hastens(law, temps_c):
    at_h, temp_k = room_line(temps_c)

    free = cured(replace(law, diffusion_s=math.inf), at_h, temp_k)

    assert np.all(cured(law, at_h, temp_k) <= free + 1e-12)


@given(laws, rooms_c, rooms_c)
@settings(max_examples=40, deadline=None)
def test_without_diffusion_cure_depends_on_equivalent_age_alone(law, first_c, second_c):
    law = replace(law, diffusion_s=math.inf)
    reached = []
    for temps_c in (first_c, second_c):
        at_h, temp_k = room_line(temps_c)
        # Integrate the rate itself, so that the claim is tested and not the table.
        age_h = equivalent_age(at_h * 3600.0, temp_k, law.ref_k, law.ea_j_mol)
        target_h = min(3.0, float(age_h[-1]))
        alpha, done_h = 0.0, 0.0
        for step in range(at_h.size - 1):
            gain_h = min(age_h[step + 1], target_h) - age_h[step]
            if gain_h <= 0.0:
                break
            middle_k = (temp_k[step] + temp_k[step + 1]) / 2.0
            span_s = 3600.0 * gain_h / float(rate_factor(middle_k, law.ref_k, law.ea_j_mol))
            for _ in range(20):
                half = alpha + float(chemical_rate(law, alpha, middle_k)) * span_s / 40.0
                alpha += float(chemical_rate(law, half, middle_k)) * span_s / 20.0
            done_h = age_h[step] + gain_h
        reached.append((alpha, done_h))
    for alpha, age in reached:
        # 2e-3: the midpoint rule's own error at the root in conversion near zero.
        assert alpha == pytest.approx(float(master_curve(law).alpha_at(age)), abs=2e-3)


@given(st.floats(2.0, 40.0), st.floats(0.1, 10.0), st.floats(40e3, 70e3), rooms_c)
@settings(max_examples=60, deadline=None)
def test_age_adds_up_and_rises_with_temperature(split, warmer_k, energy, temps_c):
    at_h, temp_k = room_line(temps_c)
    cut = max(1, int(len(at_h) * split / 42.0))

    whole = equivalent_age(at_h * 3600.0, temp_k, 296.15, energy)
    begun = equivalent_age(at_h[: cut + 1] * 3600.0, temp_k[: cut + 1], 296.15, energy)
    rest = equivalent_age(at_h[cut:] * 3600.0, temp_k[cut:], 296.15, energy)
    warmer = equivalent_age(at_h * 3600.0, temp_k + warmer_k, 296.15, energy)

    assert begun[-1] + rest[-1] == pytest.approx(whole[-1], rel=1e-12)
    assert warmer[-1] > whole[-1]


@given(laws, st.floats(2.0, 40.0))
@settings(max_examples=40, deadline=None)
def test_the_slowed_rate_is_never_above_the_chemical_one(law, temp_c):
    alpha = np.linspace(0.0, 1.0, 41)
    free = chemical_rate(law, alpha, temp_c + 273.15)
    slowed = rate(law, alpha, temp_c + 273.15)

    assert np.all(slowed <= free)
    assert np.all(slowed >= 0.0)
    assert free[-1] == 0.0


def test_hours_at_one_temperature_match_the_ensemble():
    law = law_at(SET_A, 296.15, 55e3, 216.15, 364.15, 0.36903)
    at_h = np.arange(0.0, 72.0, 0.1)
    alpha = cured(law, at_h, np.full(at_h.size, 285.15))

    taken_h = isothermal_hours(law, 285.15)

    assert np.interp(60.0, taken_h, master_curve(law).alpha) == pytest.approx(
        float(np.interp(60.0, at_h, alpha)), abs=2e-4
    )


def test_viscosity_starts_at_one_and_ends_at_gel():
    thick = relative_viscosity(np.array([0.0, 0.3, GEL, 0.8]), GEL)

    assert thick[0] == 1.0
    assert 1.0 < thick[1] < 10.0
    assert np.all(np.isinf(thick[2:]))


def test_paint_dries_at_label_speed_in_label_air_and_never_in_fog():
    assert drying_factor(296.15, 50.0, 296.15) == pytest.approx(1.0)
    assert drying_factor(296.15, 100.0, 296.15) == 0.0
    assert drying_factor(288.15, 70.0, 296.15) < 0.5


def test_kelvin_given_as_celsius_is_refused():
    with pytest.raises(ValueError) as refused:
        rate_factor(np.array([20.0, -3.0]), 296.15, 55e3)

    assert "not above 0 K" in str(refused.value)
