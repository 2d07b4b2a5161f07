"""Moist air against two reference libraries and the handbook."""

from __future__ import annotations

import csv

import numpy as np
import psychrolib
import pytest
from CoolProp.HumidAirProp import HAPropsSI
from opendata import open_data

from monitor.core.physics.aging import kelvin
from monitor.core.physics.air import (
    dew_margin,
    dew_point,
    saturation_pressure,
    surface_humidity,
)

ROOMS = [(t, rh) for t in range(5, 36, 5) for rh in (20, 35, 50, 65, 80, 95)]


@pytest.mark.parametrize(("temp_c", "humidity_pct"), ROOMS)
def test_dew_point_agrees_with_two_libraries(temp_c, humidity_pct):
    psychrolib.SetUnitSystem(psychrolib.SI)
    ours_c = float(dew_point(temp_c + 273.15, humidity_pct)) - 273.15
    theirs_c = psychrolib.GetTDewPointFromRelHum(temp_c, humidity_pct / 100.0)
    others_c = HAPropsSI("D", "T", temp_c + 273.15, "P", 101325, "R", humidity_pct / 100) - 273.15
    if ours_c < 0.0:
        # Below 0 degC both libraries give the frost point and we the dew point over water,
        # which is the colder: compare as vapour pressures over ice instead.
        ice_pa = psychrolib.GetSatVapPres(theirs_c)
        ours_c = theirs_c + (
            np.log(float(saturation_pressure(ours_c + 273.15)) / ice_pa)
            * theirs_c_per_log(theirs_c)
        )

    # 0.1 K is a fifth of the sensor's own error.
    assert ours_c == pytest.approx(theirs_c, abs=0.1)
    assert ours_c == pytest.approx(others_c, abs=0.1)


def theirs_c_per_log(frost_c):
    """Slope of the frost point in the log of vapour pressure [K], by the library itself."""
    low, high = (psychrolib.GetSatVapPres(frost_c + step) for step in (-0.05, 0.05))
    return 0.1 / np.log(high / low)


def test_handbook_saturation_pressures():
    # ASHRAE Handbook Fundamentals 2017 as quoted in the psychrolib tests. The Magnus form is
    # good to 0.3 %; points below 0 degC are over ice there and over water here: left out.
    with open_data("psychro/ashrae_points_from_psychrolib_tests.csv").open() as lines:
        rows = [r for r in csv.DictReader(lines) if r["quantity"].startswith("saturation vapour")]
    checked = [row for row in rows if float(row["t_c"]) > 0.0]

    assert len(checked) == 3
    for row in checked:
        found = saturation_pressure(kelvin(float(row["t_c"])))
        assert found == pytest.approx(float(row["value"]), rel=3.5e-3)


def test_dew_points_of_the_open_grid():
    # Computed by PsychroLib 2.5.0 and CoolProp 8.0.0, and the Magnus form over water.
    with open_data("psychro/psychro_grid.csv").open() as lines:
        rows = list(csv.DictReader(lines))
    assert len(rows) > 100
    for row in rows:
        found_c = float(dew_point(kelvin(float(row["t_c"])), float(row["rh_pct"]))) - 273.15
        # The file's own Magnus column: the same formula, four decimals.
        over_water = float(row["dewpoint_c_magnus_17.62_243.12_over_water"])
        assert found_c == pytest.approx(over_water, abs=1e-4)
        if found_c > 0.0 and float(row["t_c"]) <= 40.0:
            assert found_c == pytest.approx(float(row["dewpoint_c_psychrolib"]), abs=0.1)
            assert found_c == pytest.approx(float(row["dewpoint_c_coolprop"]), abs=0.1)


def test_a_cold_panel_in_a_damp_room():
    # Computed independently (WMO Magnus): 20 degC, 60 %RH, panel at 15 degC.
    assert surface_humidity(293.15, 60.0, 288.15) == pytest.approx(82.246, abs=0.05)
    assert dew_margin(293.15, 60.0, 288.15) == pytest.approx(3.0045, abs=0.02)

    # A room at 18 degC, 70 %RH and a surface at 14 degC.
    assert dew_margin(291.15, 70.0, 287.15) == pytest.approx(1.5563, abs=0.02)


