"""Amounts, ratios and cups, against arithmetic worked by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.cure.cost import Stock, draw_mix, hardener_is_old
from monitor.core.cure.mixing import (
    Amounts,
    amounts,
    circle_cm2,
    cups,
    pour_volume_ml,
    ratio_error,
    ratio_spread,
    rectangle_cm2,
    ring_cm2,
    with_waste,
)
from monitor.core.cure.resin import with_defaults
from monitor.core.cure.shapes import flat_place, held_depth_mm, need, water_place
from monitor.core.vocabulary import ResinProfile, StageTime


def resin(
    by_volume: tuple[float, float] | None = None, by_weight: tuple[float, float] | None = None
) -> ResinProfile:
    stages = {"working_time_end": StageTime(0.75, "label"), "tack_free": StageTime(8.0, "label")}
    return ResinProfile(
        key="r",
        name="Resin",
        kind="pour",
        ref_temp_c=23.0,
        stages=with_defaults("pour", stages),
        ratio_by_volume=by_volume,
        ratio_by_weight=by_weight,
        density_a_kg_m3=1130.0,
        density_b_kg_m3=1000.0,
    )


# 90 ml at 2:1 is 60 + 30; at 1:1 45 + 45; at 3:1 67.5 + 22.5. Grams: A 1.13 g/ml, B 1.00.
@pytest.mark.parametrize(
    ("ratio", "by_hand"),
    [
        ((2.0, 1.0), Amounts(60.0, 30.0, 67.8, 30.0)),
        ((1.0, 1.0), Amounts(45.0, 45.0, 50.85, 45.0)),
        ((3.0, 1.0), Amounts(67.5, 22.5, 76.275, 22.5)),
    ],
)
def test_ninety_millilitres_split_by_volume(ratio: tuple[float, float], by_hand: Amounts) -> None:
    found = amounts(resin(by_volume=ratio), 90.0)
    assert found.part_a_ml == pytest.approx(by_hand.part_a_ml, abs=1e-9)
    assert found.part_b_ml == pytest.approx(by_hand.part_b_ml, abs=1e-9)
    assert found.part_a_g == pytest.approx(by_hand.part_a_g, abs=1e-9)
    assert found.part_b_g == pytest.approx(by_hand.part_b_g, abs=1e-9)
    assert found.total_ml == pytest.approx(90.0)
    assert found.total_g == pytest.approx(by_hand.total_g)


def test_two_hundred_millilitres_split_by_weight() -> None:
    # 100:45 by weight: 100/1.13 + 45/1.00 = 133.496 ml per 145 g. 200 ml are then
    # 1.49818 times that: 149.8 g and 67.4 g; 132.6 ml and 67.4 ml.
    found = amounts(resin(by_weight=(100.0, 45.0)), 200.0)
    assert found.part_a_g == pytest.approx(149.8, abs=0.1)
    assert found.part_b_g == pytest.approx(67.4, abs=0.1)
    assert found.part_a_ml == pytest.approx(132.6, abs=0.1)
    assert found.part_b_ml == pytest.approx(67.4, abs=0.1)


def test_by_weight_is_kept_where_the_label_gives_both_and_a_scale_is_used() -> None:
    both = resin(by_volume=(2.0, 1.0), by_weight=(100.0, 45.0))
    weighed = amounts(both, 133.4956, by="g")
    assert weighed.part_a_g == pytest.approx(100.0, abs=1e-3)
    assert weighed.part_b_g == pytest.approx(45.0, abs=1e-3)
    assert amounts(both, 90.0).part_b_ml == pytest.approx(30.0)


def test_areas_and_volumes() -> None:
    assert rectangle_cm2(40.0, 30.0) == 1200.0
    assert circle_cm2(20.0) == pytest.approx(314.159, abs=1e-3)
    assert ring_cm2(20.0, 10.0) == pytest.approx(235.619, abs=1e-3)  # 75 pi
    # 1200 cm2 x 0.3 cm = 360 ml; with 10 % left in the cups 400 ml must be mixed.
    assert pour_volume_ml(1200.0, 3.0) == pytest.approx(360.0)
    assert pour_volume_ml(1200.0, 3.0, waste=0.1) == pytest.approx(400.0)
    assert with_waste(90.0, 0.0) == 90.0


def test_a_measured_ratio_is_judged_in_its_own_unit() -> None:
    by_volume = resin(by_volume=(2.0, 1.0))
    assert ratio_error(by_volume, 60.0, 27.0, "ml") == pytest.approx(0.9)
    # On a scale 2:1 by volume is 2.26:1 by weight.
    assert ratio_error(by_volume, 226.0, 100.0, "g") == pytest.approx(1.0)
    by_weight = resin(by_weight=(100.0, 45.0))
    assert ratio_error(by_weight, 100.0, 49.5, "g") == pytest.approx(1.1)
    # 100 g and 45 g are 88.496 ml and 45 ml.
    assert ratio_error(by_weight, 88.496, 45.0, "ml") == pytest.approx(1.0, abs=1e-5)


def test_a_coarse_scale_spoils_a_small_pour() -> None:
    small = resin(by_weight=(100.0, 32.0))
    low, high = ratio_spread(small, 20.0, 6.4, "g", 1.0)
    assert low == pytest.approx((5.4 / 21.0) / 0.32)
    assert high == pytest.approx((7.4 / 19.0) / 0.32)
    fine_low, fine_high = ratio_spread(small, 20.0, 6.4, "g", 0.1)
    assert 0.97 < fine_low < 1.0 < fine_high < 1.03
    with pytest.raises(ValueError, match="Use a finer scale"):
        ratio_spread(small, 20.0, 6.4, "g", 7.0)


def test_a_large_batch_goes_into_several_equal_cups() -> None:
    profile = resin(by_volume=(2.0, 1.0))
    found = cups(profile, 1500.0, 23.0)
    assert found.count >= 2
    assert found.count * found.each_ml == pytest.approx(1500.0)
    assert found.working_h >= 0.8 * found.on_piece_h
    assert cups(profile, 100.0, 23.0).count == 1


def test_a_stricter_share_asks_for_more_and_smaller_cups() -> None:
    profile = resin(by_volume=(2.0, 1.0))
    loose, strict = cups(profile, 1500.0, 23.0, share=0.8), cups(profile, 1500.0, 23.0, share=0.84)
    assert strict.count > loose.count
    assert strict.working_h >= 0.84 * strict.on_piece_h


@pytest.mark.parametrize("bad", [0.0, -3.0, float("nan"), float("inf")])
def test_senseless_sizes_are_refused_in_words(bad: float) -> None:
    with pytest.raises(ValueError, match=r"Depth is .* expected above 0"):
        pour_volume_ml(100.0, bad)
    with pytest.raises(ValueError, match=r"Width is .* expected above 0"):
        rectangle_cm2(10.0, bad)
    with pytest.raises(ValueError, match=r"Volume is .* expected above 0"):
        amounts(resin(by_volume=(2.0, 1.0)), bad)
    with pytest.raises(ValueError, match=r"Volume of part A is .* expected above 0"):
        ratio_error(resin(by_volume=(2.0, 1.0)), bad, 1.0, "ml")


def test_senseless_ratios_and_shares_are_refused_in_words() -> None:
    with pytest.raises(ValueError, match="Mixing ratio 2:0 of Resin is not above 0"):
        amounts(resin(by_volume=(2.0, 0.0)), 90.0)
    with pytest.raises(ValueError, match="states no mixing ratio"):
        amounts(resin(), 90.0)
    with pytest.raises(ValueError, match="Outer diameter 5 cm is not above the inner 8 cm"):
        ring_cm2(5.0, 8.0)
    with pytest.raises(ValueError, match="Waste is 1"):
        with_waste(90.0, 1.0)
    with pytest.raises(ValueError, match="Share of the working time is 0"):
        cups(resin(by_volume=(2.0, 1.0)), 90.0, 23.0, share=0.0)
    with pytest.raises(ValueError, match="Density of part B is 0"):
        amounts(replace(resin(by_volume=(2.0, 1.0)), density_b_kg_m3=0.0), 90.0)


# --- shapes, dam, ground, inlays: arithmetic worked by hand ------------------------


def test_several_shapes_are_summed() -> None:
    # 40 x 30 cm and two rings of 20/10 cm (75 pi cm² each), all 3 mm deep.
    places = [flat_place(1200.0, 3.0), flat_place(ring_cm2(20.0, 10.0), 3.0, count=2)]
    found = need(places)
    assert found.area_cm2 == pytest.approx(1200.0 + 150.0 * math.pi)
    assert found.fill_ml == pytest.approx(360.0 + 45.0 * math.pi)
    assert found.total_ml == found.fill_ml
    assert found.depth_mm == pytest.approx(3.0)


def test_a_hollow_is_measured_by_the_water_that_fills_it() -> None:
    # 100 g of water at 20 °C are 100.18 ml (density 0.9982 g/ml, tabulated).
    found = need([water_place(100.0, count=2)])
    assert found.fill_ml == pytest.approx(200.36, abs=0.01)
    assert found.depth_mm is None


def test_what_inlays_displace_is_taken_off_and_what_the_ground_drinks_put_on() -> None:
    # 1000 cm² x 3 mm = 300 ml, less 60 ml of shells, plus 1000 x 0.01 ml drunk by planed
    # wood = 250 ml; a tenth stays in the cups: 250 / 0.9 = 277.78 ml.
    found = need([flat_place(1000.0, 3.0)], ground="bare", displaced_ml=60.0, waste=0.1)
    assert found.fill_ml == pytest.approx(240.0)
    assert found.absorbed_ml == pytest.approx(10.0)
    assert found.total_ml == pytest.approx(277.78, abs=0.01)
    assert found.wasted_ml == pytest.approx(27.78, abs=0.01)


def test_a_dam_limits_the_depth() -> None:
    assert held_depth_mm(8.0, 5.0) == 5.0
    assert held_depth_mm(3.0, 5.0) == 3.0
    assert held_depth_mm(None, 5.0) == 5.0
    assert held_depth_mm(3.0, None) == 3.0
    with pytest.raises(ValueError, match="both empty"):
        held_depth_mm(None, None)
    with pytest.raises(ValueError, match="Dam height is 0 mm"):
        held_depth_mm(3.0, 0.0)


def test_senseless_shapes_are_refused_in_words() -> None:
    with pytest.raises(ValueError, match="at least one shape"):
        need([])
    with pytest.raises(ValueError, match=r"Inlays displace 400 ml; expected 0 up to less than"):
        need([flat_place(1000.0, 3.0)], displaced_ml=400.0)
    with pytest.raises(ValueError, match="Number of pieces is 0"):
        flat_place(10.0, 3.0, count=0)
    with pytest.raises(ValueError, match="Weight of the water is nan"):
        water_place(math.nan)


# --- bottles and cost ----------------------------------------------------------------

A = Stock(1, "A", 1000.0, 400.0, price=30.0, opened_at_s=100.0)
B_OLD = Stock(2, "B", 500.0, 20.0, price=20.0, opened_at_s=50.0)
B_NEW = Stock(3, "B", 500.0, 500.0, price=25.0)
KIT = Stock(4, "kit", 300.0, 300.0)


def test_a_mix_empties_the_bottle_open_longest_first() -> None:
    found = draw_mix(60.0, 30.0, [A, B_NEW, B_OLD])
    assert {draw.bottle: (draw.ml, draw.left_ml) for draw in found.draws} == {
        1: (60.0, 340.0),
        2: (20.0, 0.0),
        3: (10.0, 490.0),
    }
    assert found.enough
    # 60/1000 of 30, 20/500 of 20, 10/500 of 25: 1.80 + 0.80 + 0.50.
    assert found.cost == pytest.approx(3.10)


def test_the_chosen_bottle_comes_first_and_a_kit_last() -> None:
    found = draw_mix(60.0, 30.0, [KIT, A, B_OLD, B_NEW], chosen=(3,))
    assert {draw.bottle for draw in found.draws} == {1, 3}
    only_kit = draw_mix(60.0, 30.0, [KIT])
    assert [(draw.ml, draw.left_ml) for draw in only_kit.draws] == [(90.0, 210.0)]
    assert only_kit.cost is None  # no price known


def test_a_bottle_never_gives_more_than_it_has() -> None:
    found = draw_mix(500.0, 30.0, [A, B_OLD])
    assert (found.short_a_ml, found.short_b_ml) == (100.0, 10.0)
    assert not found.enough
    assert found.cost is None


def test_hardener_is_old_after_a_year_and_resin_is_not() -> None:
    # Common practice, no published source.
    year = 365 * 86400.0
    assert hardener_is_old("B", 0.0, year + 1.0)
    assert hardener_is_old("kit", 0.0, year + 1.0)
    assert not hardener_is_old("B", 0.0, year)
    assert not hardener_is_old("A", 0.0, 5 * year)
    assert not hardener_is_old("B", None, 5 * year)


SIZES = st.floats(0.0, 5000.0)


@given(
    a_ml=SIZES,
    b_ml=SIZES,
    left=st.lists(st.tuples(st.sampled_from(["A", "B", "kit"]), SIZES), max_size=6),
)
def test_nothing_is_made_or_lost_between_bottles_and_mix(a_ml, b_ml, left) -> None:
    stock = [Stock(n, part, 5000.0, ml) for n, (part, ml) in enumerate(left)]
    found = draw_mix(a_ml, b_ml, stock)
    drawn = sum(draw.ml for draw in found.draws)
    # A shortage below 0.01 ml is called none; sums of a few thousand are good to 1e-9.
    assert drawn + found.short_a_ml + found.short_b_ml == pytest.approx(a_ml + b_ml, abs=0.021)
    before = {one.id: one.left_ml for one in stock}
    for draw in found.draws:
        assert draw.left_ml >= 0.0
        assert draw.ml + draw.left_ml == pytest.approx(before[draw.bottle], abs=1e-6)
