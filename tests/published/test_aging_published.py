"""Equivalent age against other people's numbers."""

from __future__ import annotations

import csv
import re
from ast import literal_eval

import numpy as np
import pytest
from opendata import open_data

from monitor.core.physics.aging import (
    energy_for_ratio,
    equivalent_age,
    eurocode_age,
    kelvin,
    maturity,
    rate_factor,
    stepwise_age,
)

RECORD_C = [23, 22, 21, 20, 19, 18, 17, 16, 15, 15, 16, 18, 20, 22, 24, 26]


@pytest.mark.parametrize(
    ("steps_d", "temp_c", "age_d", "tolerance"),
    [
        # Published: tests of an open-source implementation of EN 1992-1-1 (eq. B.10) print
        # 8.37986781, and of fib Model Code 2010 (eq. 5.1-85) 15.7723, each to its last place.
        ([1, 2, 1, 1, 1, 2], [19, 20, 20, 21, 22, 23], 8.37986781, 1e-8),
        ([7, 7], [20, 25], 15.7723, 5e-5),
        # Computed independently; six decimals printed.
        ([1], [5], 0.477835, 5e-7),
        ([1], [10], 0.616143, 5e-7),
        ([1], [15], 0.787502, 5e-7),
        ([1], [20], 0.998125, 5e-7),
        ([1], [23], 1.146239, 5e-7),
        ([1], [25], 1.255057, 5e-7),
        ([1], [30], 1.566243, 5e-7),
    ],
)
def test_eurocode_adjusted_age(steps_d, temp_c, age_d, tolerance):
    assert eurocode_age(steps_d, temp_c) == pytest.approx(age_d, abs=tolerance)


def test_half_hour_maturity_record():
    # Computed independently in the form of ASTM C1074 (the standard's own table could not
    # be opened): Ts 23 degC, Q 5000 K, datum 0 degC. Six decimals printed.
    ages_h = stepwise_age(0.5, kelvin(RECORD_C), 296.15, 5000.0 * 8.314462618)

    assert ages_h[:8] == pytest.approx(
        [0.5, 0.972201, 1.417976, 1.838638, 2.235445, 2.609598, 2.962249, 3.294497], abs=1e-6
    )
    assert ages_h[8:] == pytest.approx(
        [3.607393, 3.920288, 4.252536, 4.626690, 5.047352, 5.519553, 6.048784, 6.641030], abs=1e-6
    )
    so_far = [maturity(0.5, RECORD_C[:end]) for end in (1, 4, 8, 12, 16)]
    assert so_far == pytest.approx([11.5, 43.0, 78.0, 110.0, 156.0], abs=1e-9)
    # Nurse-Saul equivalent age at 23 degC: the factor over (Ts - T0), datum 0 and -10 degC.
    assert maturity(0.5, RECORD_C) / 23.0 == pytest.approx(6.782609, abs=1e-6)
    assert maturity(0.5, RECORD_C, -10.0) / 33.0 == pytest.approx(7.151515, abs=1e-6)


@pytest.mark.parametrize(
    ("temp_c", "against_20", "against_23"),
    [
        (5, 0.39860, 0.33535),
        (10, 0.54751, 0.46064),
        (15, 0.74382, 0.62579),
        (18, 0.88944, 0.74831),
        (20, 1.0, 0.84132),
        (23, 1.18860, 1.0),
        (25, 1.33114, 1.11992),
        (30, 1.75528, 1.47676),
        (40, 2.97227, 2.50064),
    ],
)
def test_age_factors_of_the_concrete_standard(temp_c, against_20, against_23):
    # Computed independently: Q 5000 K (ASTM C1074, from memory), five decimals.
    energy = 5000.0 * 8.314462618
    found = [float(rate_factor(273.15 + temp_c, ref_k, energy)) for ref_k in (293.15, 296.15)]

    assert found == pytest.approx([against_20, against_23], abs=6e-6)


@pytest.mark.parametrize(
    ("energy_kj", "quicker"),
    [(40, 1.7183), (45, 1.8386), (50, 1.9674), (55, 2.1051), (60, 2.2525), (65, 2.4102)],
)
def test_ten_kelvin_from_twenty_degrees(energy_kj, quicker):
    # Computed independently, four decimals.
    found = float(rate_factor(303.15, 293.15, 1000.0 * energy_kj))

    assert found == pytest.approx(quicker, abs=6e-5)


def test_half_a_kelvin_of_sensor_error_is_four_per_cent_of_age():
    # d ln(age)/dT = Ea/(R T^2) = 7.70 %/K at 20 degC and 55 kJ/mol (computed independently).
    around = [float(rate_factor(293.15 + step, 293.15, 55e3)) for step in (-0.01, 0.01)]

    assert np.log(around[1] / around[0]) / 0.02 == pytest.approx(0.0770, abs=5e-5)


