"""The units a person chose, there and back.

Factors: inch 25.4 mm, ounce 28.349523125 g and US fluid ounce 29.5735295625 ml are the legal
definitions (NIST SP 811, appendix B.8, from memory), as is degF = 1.8 degC + 32.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.forms import Form
from dashboard.units import Units, units_of
from dashboard.wording import Local, about, hours_after

US = Units(fahrenheit=True, fluid_ounces=True, ounces=True, inches=True)
METRIC = Units()


@pytest.mark.parametrize(
    ("value", "metric", "metric_words", "us_words"),
    [
        (25.4, "mm", "25.4 mm", "1 in"),
        (3.0, "mm", "3 mm", "0.118 in"),
        (6.4516, "cm²", "6.4516 cm²", "1 in²"),
        (29.5735295625, "ml", "29.5735 ml", "1 fl oz"),
        (28.349523125, "g", "28.3495 g", "1 oz"),
        (20.0, "°C", "20.0 °C", "68.0 °F"),
        (0.01, "g", "0.01 g", "0.00035 oz"),
    ],
)
def test_a_quantity_is_told_in_the_chosen_unit(value, metric, metric_words, us_words):
    assert METRIC.quantity(value, metric) == metric_words
    assert US.quantity(value, metric) == us_words


def test_a_fixed_number_of_decimals_is_kept_in_metric():
    assert METRIC.quantity(200.0, "ml", 1) == "200.0 ml"
    assert METRIC.quantity(50.0, "mm", 0) == "50 mm"
    assert US.quantity(50.0, "mm", 0) == "1.97 in"
    assert METRIC.quantity(None, "ml") == "—"


@given(
    # Four digits: as finely as anybody measures a pour.
    tenths=st.integers(1, 9999),
    power=st.integers(-2, 2),
    metric=st.sampled_from(["mm", "cm²", "ml", "g"]),
)
def test_what_a_form_shows_and_sends_back_unchanged_is_not_a_correction(tenths, power, metric):
    value = float(f"{tenths * 10.0**power:.4g}")
    assert US.to_metric(float(US.field(value, metric)), metric) == pytest.approx(value, rel=1e-9)


def test_a_field_is_typed_in_the_chosen_unit_and_its_fault_says_so():
    form = Form({"depth_mm": "0,25", "area_cm2": "10", "big": "30"}, US)
    assert form.number("depth_mm", "Depth", 0.05, 500, "mm") == pytest.approx(6.35)
    assert form.number("area_cm2", "Area", 0.1, 1e6, "cm²") == pytest.approx(64.516)
    assert form.number("big", "Depth", 0.05, 500, "mm") is None
    assert form.faults == ["Depth is 30 in; expected 0.00197 to 19.7"]


def test_the_cores_sentences_are_turned_differences_scaled_and_temperatures_shifted():
    spoken = US.spoken
    assert spoken("The room averages 16.5 °C; the label assumes 23 °C.") == (
        "The room averages 61.7 °F; the label assumes 73.4 °F."
    )
    assert spoken("The resin's own heat adds 5 °C.") == "The resin's own heat adds 9 °F."
    assert spoken("the room is 5 °C below the label's") == "the room is 9 °F below the label's"
    assert spoken(
        "The surface comes within 2.0 °C of the dew point; painting practice keeps 3 °C."
    ) == ("The surface comes within 3.6 °F of the dew point; painting practice keeps 5 °F.")
    assert spoken("taken as the label's 3 mm for its own heat") == (
        "taken as the label's 0.118 in for its own heat"
    )
    assert METRIC.spoken("18 °C and 3 mm") == "18 °C and 3 mm"


def test_settings_choose_the_units():
    assert units_of({}) == METRIC
    assert units_of({"temperature": "F", "volume": "floz", "weight": "oz", "length": "in"}) == US


def test_a_day_is_named_once_in_a_sentence_and_anew_in_the_next():
    # 2026-10-24 23:00 in Lisbon.
    here = Local("Europe/Lisbon", 1_792_879_200.0, units=US)
    one, two = 1_792_918_800.0, 1_792_926_000.0
    assert here.spoken(f"Cold from ⟦{one:.0f}⟧ until ⟦{two:.0f}⟧. Wait until ⟦{two:.0f}⟧.") == (
        "Cold from tomorrow 09:00 until 11:00. Wait until tomorrow 11:00."
    )


@pytest.mark.parametrize(
    ("value", "metric", "shown"),
    [
        (3.0, "mm", "0.118"),
        (6.0, "mm", "0.236"),
        (2.0, "mm", "0.0787"),
        (4.7625, "mm", "0.1875"),
        (450.0, "cm²", "69.75"),
        (20000.0, "cm²", "3100"),
        (1000.0, "ml", "33.8"),
        (18.0, "°C", "64.4"),
    ],
)
def test_a_field_in_other_units_shows_few_digits(value, metric, shown):
    assert US.neat(value, metric) == shown
    assert METRIC.neat(value, metric) == f"{value:g}"


@given(
    value=st.floats(0.05, 1e5),
    metric=st.sampled_from(["mm", "cm²", "ml", "g", "°C"]),
    chosen=st.sampled_from([US, METRIC]),
)
def test_a_field_sent_back_as_it_was_shown_changes_nothing(value, metric, chosen):
    sent = {"it": chosen.neat(value, metric), "it:was": chosen.was(value, metric)}
    assert Form(sent, chosen).number("it", "It", 0.01, 1e6, metric) == value


@given(parts=st.lists(st.floats(0.06, 1e4), min_size=2, max_size=2))
def test_a_sum_is_that_of_the_parts_as_they_are_shown(parts):
    for chosen in (US, METRIC):
        for metric in ("ml", "g"):
            a, b, total = (
                float(text.split()[0])
                for text in (
                    *(chosen.quantity(part, metric, 1) for part in parts),
                    chosen.added(parts, metric, 1),
                )
            )
            assert a + b == pytest.approx(total, abs=1e-9)


def test_a_limit_in_fahrenheit_is_not_rounded_to_another_one():
    assert (US.limit(18.0), US.limit(30.0), METRIC.limit(18.0)) == ("64.4 °F", "86 °F", "18 °C")
    assert US.spoken("17.9 °C, below the 18 °C") == "64.2 °F, below the 64.4 °F"
    # What is only about right stays so.
    assert US.spoken("softens from about 41 °C") == "softens from about 106 °F"


# 2026-10-24 in Lisbon, an hour ahead of UTC: 21:42 and 07:30.
EVENING, MORNING = 1_792_874_520.0, 1_792_823_400.0
HOUR = 3600.0


def test_past_midnight_is_tonight_until_five_also_at_the_end_of_a_stretch():
    here = Local("Europe/Lisbon", EVENING)
    assert here.clock(EVENING + 3 * HOUR) == "tonight 00:42"
    assert here.clock(EVENING + 10 * HOUR) == "tomorrow 06:42"
    assert here.between(EVENING + 1 * HOUR, EVENING + 3 * HOUR) == "22:42 to tonight 00:42"
    assert here.between(EVENING + 3 * HOUR, EVENING + 4 * HOUR) == "tonight 00:42 to 01:42"
    # One date, but the table beside it says 'tomorrow' of its morning.
    assert here.between(EVENING + 3 * HOUR, EVENING + 9 * HOUR) == "tonight 00:42 to tomorrow 05:42"
    # Before five it still is the night that began yesterday: the next one is tomorrow's.
    assert (
        Local("Europe/Lisbon", EVENING + 4 * HOUR).clock(EVENING + 30 * HOUR).startswith("tomorrow")
    )


def test_a_while_at_night_is_not_overnight():
    here = Local("Europe/Lisbon", EVENING)
    assert hours_after(EVENING, EVENING + 3 * HOUR, here) == "Until tonight 00:42"
    assert hours_after(EVENING, EVENING + 6 * HOUR, here) == "Overnight, until tonight 02:42"


def test_a_stretch_that_ends_today_says_so():
    here = Local("Europe/Lisbon", MORNING)
    from_s, to_s = MORNING - 9 * HOUR, MORNING - 1 * HOUR
    assert here.between(from_s, to_s) == "yesterday 22:30 to today 06:30"
    assert here.spoken(f"9 h from ⟦{from_s:.0f}⟧ to ⟦{to_s:.0f}⟧") == (
        "9 h from yesterday 22:30 to today 06:30"
    )
    assert here.on_paper().between(from_s, to_s) == "23 Oct 22:30 to 24 Oct 06:30"


def test_a_wait_is_told_no_finer_than_it_is_known():
    assert [about(s) for s in (20 * 60, 84 * 60, 414 * 60, 30 * HOUR)] == [
        "20 min", "1 h 20 min", "7 h", "30 h",
    ]  # fmt: skip
