"""The surface index: the program's own, engineering judgement, no published source.

Its check values were computed independently: open time Arrhenius, 55 kJ/mol, 23 degC.
"""

from __future__ import annotations

import numpy as np
import pytest

from monitor.core.cure.surface import hazard, surface_index, surface_risk
from monitor.core.physics.aging import rate_factor

LABEL_H = 8.0


def index(air_c, humidity_pct, surface_c):
    open_h = LABEL_H / float(rate_factor(surface_c + 273.15, 296.15, 55e3))
    one = np.ones(1)
    found = surface_index(open_h * one, air_c * one, humidity_pct * one, surface_c * one, LABEL_H)
    return found, open_h


@pytest.mark.parametrize(
    ("air_c", "humidity_pct", "surface_c", "expected"),
    [
        (23, 50, 23, 0.0),
        (20, 65, 20, 0.0838),
        (20, 65, 17, 0.6239),
        (15, 75, 15, 0.7437),
        (12, 80, 12, 1.6412),
        (18, 70, 14, 1.4769),
        (25, 85, 25, 0.1722),
        (10, 60, 10, 0.0),
    ],
)
def test_index_in_steady_air(air_c, humidity_pct, surface_c, expected):
    found, _ = index(air_c, humidity_pct, surface_c)

    # 1e-3: the reference used another saturation formula, 0.1 % apart.
    assert found.index == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize(
    ("air", "level"),
    [
        ((23, 50, 23), "low"),
        ((20, 65, 17), "medium"),
        ((15, 75, 15), "high"),
        ((25, 85, 25), "high"),
    ],
)
def test_level_and_the_three_kelvin_rule(air, level):
    # 25 degC and 85 %RH: index low, but 2.700 K above the dew point forces it high.
    found, open_h = index(*air)
    risk = surface_risk(found, 0.0, LABEL_H, open_h)

    assert risk.level == level
    assert bool(risk.reasons) == (level != "low")


def test_dew_on_the_surface_is_full_hazard():
    assert hazard(np.array([23.0]), np.array([60.0]), np.array([10.0]))[0] == 1.0
