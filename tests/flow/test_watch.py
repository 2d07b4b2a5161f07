"""The tick: what is thought follows from what is stored, whenever and however it came there."""

from __future__ import annotations

import numpy as np
import pytest

from monitor import shelf
from monitor.store import alarms, forecasts, intake_rows, marks, notices, outlooks, pieces, status
from monitor.store.connection import writing
from monitor.store.intake_rows import Arrival
from monitor.watch import Watch, Works

KEY = "home/bench/air"
T0 = 1_790_000_000.0
HOUR = 3600.0
COATING = next(one for one in shelf.library() if one.key == "coating_2_1")


def put(con, temps, start_s, step_s=300.0, humidity=45.0):
    # A real sensor wavers in its last digit; a perfectly constant one would be doubted.
    rows = [
        Arrival(KEY, start_s + step_s * n, round(t + 0.1 * (n % 2), 2), humidity + n % 3)
        for n, t in enumerate(temps)
    ]
    with writing(con):
        intake_rows.commit(con, "home", "bench", rows, (), {}, start_s + step_s * len(temps))
    return start_s + step_s * (len(temps) - 1)


@pytest.fixture
def layer(con):
    put(con, np.full(300, 21.0), T0 - 25 * HOUR)
    with writing(con):
        piece = pieces.add_piece(con, "Tray", T0)
        return pieces.add_layer(con, piece, "Flood", COATING, T0, T0, depth_mm=3.0)


def cold_alarm(con):
    return next(row.state for row in alarms.rows(con) if row.state.key == "room_too_cold")


def p50(con, layer, key="tack_free"):
    stages = {stage.key: stage for stage in outlooks.latest(con, layer).stages}
    return stages[key].p50_s


def test_a_cold_room_is_told_once_and_a_warm_one_clears_it(con, layer):
    watch = Watch(channels=(("mqtt", "note"),))
    now = put(con, [20.0] * 12 + [16.0] * 12, T0)
    first = watch.think(con, now, Works())
    assert [c.key for c in first if c.key == "room_too_cold"] == ["room_too_cold"]
    assert cold_alarm(con).phase == "unacknowledged"
    assert cold_alarm(con).raised_at_s == T0 + 12 * 300 + 300
    assert any(row.change.key == "room_too_cold" for row in notices.due(con, now))
    assert not [c for c in watch.think(con, now + 1, Works()) if c.key == "room_too_cold"]
    now = put(con, [20.0] * 12, now + 300)
    watch.think(con, now, Works())
    assert cold_alarm(con).phase == "returned"


def test_a_colder_room_makes_every_stage_later(con, layer):
    watch = Watch()
    watch.think(con, T0 + HOUR, Works())
    before = p50(con, layer)
    now = put(con, [13.0] * 24, T0 + HOUR)
    watch.think(con, now, Works())
    assert p50(con, layer) > before + 0.5 * HOUR


def test_a_restart_and_a_late_message_come_to_the_same(con, layer):
    now = put(con, [18.0] * 12, T0)
    put(con, [16.0] * 12, now + 300)
    now += 13 * 300
    through = Watch()
    through.think(con, now, Works())
    straight = outlooks.latest(con, layer)
    Watch().think(con, now, Works())
    again = outlooks.latest(con, layer)
    assert straight.equivalent_age_h == again.equivalent_age_h
    assert [s.p50_s for s in straight.stages] == [s.p50_s for s in again.stages]


def test_a_mark_is_answered_at_the_next_tick_and_so_is_its_removal(con, layer):
    watch = Watch()
    now = put(con, [21.0] * 120, T0)
    watch.think(con, now, Works())
    without = p50(con, layer, "full_cure")
    with writing(con):
        mark = marks.add_mark(con, layer, "tacky", now - HOUR)
    watch.think(con, now, Works())
    slower = p50(con, layer, "full_cure")
    assert slower > without
    with writing(con):
        marks.remove_mark(con, mark, now)
    watch.think(con, now, Works())
    assert p50(con, layer, "full_cure") == without


def test_silence_is_an_event(con, layer):
    watch = Watch(silent_after_s=900.0)
    now = put(con, [21.0] * 12, T0)
    watch.think(con, now + 600, Works())
    watch.think(con, now + 901, Works())
    silent = next(row.state for row in alarms.rows(con) if row.state.key == "sensor_silent")
    assert (silent.phase, silent.subject) == ("unacknowledged", "node:home/bench")


