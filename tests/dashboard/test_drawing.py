"""Pictures: local time through a daylight-saving night, gaps kept, nothing that is no number."""

from __future__ import annotations

import itertools
import json
import math
import re
import xml.etree.ElementTree as ET

import pytest

from dashboard.axes import TimeAxis, framed
from dashboard.drawing import Chart, Line, Shade, chart, picture
from dashboard.strip import Stop, strip
from dashboard.wording import Local, span

# The night of 25 October 2026: in Lisbon the clock goes back at 02:00 WEST.
BEFORE = 1_792_879_200.0  # 2026-10-24 22:00 UTC, 23:00 local
SPRING = 1_774_735_200.0  # 2026-03-28 22:00 UTC; at 01:00 the clock goes to 02:00
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


@pytest.mark.parametrize(
    ("start", "hours", "most"),
    [(BEFORE, 12, 7), (BEFORE, 36, 7), (SPRING, 12, 7), (SPRING, 36, 7), (BEFORE, 48, 4)],
    ids=["autumn", "autumn-long", "spring", "spring-long", "phone"],
)
def test_ticks_stand_at_round_local_hours_on_both_sides_of_the_night(start, hours, most):
    axis = TimeAxis(start, start + hours * 3600, 0.0, 100.0, LOCAL)
    ticks = axis.ticks(most)
    shown = [LOCAL.at(at_s).hour for at_s, _ in ticks]
    step = next(n for n in (2, 3, 6, 12) if hours / n <= most)
    assert shown
    assert [hour % step for hour in shown] == [0] * len(shown)
    assert [words for _, words in ticks if ":" in words] == [
        f"{hour:02}:00" for hour in shown if hour
    ]


def test_an_hour_that_comes_twice_has_two_ticks_and_one_that_is_skipped_has_none():
    # Lisbon 2026: 01:00 comes twice on 25 October, and not at all on 29 March.
    for start, count in ((BEFORE, 2), (SPRING, 0)):
        ticks = TimeAxis(start, start + 6 * 3600, 0.0, 100.0, LOCAL).ticks(7)
        assert [words for _, words in ticks].count("01:00") == count


def test_marks_close_together_are_all_named_and_no_two_on_each_other():
    marks = [(BEFORE + 600.0 * n, name) for n, name in enumerate(["Tacky", "Tack-free", "Hard"])]
    marks.append((BEFORE + 36 * 3600.0, "Nail dents it"))  # at the very edge
    line = Line([BEFORE, BEFORE + 36 * 3600.0], [0.0, 90.0], "ink", "cure")
    drawn = Chart("t", BEFORE, BEFORE + 36 * 3600.0, "%", [line], marks=marks)
    for narrow, width in ((False, 720), (True, 380)):
        boxes = [
            (float(n.get("x")), float(n.get("x")) + 8.5 * len(n.text), n.get("y"))
            for n in ET.fromstring(chart(drawn, LOCAL, narrow=narrow)).iter()
            if "said" in (n.get("class") or "")
        ]
        assert len(boxes) == 4
        assert all(start >= 0 and end <= width for start, end, _ in boxes)
        assert not any(
            one[2] == other[2] and one[0] < other[1] and other[0] < one[1]
            for one, other in itertools.combinations(boxes, 2)
        )


def test_elapsed_hours_have_no_clock_and_no_night():
    drawn = Chart("t", 0.0, 36 * 3600.0, "%", [Line([0.0, 36 * 3600.0], [0.0, 9.0], "ink", "t")],
                  elapsed=True)  # fmt: skip
    svg = chart(drawn, LOCAL)
    assert "12 h" in texts(svg)
    assert "night" not in svg


def test_now_never_stands_on_the_words_of_the_strip_nor_on_the_unit():
    # A minute after the pour the line of the present is at the far left.
    stop = Stop(1, "Tape", BEFORE + 3600, BEFORE, BEFORE + 7200, BEFORE + 9000, False)
    for narrow in (False, True):
        root = ET.fromstring(
            strip([stop], BEFORE, BEFORE + 4 * 3600, BEFORE + 60, LOCAL, "", narrow=narrow)
        )
        line = next(node for node in root.iter() if node.get("class") == "now")
        words = [n for n in root.iter() if n.text in ("label", "this room", "this", "room")]
        assert words
        # 8.5 units a letter is what the axis itself reckons with.
        assert all(float(n.get("x")) + 8.5 * len(n.text) <= float(line.get("x1")) for n in words)


def test_labels_of_the_axis_do_not_touch():
    for hours in (1, 5, 13, 30, 60, 100, 200, 400, 2000):
        svg = chart(Chart("t", BEFORE, BEFORE + hours * 3600, "%", []), LOCAL, narrow=True)
        spans = []
        for node in ET.fromstring(svg).iter():
            if not node.tag.endswith("text") or float(node.get("y")) < 230:
                continue
            wide, x = 8.5 * len(node.text), float(node.get("x"))
            start = x - wide * {"start": 0.0, "middle": 0.5, "end": 1.0}[node.get("text-anchor")]
            spans.append((start, start + wide))
        assert spans
        assert all(a[1] < b[0] for a, b in itertools.pairwise(spans)), hours


