"""What harms a layer, and what a person may do with it now."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.core.alarms import rules
from monitor.core.vocabulary import (
    STAGES,
    Layer,
    Mark,
    Outlook,
    Remedy,
    ResinProfile,
    StageOutlook,
    StageTime,
    SurfaceRisk,
)

T0 = 1_700_000_000.0
HOUR_S = 3600.0
# Hours after the pour: a made-up coating resin in a room at its reference temperature.
HOURS = {
    "rest_over": 0.1,
    "working_time_end": 0.5,
    "tape_window_open": 2.0,
    "tape_window_close": 4.0,
    "recoat_window_open": 4.0,
    "tack_free": 8.0,
    "recoat_window_close": 10.0,
    "sandable": 24.0,
    "demouldable": 24.0,
    "full_cure": 72.0,
}


def made(kind="pour", hours=HOURS, ended_at_s=None):
    stages = {key: StageTime(hours[key], "label") for key in STAGES[kind] if key in hours}
    resin = ResinProfile("r", "Coating", kind, 23.0, stages)
    return Layer(7, 1, "Tray", resin, T0, ended_at_s=ended_at_s)


def outlook(layer, now_s, **fields):
    """An outlook in which each stage comes at the label's time, within a tenth either way."""
    rows = []
    for key, stage in layer.resin.stages.items():
        at_s = T0 + stage.hours * HOUR_S
        band_s = 0.1 * stage.hours * HOUR_S
        reached = at_s if at_s <= now_s else None
        rows.append(
            StageOutlook(
                key, stage.hours, "label", at_s, reached, at_s - band_s, at_s, at_s + band_s, ""
            )
        )
    whole = {
        "layer_id": layer.id,
        "as_of_s": now_s,
        "degree_of_cure": 0.4,
        "glass_transition_c": -10.0,
        "equivalent_age_h": 1.0,
        "rate_now": 1.0,
        "stalled": False,
        "remedy": None,
        "state": "gelling",
        "surface": SurfaceRisk(0.1, "low"),
        "peak_c": 30.0,
        "peak_at_s": T0 + HOUR_S,
        "stages": tuple(rows),
    }
    return Outlook(**{**whole, **fields})


def judged(hours, layer=None, marks=(), recoated=False, **fields):
    layer = layer or made()
    now_s = T0 + hours * HOUR_S
    found = rules.layer_now(layer, outlook(layer, now_s, **fields), marks, now_s, recoated=recoated)
    return {condition.key: condition for condition in found}


def due(hours, **kwargs):
    """The acts due so many hours after the pour."""
    return {key for key, condition in judged(hours, **kwargs).items() if condition.wrong}


def mark(kind, hours, **fields):
    return Mark(1, 7, kind, T0 + hours * HOUR_S, **fields)


@pytest.mark.parametrize(
    ("hours", "acts"),
    [
        (0.05, set()),
        (0.1, {"rest_over"}),
        (0.26, {"rest_over"}),
        (0.27, set()),  # ten minutes on, it is no news any more
        # The working time may end at 0.45 h; a quarter of that before it, at 0.3375 h.
        (0.34, {"working_time_nearly_up"}),
        (0.5, set()),
        (2.0, {"tape_window_open"}),
        (3.49, {"tape_window_open"}),
        (3.5, {"tape_window_open", "tape_window_closing"}),
        (4.0, {"recoat_window_open"}),
        (8.0, {"recoat_window_open", "tack_free"}),
        (8.8, {"recoat_window_open", "tack_free"}),
        (9.5, {"recoat_window_open", "tack_free", "recoat_window_closing"}),
        (13.9, {"tack_free"}),
        # Two wishes for one touch come one after the other.
        (14.0, {"touch_test_wanted"}),
        (30.0, {"touch_test_wanted"}),
        (60.0, set()),
        # From 79.2 h on nine futures in ten have it.
        (79.1, set()),
        (79.3, {"full_cure"}),
        (103.3, set()),
    ],
)
def test_each_act_is_due_in_its_window_and_not_outside(hours, acts):
    assert due(hours) == acts


def test_words_name_the_layer_and_when_the_window_shuts():
    closes = int(T0 + 4 * HOUR_S)

    assert judged(2.5)["tape_window_open"].words == f"Pull the tape of Tray, before ⟦{closes}⟧."


