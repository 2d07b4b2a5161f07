"""What went wrong, told from made-up rooms whose faults are known beforehand.

The resin's limits (18 to 30 degC, 80 %RH) are common practice, no published source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from monitor import shelf
from monitor.core.cure.outlook import outlook
from monitor.core.cure.trouble import findings
from monitor.core.vocabulary import Layer, Mark, RateDraws, RoomPaths, RoomSeries

T0 = 1_790_000_000.0
HOUR = 3600.0
COATING = next(one for one in shelf.library() if one.key == "coating_2_1")
LAYER = Layer(1, 1, "Flood", COATING, T0, depth_mm=3.0, area_cm2=500.0)
END = T0 + 48 * HOUR
HOURS = np.arange(0.0, 48.0, 0.1)


def told(temp_c=21.0, humidity=48.0, marks=(), layer=LAYER, hours=HOURS):
    """What is found, by key, where the room followed these values at these hours."""
    at_s = T0 + hours * HOUR
    temps, damp = (np.broadcast_to(v, at_s.shape).astype(float) for v in (temp_c, humidity))
    room = RoomSeries(at_s, temps, damp)
    days = np.array([END + 600, END + 86400])
    ahead = RoomPaths(days, np.full((1, 2), 21.0), np.full((1, 2), 48.0))
    draws = RateDraws(np.zeros(1), np.full(1, 55e3))
    found = outlook(layer, room, ahead, draws, marks, END)
    return {one.key: one.words for one in findings(layer, room, found, marks, END)}


def mark(kind, hours):
    return Mark(int(hours * 10), 1, kind, T0 + hours * HOUR)


def test_nothing_is_found_where_nothing_was_wrong():
    assert told(marks=[mark("tacky", 5.0), mark("tack_free", 9.0)]) == {}


def test_a_cold_night_is_told_with_its_hours_and_how_cold_it_was():
    words = told(np.where((HOURS >= 6) & (HOURS < 14), 14.0, 21.0))["cold"]
    assert "8 h from" in words
    assert "below 18 °C, down to 14 °C" in words
    assert f"⟦{T0 + 6 * HOUR:.0f}⟧" in words
    assert f"⟦{T0 + 14 * HOUR:.0f}⟧" in words


def test_a_short_cold_stretch_is_told_in_minutes():
    words = told(np.where((HOURS >= 6) & (HOURS < 8.35), 14.0, 21.0))["cold"]
    assert "2 h 24 min from" in words


def test_two_cold_stretches_are_summed_and_the_longer_one_named():
    cold = ((HOURS >= 6) & (HOURS < 9)) | ((HOURS >= 20) & (HOURS < 26))
    words = told(np.where(cold, 14.0, 21.0))["cold"]
    assert "9 h in all, the longest from" in words
    assert f"⟦{T0 + 20 * HOUR:.0f}⟧" in words


def test_damp_counts_only_while_the_surface_is_open():
    early = told(humidity=np.where(HOURS < 3, 85.0, 48.0))
    late = told(humidity=np.where(HOURS > 30, 85.0, 48.0))
    assert "Damp while the surface was open: 3 h" in early["damp"]
    assert "damp" not in late


def test_a_minute_in_the_cold_is_not_worth_a_sentence():
    assert "cold" not in told(np.where((HOURS > 6) & (HOURS < 6.3), 14.0, 21.0))


def test_a_silent_sensor_is_told_as_not_known():
    kept = (HOURS < 10) | (HOURS > 18)
    words = told(hours=HOURS[kept])["unknown"]
    assert "8 h without a reading" in words


@pytest.mark.parametrize(
    ("changed", "key", "said"),
    [
        ({"hardener_ratio": 0.8}, "ratio", "20 % too little hardener"),
        ({"depth_mm": 60.0, "area_cm2": 400.0}, "heat", "its limit is"),
        ({"resin": replace(COATING, max_depth_mm=2.0)}, "deep", "3 mm; the label allows 2 mm"),
    ],
)
def test_the_pour_itself_is_judged(changed, key, said):
    assert said in told(layer=replace(LAYER, **changed))[key]


def test_marks_that_contradict_one_another_are_named_with_their_times():
    words = told(marks=[mark("tack_free", 8.0), mark("tacky", 12.0)])["marks"]
    assert f"'tack-free' at ⟦{T0 + 8 * HOUR:.0f}⟧, then 'tacky' at ⟦{T0 + 12 * HOUR:.0f}⟧" in words


def test_tacky_far_past_the_label_in_a_room_as_the_label_wants_it_is_told_as_slow():
    # Twice the label's tack-free time at about its own temperature.
    late_h = 2.0 * COATING.stages["tack_free"].hours
    words = told(23.0, marks=[mark("tacky", late_h)])["late"]
    assert "not tack-free" in words
    assert "mixed through" in words
