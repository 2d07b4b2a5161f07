"""Pictures: local time through a daylight-saving night, gaps kept, nothing that is no number."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET

from dashboard.drawing import Chart, Line, Stop, TimeAxis, chart, strip
from dashboard.wording import Local, span

# The night of 25 October 2026: in Lisbon the clock goes back at 02:00 WEST.
BEFORE = 1_792_879_200.0  # 2026-10-24 22:00 UTC, 23:00 local
LOCAL = Local("Europe/Lisbon", BEFORE)


def texts(svg):
    return [node.text for node in ET.fromstring(svg).iter() if node.tag.endswith("text")]


def test_a_daylight_saving_night_has_its_own_hours():
    axis = TimeAxis(BEFORE, BEFORE + 12 * 3600, 0.0, 100.0, LOCAL)
    labels = [words for _, words in axis.ticks(20)]
    assert "Sun 25" in labels
    night = LOCAL.nights(BEFORE, BEFORE + 12 * 3600)
    # From 22:00 to 07:00 local is ten hours in this night.
    assert night[0][1] - (BEFORE - 3600) == 10 * 3600


def test_a_hole_in_the_log_is_a_hole_in_the_line():
    at_s = [BEFORE + 60 * n for n in [*range(10), *range(100, 110)]]
    svg = chart(Chart("t", at_s[0], at_s[-1], "°C", [Line(at_s, [20.0] * 20, "ink", "t")]), LOCAL)
    assert svg.count("<polyline") == 2


def test_values_that_are_none_leave_no_trace():
    at_s = [BEFORE + 60 * n for n in range(6)]
    values = [20.0, math.nan, 21.0, math.inf, 22.0, 22.0]
    svg = chart(Chart("t", at_s[0], at_s[-1], "°C", [Line(at_s, values, "ink", "t")]), LOCAL)
    assert "nan" not in svg
    assert "inf" not in svg


def test_an_empty_chart_is_still_a_chart():
    assert "20" not in texts(chart(Chart("t", 0.0, 3600.0, "°C", []), LOCAL))[0]


def test_the_strip_says_in_words_what_it_draws_and_escapes_names():
    stop = Stop(1, '<Tape & "co">', BEFORE + 3600, BEFORE, BEFORE + 7200, BEFORE + 9000, False)
    svg = strip([stop], BEFORE, BEFORE + 4 * 3600, BEFORE + 60, LOCAL, 'tape "off" at 01:00')
    root = ET.fromstring(svg)
    assert root.attrib["aria-label"].endswith('tape "off" at 01:00')
    assert any("<Tape" in (node.text or "") for node in root.iter())
    assert "now" in texts(svg)


def test_durations_are_as_long_as_it_matters():
    assert [span(s) for s in (20, 1500, 3600, 12_000, 36_000, 90_000, 260_000, 700_000)] == [
        "less than a minute", "25 min", "1 h", "3 h 20 min", "10 h", "25 h", "3 d", "8 d",
    ]  # fmt: skip
