"""Rules of thumb of the trade come out of the model, not into it.

Each rule: common practice, no published source. The model behind is set A as published
(second-hand), at the label's room of 23 degC unless said; depth and cup come from its heat.
"""

from __future__ import annotations

import numpy as np

from monitor import shelf
from monitor.core.cure.pourheat import mixed_density, pour_heat
from monitor.core.cure.resin import cure_law
from monitor.core.cure.selfheat import cup, max_depth_mm
from monitor.core.cure.warming import anchored_law
from monitor.core.physics.aging import rate_factor
from monitor.core.physics.kinetics import SET_A, law_at, relative_viscosity
from monitor.core.physics.master import master_curve
from monitor.core.physics.network import gel_conversion

AS_PUBLISHED = master_curve(law_at(SET_A, 296.15, 55e3, 216.15, 364.15, 0.36903))
LIBRARY = {profile.key: profile for profile in shelf.library()}
GEL = gel_conversion()


def test_ten_degrees_warmer_about_halves_the_times():
    # At the default activation energy, over the rooms people pour in.
    for cool_c in (15.0, 18.0, 20.0):
        assert 1.8 < float(rate_factor(283.15 + cool_c, 273.15 + cool_c, 55e3)) < 2.4


def test_an_eight_hour_coating_has_three_quarters_of_an_hour_to_work():
    # Working time ends at 5 to 20 % conversion; 5 % comes at three quarters of an hour
    # in a film, give or take a quarter.
    assert 0.5 < float(AS_PUBLISHED.age_at(0.05)) < 1.0


def test_it_passes_its_tack_free_conversion_at_about_eight_hours():
    assert 7.5 < float(AS_PUBLISHED.age_at(0.60)) < 8.5


def test_at_twelve_degrees_it_takes_the_better_part_of_a_day():
    law = law_at(SET_A, 285.15, 55e3, 216.15, 364.15, 0.36903)

    assert 14.0 < float(master_curve(law).age_at(0.60)) < 24.0


def test_tape_comes_off_at_two_hours_and_the_edge_still_levels_for_two_more():
    at_two, at_four = relative_viscosity(AS_PUBLISHED.alpha_at(np.array([2.0, 4.0])), GEL)

    # A few times the fresh mix, and no gel.
    assert 1.5 < at_two < 4.0
    assert 3.0 < at_four < 10.0


def test_a_fast_adhesive_is_firm_in_half_an_hour_and_needs_hours_to_cure():
    curve = master_curve(cure_law(LIBRARY["fast_adhesive"]))

    assert 0.55 < float(curve.alpha_at(0.5)) < 0.65
    assert float(curve.alpha_at(1.0)) < 0.85
    assert float(curve.age_at(0.95)) > 2.0


def test_a_coating_resin_is_safe_at_a_few_millimetres_and_runs_away_at_a_few_centimetres():
    # Common practice, no published source; also 3 to 6 mm a coat.
    coating = LIBRARY["coating_2_1"]
    law, at_h = anchored_law(coating), np.linspace(0.0, 72.0, 289)
    few_mm, few_cm = (pour_heat(coating, law, deep, "wood", at_h, 23.0) for deep in (4.0, 30.0))

    assert few_mm.peak_c < 40.0
    assert few_cm.runaway
    assert 3.0 < max_depth_mm(coating, "wood", 23.0) < 20.0


def test_a_casting_resin_takes_several_centimetres():
    # Common practice, no published source: 25 to 60 mm.
    assert 25.0 < max_depth_mm(LIBRARY["deep_casting"], "wood", 23.0) < 80.0


def test_ten_degrees_warmer_about_halves_the_time_in_the_cup():
    # Common practice, no published source ("pot life halves"); a cup that heats itself
    # loses a little more than the reaction alone.
    coating = LIBRARY["coating_2_1"]
    mass_g = 100.0 * mixed_density(coating) / 1000.0
    cool, warm = (cup(coating, mass_g, room_c).working_h for room_c in (20.0, 30.0))

    assert 0.35 < warm / cool < 0.6