@pytest.mark.parametrize(
    ("temp_c", "magnus_pa", "iapws_pa"),
    [
        (0.01, 611.643, 611.655),
        (5, 871.743, 872.575),
        (10, 1226.030, 1228.199),
        (15, 1701.672, 1705.793),
        (20, 2332.596, 2339.318),
        (25, 3160.057, 3169.929),
        (30, 4233.724, 4246.971),
        (35, 5612.842, 5629.016),
        (40, 7367.458, 7384.938),
    ],
)
def test_saturation_pressure_over_water(temp_c, magnus_pa, iapws_pa):
    # Computed independently: the same WMO form, three decimals; IAPWS-95 by CoolProp, from
    # which the Magnus form strays by 0.3 % at most.
    found = float(saturation_pressure(273.15 + temp_c))

    assert found == pytest.approx(magnus_pa, abs=6e-4)
    assert found == pytest.approx(iapws_pa, rel=3.2e-3)


@pytest.mark.parametrize(
    ("temp_c", "humidity_pct", "dew_c"),
    [
        (5, 30, -11.1747),
        (5, 95, 4.2650),
        (10, 50, 0.0409),
        (10, 80, 6.7060),
        (15, 60, 7.2923),
        (15, 85, 12.4968),
        (20, 50, 9.2552),
        (20, 65, 13.2174),
        (23, 55, 13.4704),
        (25, 80, 21.3069),
        (30, 70, 23.9272),
        (35, 95, 34.0769),
    ],
)
def test_dew_points_by_the_wmo_form(temp_c, humidity_pct, dew_c):
    # Computed independently, four decimals; below 0 degC over water, not the frost point.
    found_c = float(dew_point(273.15 + temp_c, humidity_pct)) - 273.15

    assert found_c == pytest.approx(dew_c, abs=6e-5)


def test_handbook_humidity_of_saturated_air_and_of_a_wet_bulb():
    # ASHRAE Handbook Fundamentals 2017 as quoted in the psychrolib tests. The tables are of
    # a real gas; the ideal one is 0.46 % lower (computed independently), Magnus 0.3 % more.
    with open_data("psychro/ashrae_points_from_psychrolib_tests.csv").open() as lines:
        rows = [row for row in csv.DictReader(lines) if float(row["t_c"]) > 0.0]
    saturated = [row for row in rows if row["quantity"].startswith("saturation humidity ratio")]
    assert len(saturated) >= 2
    for row in saturated:
        vapour_pa = float(saturation_pressure(kelvin(float(row["t_c"]))))
        ratio = 0.621945 * vapour_pa / (101_325.0 - vapour_pa)
        assert ratio == pytest.approx(float(row["value"]), rel=8e-3)
    wet_bulb = {
        row["quantity"].split(": ")[1]: float(row["value"])
        for row in rows
        if row["quantity"].startswith("wet bulb 20 C dry bulb 40 C")
    }
    # The example rounds to 7 degC and 14 %RH, "0.5 abs" by the quoted test.
    dew_c = float(dew_point(kelvin(40.0), 100.0 * wet_bulb["relative humidity"])) - 273.15
    assert dew_c == pytest.approx(wet_bulb["dew point"], abs=0.5)


def test_how_far_a_sensors_error_moves_the_dew_point():
    # At 20 degC, 50 %RH: +2 %RH is +0.585 K, +0.5 K is +0.460 K (computed independently).
    at = float(dew_point(293.15, 50.0))

    assert float(dew_point(293.15, 52.0)) - at == pytest.approx(0.585, abs=1e-3)
    assert float(dew_point(293.65, 50.0)) - at == pytest.approx(0.460, abs=1e-3)


def test_the_painters_three_kelvin_at_fifteen_degrees():
    # Computed independently: 3.425 K at 80 %RH, 2.503 K at 85 %, near the limits that the
    # practice under ISO 8502-4 names (from memory).
    margins_k = [float(dew_margin(288.15, damp, 288.15)) for damp in (80.0, 85.0)]

    assert margins_k == pytest.approx([3.425, 2.503], abs=2e-3)
