"""A label's time, typed and shown as it is printed on the bottle."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.durations import hours_of, written

MINUTES_OF_80_DAYS = 80 * 24 * 60


@given(st.integers(1, MINUTES_OF_80_DAYS))
def test_whole_minutes_come_back_as_they_went_out(minutes):
    assert hours_of(written(minutes / 60.0)) == pytest.approx(minutes / 60.0, rel=1e-12)


@given(st.floats(0.005, 2000.0))
def test_any_time_comes_back_within_what_is_shown(hours):
    nearest = 0.5 / 60.0 if hours >= 59.5 / 60.0 else hours * 0.006
    assert hours_of(written(hours)) == pytest.approx(hours, abs=nearest + 1e-9)


@given(st.floats(0.005, 2000.0))
def test_what_is_shown_is_shown_the_same_again(hours):
    told = hours_of(written(hours))
    assert told is not None
    assert written(told) == written(hours)


@given(st.text(max_size=12))
def test_no_text_breaks_it_and_no_time_is_below_nothing(text):
    found = hours_of(text)
    assert found is None or found >= 0.0


@pytest.mark.parametrize(
    ("typed", "hours"),
    [
        ("45 min", 0.75),
        ("3 h 30 min", 3.5),
        ("3h30min", 3.5),
        ("3 h 30", 3.5),
        ("3 d", 72.0),
        ("0.75 h", 0.75),
        ("0,75 h", 0.75),
        ("1:30", 1.5),
        ("0:05", 5 / 60),
        ("8", 8.0),
        (" 2,5 ", 2.5),
        ("1 day 12 hours", 36.0),
        ("90 Minutes", 1.5),
        ("2\u00a0d 2\u00a0h", 50.0),
    ],
)
def test_a_time_is_typed_as_the_label_prints_it(typed, hours):
    assert hours_of(typed) == pytest.approx(hours)


@pytest.mark.parametrize(
    "typed", ["", "soon", "-3 h", "1:75", "30 min 3 h", "3 h 3 h", "nan", "5 s"]
)
def test_what_tells_no_time_is_none(typed):
    assert hours_of(typed) is None


@pytest.mark.parametrize(
    ("hours", "shown"),
    [(0.05, "3 min"), (0.125, "7.5 min"), (0.75, "45 min"), (1.0, "1 h"), (3.5, "3 h 30 min"),
     (24.0, "24 h"), (36.0, "36 h"), (60.0, "2 d 12 h"), (72.0, "3 d"), (0.9999, "1 h")],
)  # fmt: skip
def test_a_time_is_shown_as_the_label_prints_it(hours, shown):
    assert written(hours) == shown
