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
        ([1], [20], 0.998125, 5e-7),
        ([1], [30], 1.566243, 5e-7),
    ],
)
def test_eurocode_adjusted_age(steps_d, temp_c, age_d, tolerance):
    assert eurocode_age(steps_d, temp_c) == pytest.approx(age_d, abs=tolerance)


def test_half_hour_maturity_record():
    # Computed independently in the form of ASTM C1074 (the standard's own table could not
    # be opened): Ts 23 degC, Q 5000 K, datum 0 degC. Six decimals printed.
    ages_h = stepwise_age(0.5, kelvin(RECORD_C), 296.15, 5000.0 * 8.314462618)

    assert ages_h[[0, 1, 4, 9, 15]] == pytest.approx(
        [0.5, 0.972201, 2.235445, 3.920288, 6.641030], abs=1e-6
    )
    assert maturity(0.5, RECORD_C) == pytest.approx(156.0, abs=1e-9)


def test_a_ramp_is_integrated_and_not_averaged_first():
    # Computed independently: 15 -> 25 degC in 10 h, Ts 23 degC, Ea 55 kJ/mol.
    at_s = np.linspace(0.0, 36_000.0, 11)

    age_h = equivalent_age(at_s, kelvin(np.linspace(15.0, 25.0, 11)), 296.15, 55e3)[-1]

    assert age_h == pytest.approx(8.136389, abs=1e-6)
    assert 10.0 * rate_factor(293.15, 296.15, 55e3) == pytest.approx(7.956585, abs=1e-6)


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
    ("temp_c", "multiplier"),
    [(5, 4.2439), (10, 2.7885), (15, 1.8592), (18, 1.4675), (25, 0.8609), (30, 0.5970)],
)
def test_time_multipliers_of_a_usual_epoxy(temp_c, multiplier):
    # Computed independently: 55 kJ/mol against 23 degC, four decimals.
    found = 1.0 / rate_factor(273.15 + temp_c, 296.15, 55e3)

    assert found == pytest.approx(multiplier, abs=6e-5)


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
