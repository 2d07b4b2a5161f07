"""Resin profiles: the library, a person's file, and what is wrong with a bad one."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor import shelf
from monitor.core.cure.resin import TACK_FREE_CONVERSION, cure_law, faults, from_mapping
from monitor.core.physics.master import master_curve
from monitor.core.vocabulary import STAGES, StageTime

GOOD = {
    "key": "mine",
    "name": "My resin",
    "kind": "pour",
    "ref_temp_c": 23.0,
    "stages": {"tack_free": 8.0},
}


def test_the_library_is_sound_and_says_where_its_numbers_come_from():
    found = {profile.key: profile for profile in shelf.library()}

    assert set(found) == {"coating_2_1", "slow_art", "deep_casting", "fast_adhesive", "paint_lines"}
    for profile in found.values():
        assert faults(profile) == ()
        assert set(profile.stages) == set(STAGES[profile.kind])
        assert profile.source == "common practice, no published source"


def test_a_label_that_says_little_gets_marked_defaults():
    profile = from_mapping(GOOD)

    assert profile.stages["tack_free"] == StageTime(8.0, "label")
    assert profile.stages["full_cure"] == StageTime(72.0, "default")
    assert faults(profile) == ()


def test_a_default_never_contradicts_the_label():
    profile = from_mapping(GOOD | {"stages": {"tack_free": 8.0, "full_cure": 20.0}})

    assert profile.stages["sandable"].hours <= 20.0
    assert faults(profile) == ()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"ref_temp_c": 400}, "ref_temp_c is 400 °C; expected 5 to 45 °C"),
        ({"ratio_by_volume": [0, 1]}, "ratio_by_volume is 0:1; both parts must be above 0"),
        ({"ratio_by_weight": "2:1"}, "it must be two numbers"),
        ({"ref_depth_mm": -3}, "ref_depth_mm is -3 mm"),
        ({"kind": "glue"}, "kind is 'glue'"),
        ({"ref_temp_c": float("nan")}, "ref_temp_c is nan; it must be a number"),
        ({"colour": "blue"}, "colour is not a setting"),
        (
            {"stages": {"tack_free": 0.5, "working_time_end": 1.0}},
            "tack_free (0.5 h) comes before working_time_end (1 h)",
        ),
        ({"stages": {"tack_free": 0}}, "tack_free is 0 h"),
        ({"stages": {"touch_dry": 1.0}}, "touch_dry is not a stage of a pour"),
        ({"min_temp_c": 31}, "min_temp_c 31 °C is not below max_temp_c 30 °C"),
    ],
)
def test_each_fault_is_named_with_its_value(change, words):
    with pytest.raises(ValueError) as refused:
        from_mapping(GOOD | change)

    assert words in str(refused.value)


def test_all_faults_are_told_at_once():
    with pytest.raises(ValueError) as refused:
        from_mapping(GOOD | {"ref_temp_c": 400, "ref_depth_mm": -3})

    assert "ref_temp_c" in str(refused.value)
    assert "ref_depth_mm" in str(refused.value)


def test_the_law_is_tack_free_when_the_label_says():
    law = cure_law(from_mapping(GOOD))

    assert master_curve(law).alpha_at(8.0) == pytest.approx(TACK_FREE_CONVERSION, abs=1e-6)


def test_too_little_hardener_lowers_the_ceiling_and_too_much_the_glass_transition():
    profile = from_mapping(GOOD)

    assert cure_law(profile, hardener_ratio=0.9).alpha_max == 0.9
    assert cure_law(profile, hardener_ratio=1.2).tg_inf_k < cure_law(profile).tg_inf_k


def test_paint_has_no_law_of_cure():
    paint = next(profile for profile in shelf.library() if profile.kind == "paint")

    with pytest.raises(ValueError) as refused:
        cure_law(paint)

    assert "dries by evaporation" in str(refused.value)


def test_a_profile_changed_by_hand_is_checked_too():
    assert "expected" in faults(replace(from_mapping(GOOD), ref_depth_mm=-1.0))[0]
