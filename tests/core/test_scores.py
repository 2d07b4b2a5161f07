"""What was said, held against what came: counted by hand on small cases."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.core.cure import score as stage_score
from monitor.core.room.score import Said, score
from monitor.core.vocabulary import (
    Layer,
    Mark,
    Outlook,
    ResinProfile,
    RoomSeries,
    StageOutlook,
    StageTime,
    SurfaceRisk,
)

HOUR = 3600.0
T0 = 1_790_000_000.0
RESIN = ResinProfile("a", "A", "pour", 23.0, {"tack_free": StageTime(8.0, "label")})


def room(temps, step_s=HOUR):
    at = T0 + step_s * np.arange(len(temps))
    return RoomSeries(at, np.asarray(temps, dtype=float), np.full(len(temps), 50.0))


def said(as_of_s, middle, half):
    at = as_of_s + HOUR * np.arange(6.0, 73.0, 6.0)
    flat = np.full(len(at), float(middle))
    return Said(as_of_s, at, flat - half, flat, flat + half)


def test_errors_and_coverage_are_the_ones_counted_by_hand():
    measured = room([20.0] * 6 + [18.0] * 25)
    # Six hours on it is 18: the first said 19 +- 2 (off by 1, inside; "as now" is off by 2),
    # the second, made two hours in, said 21 +- 1 (off by 3, outside).
    six, day = score([said(T0, 19, 2), said(T0 + 2 * HOUR, 21, 1)], measured)
    assert (six.lead_h, six.count) == (6.0, 2)
    assert six.error_c == pytest.approx(2.0)
    assert six.as_now_error_c == pytest.approx(2.0)
    assert six.inside == 0.5
    assert (day.lead_h, day.count) == (24.0, 2)


def test_a_forecast_is_not_judged_before_its_time_or_across_a_gap():
    assert score([said(T0, 19, 2)], room([20.0] * 4)) == ()
    gap = RoomSeries(
        np.array([T0, T0 + 5 * HOUR, T0 + 7 * HOUR]), np.full(3, 20.0), np.full(3, 50.0)
    )
    assert score([said(T0, 19, 2)], gap) == ()
    assert score([], room([20.0] * 9)) == ()


def outlook(as_of_s, reached_at_s=None, p10=7.0, p90=9.0):
    stage = StageOutlook(
        "tack_free", 8.0, "label", T0 + 8 * HOUR, reached_at_s,
        T0 + p10 * HOUR, T0 + 8 * HOUR, T0 + p90 * HOUR, "",
    )  # fmt: skip
    return Outlook(
        1, as_of_s, 0.1, -20.0, 0.2, 1.0, False, None, "liquid", SurfaceRisk(0.0, "low"),
        None, None, (stage,),
    )  # fmt: skip


def felt(*marks):
    layer = Layer(1, 1, "Flood", RESIN, T0)
    seen = [Mark(n, 1, kind, T0 + hours * HOUR) for n, (kind, hours) in enumerate(marks)]
    rows = stage_score.score(layer, [outlook(T0 + 60), outlook(T0 + 20 * HOUR, T0 + 8.5 * HOUR)],
                             seen)  # fmt: skip
    return rows[0].felt


@pytest.mark.parametrize(
    ("marks", "verdict"),
    [
        ([("tacky", 7.5), ("tack_free", 8.5)], "inside"),
        ([("tack_free", 6.0)], "early"),
        ([("tacky", 10.0)], "late"),
        ([("tacky", 8.0), ("tack_free", 11.0)], "open"),
        ([("tacky", 5.0)], "open"),
        ([], None),
    ],
)
def test_marks_judge_a_band_only_as_far_as_they_tell(marks, verdict):
    assert felt(*marks) == verdict


def test_the_clock_over_the_measured_room_judges_the_band_too():
    layer = Layer(1, 1, "Flood", RESIN, T0)
    [inside] = stage_score.score(layer, [outlook(T0), outlook(T0 + 9 * HOUR, T0 + 8 * HOUR)], [])
    assert inside.ran_inside is True
    [late] = stage_score.score(layer, [outlook(T0), outlook(T0 + 12 * HOUR, T0 + 11 * HOUR)], [])
    assert late.ran_inside is False


def test_a_layer_entered_long_after_its_pour_was_never_foretold():
    layer = Layer(1, 1, "Flood", RESIN, T0)
    assert stage_score.score(layer, [outlook(T0 + 5 * HOUR)], []) == ()
    assert stage_score.score(layer, [], []) == ()