def test_a_phones_picture_keeps_the_extremes():
    at_s = [BEFORE + 60.0 * n for n in range(1000)]
    low, high = [10.0] * 1000, [20.0] * 1000
    low[501], high[777] = 2.0, 33.0
    line = Line(at_s, [15.0] * 1000, "ink", "t", low, high)
    drawn = Chart("t", at_s[0], at_s[-1], "°C", [line], floor=0.0, ceiling=40.0)
    phone = picture(drawn, LOCAL).split("<svg")[2]
    ys = {
        float(pair.split(",")[1])
        for pair in re.search(r'polygon[^>]*points="([^"]*)"', phone)[1].split()
    }
    # Drawn from 214 down for 0 to 20 up for 40.
    assert min(ys) == round(214 - 33 / 40 * 194)
    assert max(ys) == round(214 - 2 / 40 * 194)


def test_the_cursor_is_given_every_value_that_is_drawn_and_the_name_of_each_shade():
    at_s = [BEFORE + 600.0 * n for n in range(4)]
    line = Line(at_s, [20.04, math.nan, 21.0, 22.0], "ink", "temperature")
    shade = Shade(at_s[1], at_s[2], "cold", 'too "cold"')
    html = picture(Chart("t", at_s[0], at_s[-1], "°C", [line], [shade]), LOCAL)
    told = json.loads(ET.fromstring(html).get("data-read"))
    assert told["at"] == [[0, 600, 1200, 1800]]
    assert told["lines"] == [["temperature", 0, [20.0, None, 21.0, 22.0]]]
    assert told["shades"] == [[600, 1200, 'too "cold"']]
    assert told["zone"] == "Europe/Lisbon"


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


def numbers_of(svg):
    return [
        (float(node.get("x")), node.text)
        for node in ET.fromstring(svg).iter()
        if node.get("class") == "number"
    ]


@pytest.mark.parametrize("narrow", [False, True])
def test_the_line_of_the_present_strikes_no_number_through(narrow):
    # Stops at, just before and just after the present.
    for off in (-600.0, 0.0, 600.0):
        at_s = BEFORE + 2 * 3600 + off
        stop = Stop(2, "Tape", at_s, None, at_s, None, False)
        drawn = strip([stop], BEFORE, BEFORE + 8 * 3600, BEFORE + 7200, LOCAL, "", narrow=narrow)
        line = next(n for n in ET.fromstring(drawn).iter() if n.get("class") == "now")
        # A bold digit is about ten wide.
        assert all(abs(x - float(line.get("x1"))) >= 7.0 for x, _ in numbers_of(drawn))


def test_at_the_start_numbers_keep_clear_of_the_words_beside_the_strip():
    stops = [Stop(n, "s", BEFORE + 60.0 * n, None, BEFORE + 60.0 * n, None, False) for n in (1, 2)]
    drawn = strip(stops, BEFORE, BEFORE + 90 * 3600, BEFORE + 300, LOCAL, "", narrow=True)
    assert {words for _, words in numbers_of(drawn)} == {"1–2"}
    assert all(x > 52.0 for x, _ in numbers_of(drawn))


def test_an_axis_of_values_ends_near_the_data():
    at_s = [BEFORE, BEFORE + 3600.0]
    svg = chart(Chart("t", *at_s, "°C", [Line(at_s, [-0.2, 21.3], "ink", "t")]), LOCAL)
    assert "-10" not in texts(svg)
    assert {"0", "10", "20"} <= set(texts(svg))


@pytest.mark.parametrize(
    ("low", "high"), [(8.3, 20.9), (9.0, 29.5), (18.4, 19.2), (-3.0, 41.0), (15.0, 20.0), (20, 20)]
)
@pytest.mark.parametrize(("height", "most"), [(126, 4), (240, 5)])
def test_a_framed_axis_of_values_has_three_labels_however_low(low, high, height, most):
    floor, ceiling = framed(low, high, most)
    assert floor <= low <= high <= ceiling
    at_s = [BEFORE, BEFORE + 3600.0]
    lines = [Line(at_s, [low, high], "ink", "t")]
    svg = chart(Chart("t", *at_s, "°C", lines, floor=floor, ceiling=ceiling, height=height), LOCAL)
    numbers = [float(t) for t in texts(svg) if re.fullmatch(r"-?\d+(\.\d+)?", t)]
    assert len(numbers) >= 3


def test_ten_days_have_three_dates_on_a_phone():
    assert len(TimeAxis(BEFORE, BEFORE + 240 * 3600, 0.0, 330.0, LOCAL).ticks(4)) >= 3


def test_a_phone_shows_a_month_by_days_not_as_a_zigzag():
    at_s = [BEFORE + 10_800.0 * n for n in range(240)]
    values = [20.0 if n % 8 < 4 else 14.0 for n in range(240)]
    line = Line(at_s, values, "ink", "t", values, values)
    phone = picture(Chart("t", at_s[0], at_s[-1], "°C", [line]), LOCAL).split("<svg")[2]
    points = re.search(r'polyline[^>]*points="([^"]*)"', phone)[1].split()
    assert len(points) == 30
    assert len({pair.split(",")[1] for pair in points}) == 1


def test_durations_are_as_long_as_it_matters():
    assert [span(s) for s in (20, 1500, 3600, 12_000, 36_000, 90_000, 260_000, 700_000)] == [
        "less than a minute", "25 min", "1 h", "3 h 20 min", "10 h", "25 h", "3 d", "8 d",
    ]  # fmt: skip
