"""What a recipe of a piece must hold, and the way to a file and back."""

import re

import pytest
from planned import (
    RECIPES,
    RESINS,
    planned,
)

from monitor.core.cure.recipe import Moment, Recipe, Step, faults, from_dict, to_dict


@pytest.mark.parametrize("key", RECIPES)
def test_a_recipe_of_the_house_is_sound_and_survives_the_way_to_a_file(key):
    kinds = {name: profile.kind for name, profile in RESINS.items()}

    assert faults(RECIPES[key], kinds) == ()
    assert from_dict(to_dict(RECIPES[key])) == RECIPES[key]


def test_what_is_wrong_with_a_recipe_is_said_all_at_once_in_words():
    with pytest.raises(ValueError) as told:
        from_dict(
            {
                "key": "x",
                "name": "X",
                "colour": "red",
                "steps": [{"key": "a", "kind": "varnish", "depth_mm": "thick"}, 7],
            }
        )

    words = str(told.value)
    assert "colour is not a setting of the recipe" in words
    assert "depth_mm of step 1 is 'thick'" in words
    assert "step 2 is 7" in words


@pytest.mark.parametrize(
    ("steps", "words"),
    [
        ((Step("a", "flood_coat", "A", "coating_2_1", "sanded"),), "no layer below"),
        ((Step("a", "flood_coat", "A", "nowhere"),), "not on the shelf"),
        ((Step("a", "flood_coat", "A", "paint_lines"),), "is a paint; it must be a pour"),
        ((Step("a", "sand", "A", "paint_lines"),), "is work alone"),
        ((Step("a", "tape", "A", moments=(Moment("pull_tape"),)),), "has no layer after it"),
        (
            (Step("a", "painted_lines", "A", "paint_lines"),
             Step("b", "flood_coat", "B", "coating_2_1", "recoat_window")),
            "has no such stage",
        ),
        (
            (Step("a", "painted_lines", "A", "paint_lines", moments=(Moment("demould"),)),),
            "makes no sense",
        ),
    ],
)  # fmt: skip
def test_a_recipe_that_cannot_be_done_is_refused(steps, words):
    with pytest.raises(ValueError, match=re.escape(words)):
        planned(Recipe("r", "R", steps))
