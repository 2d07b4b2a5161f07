"""Pours and cups of the generic resins: the trade's rules of thumb come out of the model."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import numpy as np
import pytest

from monitor.core.cure.pourheat import BOTTOM_W_M2_K, mixed_density, peak_words, pour_heat
from monitor.core.cure.resin import TACK_FREE_CONVERSION, cure_law, with_defaults
from monitor.core.cure.selfheat import cup, lifts, max_depth_mm, sooner_h
from monitor.core.cure.warming import anchored_law, label_room
from monitor.core.physics.aging import equivalent_age, kelvin
from monitor.core.physics.master import master_curve
from monitor.core.vocabulary import ResinProfile, StageTime

AT_H = np.linspace(0.0, 72.0, 289)


def coating() -> ResinProfile:
    stages = {"working_time_end": StageTime(0.75, "label"), "tack_free": StageTime(8.0, "label")}
    return ResinProfile(
        key="coating",
        name="Coating resin",
        kind="pour",
        ref_temp_c=23.0,
        stages=with_defaults("pour", stages),
        ratio_by_volume=(2.0, 1.0),
    )


def casting() -> ResinProfile:
    stages = {"working_time_end": StageTime(6.0, "label"), "tack_free": StageTime(36.0, "label")}
    return replace(
        coating(),
        key="casting",
        name="Casting resin",
        ref_depth_mm=30.0,
        heat_j_g=330.0,
        stages=with_defaults("pour", stages),
    )


def adhesive() -> ResinProfile:
    stages = {"handling_set": StageTime(0.5, "label")}
    return replace(coating(), key="glue", kind="adhesive", stages=with_defaults("adhesive", stages))


@pytest.mark.parametrize("profile", [coating(), casting()], ids=lambda p: p.key)
def test_law_and_own_warmth_together_are_tack_free_when_the_label_says(
    profile: ResinProfile,
) -> None:
    law = anchored_law(profile)
    label_h = profile.stages["tack_free"].hours
    at_h = np.linspace(0.0, 2.0 * label_h, 400)
    heat = pour_heat(profile, law, profile.ref_depth_mm, "wood", at_h, profile.ref_temp_c)
    age_h = equivalent_age(
        at_h * 3600.0, kelvin(profile.ref_temp_c + heat.rise_c), law.ref_k, law.ea_j_mol
    )
    reached_h = float(np.interp(float(master_curve(law).age_at(TACK_FREE_CONVERSION)), age_h, at_h))
    # Halving to 0.1 % of the scale and a grid of 400 points.
    assert reached_h == pytest.approx(label_h, rel=3e-3)
    assert 0.0 < label_room(profile).scale < 1.0


def test_a_thinner_film_of_the_same_resin_comes_later_than_its_label() -> None:
    profile = coating()
    law = anchored_law(profile)
    film = pour_heat(profile, law, 0.5, "wood", AT_H, 23.0)
    layer = pour_heat(profile, law, profile.ref_depth_mm, "wood", AT_H, profile.ref_temp_c)
    assert film.rise_c.max() < 0.3 * layer.rise_c.max()
    at_label = sooner_h(law, layer, 23.0, 0.4)
    assert at_label > sooner_h(law, film, 23.0, 0.4)


def test_a_coating_resin_is_safe_at_a_few_millimetres_and_runs_away_at_a_few_centimetres() -> None:
    # Common practice, no published source.
    profile, law = coating(), anchored_law(coating())
    thin = pour_heat(profile, law, 3.0, "wood", AT_H, 23.0)
    deep = pour_heat(profile, law, 30.0, "wood", AT_H, 23.0)
    assert not thin.runaway
    assert thin.peak_c < 35.0
    assert deep.runaway
    assert 5.0 < max_depth_mm(profile, "wood", 23.0) < 15.0


def test_a_casting_resin_takes_several_centimetres() -> None:
    # Common practice, no published source.
    profile = casting()
    assert 30.0 < max_depth_mm(profile, "wood", 23.0) < 80.0
    heat = pour_heat(profile, anchored_law(profile), 30.0, "wood", AT_H, 23.0)
    assert not heat.runaway
    assert heat.peak_c < profile.peak_limit_c


def test_a_warm_room_and_a_poorly_cooled_mould_allow_less_depth() -> None:
    profile = coating()
    by_room = [max_depth_mm(profile, "wood", room_c) for room_c in (18.0, 23.0, 28.0)]
    assert by_room[0] > by_room[1] > by_room[2]
    by_cooling = sorted(BOTTOM_W_M2_K, key=BOTTOM_W_M2_K.__getitem__)
    depths = [max_depth_mm(profile, base, 23.0) for base in by_cooling]
    assert depths == sorted(depths)
    assert depths[0] < depths[-1]


def test_the_greatest_depth_peaks_at_the_limit_and_not_above() -> None:
    profile = coating()
    depth = max_depth_mm(profile, "wood", 23.0)
    law = anchored_law(profile)
    # The search is coarse (1 % of depth, ten cells), and near runaway a hundredth of depth
    # is worth several kelvin: a margin of 5 % in depth brackets the limit.
    under = pour_heat(profile, law, 0.95 * depth, "wood", AT_H, 23.0).peak_c
    over = pour_heat(profile, law, 1.05 * depth, "wood", AT_H, 23.0).peak_c
    assert under < profile.peak_limit_c < over


def test_a_room_at_the_limit_allows_no_depth() -> None:
    assert max_depth_mm(replace(coating(), peak_limit_c=40.0), "wood", 41.0) == 0.0


def test_a_resin_without_heat_takes_any_depth() -> None:
    assert max_depth_mm(replace(coating(), heat_j_g=0.0), "wood", 23.0) == 200.0


def test_a_depth_is_split_into_equal_lifts() -> None:
    assert lifts(20.0, 8.0) == pytest.approx((20.0 / 3.0,) * 3)
    assert lifts(8.0, 8.0) == (8.0,)
    with pytest.raises(ValueError, match="no depth is safe"):
        lifts(8.0, 0.0)


def test_a_cup_keeps_less_working_time_the_more_is_in_it() -> None:
    profile = coating()
    density = mixed_density(profile) / 1000.0
    times_h = [cup(profile, ml * density, 23.0).working_h for ml in (30.0, 300.0, 1000.0)]
    assert times_h[0] > times_h[1] > times_h[2]
    big = cup(profile, 300.0 * density, 23.0)
    # A coating resin works for three quarters of an hour on the piece; common practice,
    # no published source. At the reference temperature that is the label's own number.
    assert big.on_piece_h == pytest.approx(0.75)
    assert big.working_h < 0.9 * big.on_piece_h
    # A forgotten cup smokes: common practice, no published source.
    assert big.runaway
    assert big.peak_at_h > big.working_h


def test_a_cup_is_never_promised_longer_than_the_piece() -> None:
    for grams in (30.0, 300.0, 3000.0):
        small = cup(casting(), grams, 21.0)
        assert 0.0 < small.working_h <= small.on_piece_h


def test_a_warm_room_and_a_warm_mix_shorten_the_cup() -> None:
    profile = coating()
    here = cup(profile, 300.0, 23.0)
    assert cup(profile, 300.0, 30.0).working_h < here.working_h
    assert cup(profile, 300.0, 23.0, pour_temp_c=35.0).working_h < here.working_h


def test_a_peak_is_never_shown_as_an_absurd_number() -> None:
    heat = pour_heat(coating(), anchored_law(coating()), 60.0, "wood", AT_H, 23.0)
    assert heat.peak_c <= 150.0
    assert (23.0 + heat.rise_c).max() <= 150.0
    assert peak_words(heat.peak_c) == "over 150 °C: it smokes and cracks"
    assert peak_words(41.3) == "about 41 °C"


def test_an_uneven_grid_and_a_swinging_room_give_the_same_warmth() -> None:
    profile, law = coating(), anchored_law(coating())
    uneven = np.concatenate((np.linspace(0.0, 12.0, 289), np.linspace(13.0, 72.0, 60)))
    room_c = 22.0 + 2.0 * np.sin(2.0 * np.pi * uneven / 24.0)
    even_c = 22.0 + 2.0 * np.sin(2.0 * np.pi * AT_H / 24.0)
    one = pour_heat(profile, law, 6.0, "wood", uneven, room_c)
    other = pour_heat(profile, law, 6.0, "wood", AT_H, even_c)
    assert one.rise_c.shape == uneven.shape
    # Rooms given every 2.5 and every 15 minutes, straight between: a few hundredths.
    assert one.peak_c == pytest.approx(other.peak_c, abs=0.1)
    assert np.abs(np.interp(AT_H, uneven, one.rise_c) - other.rise_c).max() < 0.2


def test_a_glue_line_follows_its_room() -> None:
    glue = adhesive()
    assert label_room(glue).scale == 1.0
    heat = pour_heat(glue, cure_law(glue), 1.0, "wood", AT_H, 21.0)
    assert heat.peak_c == pytest.approx(21.0)
    assert not heat.rise_c.any()
    with pytest.raises(ValueError, match="is for pours"):
        max_depth_mm(glue, "wood", 21.0)


@pytest.mark.parametrize("depth_mm", [-1.0, 0.0, float("nan"), 1e4])
def test_a_senseless_depth_is_refused_in_words(depth_mm: float) -> None:
    with pytest.raises(ValueError, match=r"Depth is .* expected 0.05 to 300 mm"):
        pour_heat(coating(), cure_law(coating()), depth_mm, "wood", AT_H, 21.0)


def test_senseless_temperatures_masses_and_bases_are_refused_in_words() -> None:
    profile, law = coating(), cure_law(coating())
    with pytest.raises(ValueError, match="Room temperature runs from 21 to 400"):
        pour_heat(profile, law, 3.0, "wood", np.array([0.0, 1.0]), np.array([21.0, 400.0]))
    with pytest.raises(ValueError, match="Room temperature"):
        pour_heat(profile, law, 3.0, "wood", AT_H, float("nan"))
    with pytest.raises(ValueError, match="Temperature of the mix is 400"):
        pour_heat(profile, law, 3.0, "wood", AT_H, 21.0, pour_temp_c=400.0)
    with pytest.raises(ValueError, match="Mass in the cup is -5 g"):
        cup(profile, -5.0, 21.0)
    with pytest.raises(ValueError, match="Base is 'sand'"):
        pour_heat(profile, law, 3.0, "sand", AT_H, 21.0)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="rising order"):
        pour_heat(profile, law, 3.0, "wood", AT_H[::-1], 21.0)
    paint = replace(profile, kind="paint", stages=MappingProxyType({}))
    with pytest.raises(ValueError, match="paint"):
        cup(paint, 100.0, 21.0)
