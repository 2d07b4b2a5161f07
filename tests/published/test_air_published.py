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