def test_a_ramp_is_integrated_and_not_averaged_first():
    # Computed independently: 15 -> 25 degC in 10 h, Ts 23 degC, Ea 55 kJ/mol.
    at_s = np.linspace(0.0, 36_000.0, 11)

    age_h = equivalent_age(at_s, kelvin(np.linspace(15.0, 25.0, 11)), 296.15, 55e3)[-1]

    assert age_h == pytest.approx(8.136389, abs=1e-6)
    assert 10.0 * rate_factor(293.15, 296.15, 55e3) == pytest.approx(7.956585, abs=1e-6)
    standard = 5000.0 * 8.314462618
    age_h = equivalent_age(at_s, kelvin(np.linspace(15.0, 25.0, 11)), 296.15, standard)[-1]
    assert age_h == pytest.approx(8.518201, abs=1e-6)
    hourly_h = stepwise_age(1.0, kelvin(np.arange(15.5, 25.0)), 296.15, standard)[-1]
    assert hourly_h == pytest.approx(8.517147, abs=1e-6)


def test_ten_hours_at_the_label_then_a_cold_room():
    # Computed independently: 24 h label, 10 h at 23 degC and the rest at 16: 34.0420 h.
    factor = float(rate_factor(289.15, 296.15, 55e3))

    assert factor == pytest.approx(0.582315, abs=1e-6)
    assert 10.0 + 14.0 / factor == pytest.approx(34.0420, abs=1e-4)


@pytest.mark.parametrize(
    ("cool_c", "energy_j_mol"),
    [(5, 46_191), (10, 47_837), (15, 49_512), (20, 51_216), (25, 52_949), (30, 54_710)],
)
def test_doubling_per_ten_kelvin_is_not_one_energy(cool_c, energy_j_mol):
    # Computed independently, to 1 J/mol.
    found = energy_for_ratio(2.0, 273.15 + cool_c, 283.15 + cool_c)

    assert found == pytest.approx(energy_j_mol, abs=0.6)


@pytest.mark.parametrize(
    ("temp_c", "at_50", "at_55", "at_60", "at_55_from_25"),
    [
        (5, 3.7213, 4.2439, 4.8398, 4.9298),
        (10, 2.5403, 2.7885, 3.0610, 3.2393),
        (15, 1.7573, 1.8592, 1.9670, 2.1597),
        (18, 1.4173, 1.4675, 1.5196, 1.7048),
        (20, 1.2310, 1.2568, 1.2832, 1.4600),
        (21, 1.1481, 1.1640, 1.1802, 1.3522),
        (25, 0.8727, 0.8609, 0.8492, 1.0),
        (28, 0.7138, 0.6901, 0.6673, 0.8017),
        (30, 0.6257, 0.5970, 0.5697, 0.6935),
        (35, 0.4535, 0.4190, 0.3872, 0.4868),
    ],
)
def test_time_multipliers_of_a_usual_epoxy(temp_c, at_50, at_55, at_60, at_55_from_25):
    # Computed independently: 50, 55, 60 kJ/mol against 23 degC, 55 against 25; four decimals.
    found = [
        1.0 / float(rate_factor(273.15 + temp_c, ref_k, energy))
        for energy, ref_k in ((50e3, 296.15), (55e3, 296.15), (60e3, 296.15), (55e3, 298.15))
    ]

    assert found == pytest.approx([at_50, at_55, at_60, at_55_from_25], abs=6e-5)


def test_every_exact_age_of_the_open_data():
    # Closed forms, "good to 1e-6 for a correct integrator" (the file's own note).
    with open_data("cure/exact_values.csv").open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(lines))
    checked = 0
    for row in rows:
        numbers = re.match(r"Ea=(\d+) J/mol Tref=(\d+) C; \w+ \(.*?\)=(\[.*\])", row["inputs"])
        expected = pytest.approx(float(row["value"]), rel=1e-6)
        if row["quantity"] == "equivalent age, constant steps":
            steps = np.array(literal_eval(numbers[3]), dtype=float)
            ages = stepwise_age(
                steps[:, 1], kelvin(steps[:, 0]), 273.15 + int(numbers[2]), int(numbers[1])
            )
            assert ages[-1] == expected
        elif row["quantity"] == "equivalent age, linear ramps":
            total = 0.0
            for begin_c, end_c, hours in literal_eval(numbers[3]):
                at_s = np.linspace(0.0, 3600.0 * hours, 145)
                line_k = kelvin(np.linspace(begin_c, end_c, 145))
                total += equivalent_age(at_s, line_k, 273.15 + int(numbers[2]), int(numbers[1]))[-1]
            assert total == expected
        elif row["quantity"].startswith("rate ratio"):
            energy, cool, warm = map(int, re.findall(r"\d+", row["inputs"]))
            assert rate_factor(273.15 + warm, 273.15 + cool, energy) == expected
        elif row["quantity"].startswith("Nurse-Saul"):
            assert maturity([24, 24, 24], [20, 5, -3]) == expected
        else:
            continue
        checked += 1
    assert checked == 46