def silence(con):
    return next(row.state for row in alarms.rows(con) if row.state.key == "sensor_silent")


def test_a_clock_that_was_a_year_ahead_does_not_hide_a_dead_sensor(con, layer):
    watch = Watch(silent_after_s=900.0)
    put(con, [21.0] * 12, T0 + 365 * 24 * HOUR)
    now = put(con, [21.0] * 12, T0)
    watch.think(con, now + 60, Works())
    assert silence(con).phase == "normal"
    watch.think(con, now + 901, Works())
    assert silence(con).phase == "unacknowledged"


def test_a_sensor_that_died_while_the_clock_was_ahead_is_a_fault_at_once(con):
    put(con, [21.0] * 12, T0 + 365 * 24 * HOUR)
    Watch(silent_after_s=900.0).think(con, T0 + HOUR, Works())
    assert silence(con).phase == "unacknowledged"
    assert "lies in the future" in silence(con).words


def test_a_person_acknowledges_and_the_monitor_carries_it_out(con, layer):
    watch = Watch()
    now = put(con, [16.0] * 24, T0)
    watch.think(con, now, Works())
    with writing(con):
        alarms.ask(con, "room_too_cold", f"room:{KEY}", "acknowledge", now + 1, by="phone")
    watch.think(con, now + 2, Works())
    assert cold_alarm(con).phase == "acknowledged"
    assert alarms.asked(con) == []
    assert alarms.journal(con)[0].change.by == "phone"


def test_nothing_curing_means_no_room_alarm(con):
    now = put(con, [12.0] * 40, T0)
    Watch().think(con, now, Works())
    assert cold_alarm(con).phase in ("normal", "suppressed")


def test_an_empty_store_is_no_accident(con):
    assert Watch().think(con, T0, Works()) == []
    assert status.beats(con)["monitor"].at_s == T0


def test_a_layer_before_any_reading_has_a_wide_honest_outlook(con):
    with writing(con):
        piece = pieces.add_piece(con, "Tray", T0)
        layer = pieces.add_layer(con, piece, "Flood", COATING, T0, T0, depth_mm=3.0)
    Watch().think(con, T0 + 60, Works())
    outlook = outlooks.latest(con, layer)
    tack = next(s for s in outlook.stages if s.key == "tack_free")
    assert tack.p90_s - tack.p10_s > 3 * HOUR
    assert outlook.notes


def test_the_forecast_is_kept_for_the_page(con, layer):
    Watch().think(con, T0, Works())
    bands = forecasts.latest(con, KEY)
    assert (bands.temp_p10_c <= bands.temp_p50_c).all()
    assert bands.at_s[-1] >= T0 + 71 * HOUR


def test_a_probe_on_a_cold_piece_slows_its_layer_not_the_others(con, layer):
    now = put(con, np.full(30, 21.0), T0)
    with writing(con):
        rows = [
            Arrival("home/bench/panel", T0 - 3600.0 + 300 * n, 15.0 + 0.1 * (n % 2), None)
            for n in range(42)
        ]
        intake_rows.commit(con, "home", "bench", rows, (), {}, now)
        probed = pieces.add_layer(
            con, 1, "On the floor", COATING, T0, T0, depth_mm=3.0, probe="home/bench/panel"
        )
    Watch().think(con, now, Works())
    warm, cold = outlooks.latest(con, layer), outlooks.latest(con, probed)
    assert cold.equivalent_age_h < 0.75 * warm.equivalent_age_h
    assert p50(con, probed) > p50(con, layer) + 2 * HOUR
    # A thermometer on the piece does not stand for the room.
    assert warm.rate_now > 0.7


def test_a_room_that_goes_another_way_is_foretold_anew_within_minutes(con, layer):
    watch = Watch()
    now = put(con, [21.0] * 12, T0)
    watch.think(con, now, Works())
    calm = put(con, [21.0], now + 180.0)
    watch.think(con, calm, Works())
    assert forecasts.latest(con, KEY).as_of_s == now  # as foretold: nothing new
    cold = put(con, [17.5], calm + 60.0)
    watch.think(con, cold, Works())
    assert forecasts.latest(con, KEY).as_of_s == cold
