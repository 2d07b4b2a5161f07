"""Hours as a maker says them."""

import pytest

from monitor.core.cure.durations import spoken_hours


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        (0.0, "0 min"),
        (0.8, "48 min"),
        (0.999, "1 h"),
        (1.3, "1 h 18 min"),
        (2.0, "2 h"),
        (9.99, "9 h 59 min"),
        (9.999, "10 h"),
        (13.4, "13 h"),
    ],
)
def test_minutes_are_told_while_they_matter(hours, words):
    assert spoken_hours(hours) == words


def test_a_coarser_step_rounds_the_minutes():
    assert spoken_hours(8.3, 5) == "8 h 20 min"
    assert spoken_hours(0.98, 5) == "1 h"