def test_pulled_tape_needs_no_more_telling_unless_the_mark_is_set_aside():
    assert due(3.6, marks=[mark("tape_pulled", 2.5, verdict="good")]) == set()
    assert "tape_window_open" in due(3.6, marks=[mark("tape_pulled", 2.5, set_aside=True)])
    assert "tape_window_open" in due(3.6, marks=[mark("tape_pulled", 3.7)])  # not yet done


def test_a_logged_touch_answers_the_wish_for_one():
    assert "touch_test_wanted" not in due(15.0, marks=[mark("tacky", 8.0)])
    # Still liquid after an hour says nothing about tack-free.
    assert "touch_test_wanted" in due(15.0, marks=[mark("tacky", 1.0)])
    assert "touch_test_wanted" in due(15.0, marks=[mark("note", 8.5)])


def test_tack_free_is_not_claimed_before_anybody_touched_it():
    words = judged(8.5)["tack_free"].words
    assert words == "Tray should be tack-free about now: touch a hidden place."


def test_who_logged_tack_free_is_not_told_so():
    for kind in ("tack_free", "nail_dents", "hard"):
        assert "tack_free" not in due(8.5, marks=[mark(kind, 8.2)])
    assert "tack_free" not in due(8.5, marks=[mark("tacky", 8.2)])


def test_a_layer_with_another_on_it_has_no_surface_and_no_recoat_window():
    risky = {"surface": SurfaceRisk(0.9, "high", ("Cold and damp.",))}
    assert due(5.0, **risky) == {"recoat_window_open", "surface_at_risk"}

    assert due(5.0, recoated=True, **risky) == set()


def test_an_ended_layer_asks_for_nothing():
    found = judged(9.5, layer=made(ended_at_s=T0 + 9 * HOUR_S), stalled=True)

    assert {condition.meaningful for condition in found.values()} == {False}


@pytest.mark.parametrize(("level", "wrong"), [("low", False), ("medium", None), ("high", True)])
def test_the_surface_alarm_follows_the_level(level, wrong):
    assert judged(1.0, surface=SurfaceRisk(0.5, level))["surface_at_risk"].wrong is wrong


def test_no_surface_alarm_after_tack_free():
    risk = SurfaceRisk(0.9, "high")
    assert judged(8.0, surface=risk)["surface_at_risk"].meaningful is False

    longer = replace(risk, open_until_s=T0 + 9 * HOUR_S)
    assert judged(8.0, surface=longer)["surface_at_risk"].wrong is True


@pytest.mark.parametrize(("peak_c", "wrong"), [(61.0, True), (59.0, None), (58.0, False)])
def test_overheating_is_a_coming_peak_above_the_limit(peak_c, wrong):
    assert judged(0.5, peak_c=peak_c)["overheating"].wrong is wrong
    assert judged(1.1, peak_c=peak_c)["overheating"].meaningful is False


def test_a_stalled_layer_is_told_its_remedy():
    found = judged(20.0, stalled=True, remedy=Remedy(30.0, 12.0))["will_not_finish"]

    assert found.wrong is True
    assert found.words == "Tray will not cure fully in this room. It needs 12 h at 30 °C."


def test_a_stage_out_of_sight_is_no_act():
    layer = made()
    now_s = T0 + 5 * HOUR_S
    whole = outlook(layer, now_s)
    unseen = tuple(
        replace(stage, reached_at_s=None, p10_s=None, p50_s=None, p90_s=None)
        for stage in whole.stages
    )

    found = rules.layer_now(layer, replace(whole, stages=unseen), [], now_s)

    assert not [condition.key for condition in found if condition.wrong]


def test_glue_and_paint_have_their_own_acts():
    glue = made("adhesive", {"working_time_end": 0.08, "handling_set": 0.5, "full_cure": 24.0})
    # Five-minute glue: its last quarter, from 0.75 x 0.072 h.
    assert due(0.06, layer=glue) == {"working_time_nearly_up"}
    assert due(0.6, layer=glue) == {"tack_free"}
    assert judged(0.1, layer=glue)["surface_at_risk"].meaningful is False

    paint = made("paint", {"touch_dry": 0.5, "overcoat_ready": 2.0})
    assert due(0.6, layer=paint) == {"tack_free"}
    assert due(2.0, layer=paint) == {"tack_free", "recoat_window_open"}
