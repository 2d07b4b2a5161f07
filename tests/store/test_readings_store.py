"""Readings go in once each, and come out as they were or summarised with their peaks."""

from __future__ import annotations

import sqlite3

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlite_utils import Database

from monitor.store import intake_rows, readings
from monitor.store.connection import open_owner, writing
from monitor.store.intake_rows import Arrival, Handled
from monitor.store.schema import MIGRATIONS

KEY = "home/bench/air"
T0 = 1_790_000_000.0


def put(con, arrivals, handled=(), lows=None, at_s=T0 + 1e6):
    with writing(con):
        return intake_rows.commit(con, "home", "bench", arrivals, handled, lows or {}, at_s)


def numbered(seqs, boot="a"):
    return [Arrival(KEY, T0 + 10.0 * n, 20.0 + n / 10, 50.0, boot, n) for n in seqs]


def test_a_reading_comes_out_as_it_went_in(con):
    put(con, [Arrival(KEY, T0 + 0.25, 21.37, 45.6)])
    raw = readings.raw(con, KEY, T0, T0 + 1)
    assert raw.at_s.tolist() == [T0 + 0.25]
    assert raw.temp_c.tolist() == [21.37]
    assert raw.humidity_pct.tolist() == [45.6]
    assert raw.flags.tolist() == [0]


def test_a_thermometer_without_humidity_is_kept(con):
    put(con, [Arrival(KEY, T0, 21.0, None)])
    assert np.isnan(readings.raw(con, KEY, T0, T0).humidity_pct[0])
    sensor = readings.sensors(con)[0]
    assert (sensor.last_temp_c, sensor.last_humidity_pct) == (21.0, None)


def test_what_is_sent_again_is_stored_once(con):
    assert put(con, numbered(range(10)), lows={"a": 0}) == 10
    assert put(con, numbered(range(10)), lows={"a": 0}) == 0
    assert put(con, numbered(range(5, 15)), lows={"a": 5}) == 5
    assert len(readings.raw(con, KEY, T0, T0 + 1e4).at_s) == 15


def test_a_number_redated_by_its_node_is_still_one_reading(con):
    put(con, [Arrival(KEY, T0, 20.0, 50.0, "a", 3)], lows={"a": 3})
    put(con, [Arrival(KEY, T0 + 0.4, 20.0, 50.0, "a", 3)], lows={"a": 3})
    assert len(readings.raw(con, KEY, T0 - 9, T0 + 9).at_s) == 1


def test_committed_through_stops_at_a_gap_and_closes_it(con):
    put(con, numbered([0, 1, 2, 5, 6]), lows={"a": 0})
    assert intake_rows.committed(con, "home", "bench") == {"a": 2}
    put(con, numbered([3, 4]), lows={"a": 3})
    assert intake_rows.committed(con, "home", "bench") == {"a": 6}


def test_a_store_that_starts_late_begins_at_what_the_node_still_keeps(con):
    put(con, numbered([5000, 5001]), lows={"a": 5000})
    assert intake_rows.committed(con, "home", "bench") == {"a": 5001}


def test_a_refused_sample_does_not_block_the_ones_behind_it(con):
    put(con, numbered([0, 2]), handled=[Handled("a", 1)], lows={"a": 0})
    assert intake_rows.committed(con, "home", "bench") == {"a": 2}


# --- many boots


def test_the_latest_boots_of_a_node_are_kept_and_older_ones_forgotten(con):
    put(con, numbered([0, 1], boot="live"), lows={"live": 0})
    for n in range(300):
        put(con, numbered([5], boot=f"junk{n}"), lows={f"junk{n}": 0}, at_s=T0 + n)
        if n % 50 == 0:
            put(con, numbered([2 + n // 50], boot="live"), lows={"live": 0}, at_s=T0 + n)
    for table in ("progress", "arrived"):
        assert con.execute(f"SELECT count(DISTINCT boot) FROM {table}").fetchone()[0] <= 64
    # One that is heard again and again outlasts them, its gaps too.
    put(con, numbered([9], boot="live"), lows={"live": 0}, at_s=T0 + 301)
    put(con, numbered([8], boot="live"), lows={"live": 0}, at_s=T0 + 302)
    assert intake_rows.committed(con, "home", "bench")["live"] == 9


def test_a_board_in_the_same_batch_as_junk_is_told_all_the_same(con):
    put(con, numbered(range(100), boot="live"), lows={"live": 0})
    for n in range(100):
        put(con, numbered([0], boot=f"junk{n}"), lows={f"junk{n}": 0})
    assert intake_rows.committed(con, "home", "bench")["live"] == 99


def test_a_forgotten_boot_that_sends_again_loses_and_doubles_nothing(con):
    put(con, numbered(range(10), boot="old"), lows={"old": 0}, at_s=T0)
    for n in range(64):
        put(con, numbered([0], boot=f"new{n}"), lows={f"new{n}": 0}, at_s=T0 + 1 + n)
    assert "old" not in {boot for (boot,) in con.execute("SELECT boot FROM progress")}
    held = len(readings.raw(con, KEY, T0, T0 + 1e4).at_s)
    put(con, numbered(range(4, 12), boot="old"), lows={"old": 4}, at_s=T0 + 100)
    assert len(readings.raw(con, KEY, T0, T0 + 1e4).at_s) == held + 2
    assert intake_rows.committed(con, "home", "bench")["old"] == 11


def test_numbers_far_ahead_of_any_gap_are_not_remembered_but_their_readings_are_kept(con):
    far = intake_rows.AHEAD + 5
    put(con, numbered([0, far]), lows={"a": 0})
    assert con.execute("SELECT count(*) FROM arrived").fetchone()[0] == 0
    assert len(readings.raw(con, KEY, T0, T0 + 1e6).at_s) == 2
    # Where the node keeps nothing lower, it is not ahead of anything.
    put(con, numbered([far]), lows={"a": far})
    assert intake_rows.committed(con, "home", "bench") == {"a": far}
    assert len(readings.raw(con, KEY, T0, T0 + 1e6).at_s) == 2


def test_the_latest_boots_are_found_without_a_sort(con):
    for question in (
        "SELECT boot FROM progress WHERE node_id = 1 ORDER BY touched_ms DESC, through DESC",
        "SELECT boot, through FROM progress JOIN nodes ON nodes.id = node_id WHERE site = 's' "
        "AND node = 'n' AND through >= 0 ORDER BY touched_ms DESC, through DESC LIMIT 8",
    ):
        plan = " ".join(row[3] for row in con.execute(f"EXPLAIN QUERY PLAN {question}"))
        assert "progress_by_time" in plan
        assert "TEMP B-TREE" not in plan


def test_a_store_that_was_flooded_before_is_brought_up_to_date_and_cleared(tmp_path):
    path = tmp_path / "old.db"
    old = Database(sqlite3.connect(path, isolation_level=None))
    MIGRATIONS.apply(old, stop_before="m003_boots_by_time")
    old.conn.execute("INSERT INTO nodes (id, site, node) VALUES (1, 'home', 'bench')")
    old.conn.executemany(
        "INSERT INTO progress VALUES (1, ?, ?, ?)", [(f"b{n}", n, n) for n in range(500)]
    )
    old.conn.execute("INSERT INTO arrived VALUES (1, 'b0', 9)")
    old.conn.close()
    con = open_owner(path)
    assert path.with_name("old.db.before-m003_boots_by_time").exists()
    put(con, numbered([500], boot="b499"), lows={"b499": 0})
    assert intake_rows.committed(con, "home", "bench")["b499"] == 500
    held = con.execute("SELECT count(*), min(touched_ms) FROM progress").fetchone()
    assert held == (64, 436)
    assert con.execute("SELECT count(*) FROM arrived").fetchone() == (0,)
    con.close()


# --- a clock that was ahead


YEAR_S = 365 * 86400.0


def test_a_reading_from_when_the_clock_was_ahead_is_not_the_last(con):
    put(con, [Arrival(KEY, T0, 20.0, 50.0)], at_s=T0)
    put(con, [Arrival(KEY, T0 + YEAR_S, 33.0, 50.0)], at_s=T0 + YEAR_S)
    (now,) = readings.sensors(con, T0 + 60)
    assert (now.last_at_s, now.last_temp_c) == (T0, 20.0)
    # Heard again by the right clock, it is passed over for those who do not say the time, too.
    put(con, [Arrival(KEY, T0 + 100, 21.0, 50.0)], at_s=T0 + 100)
    (heard,) = readings.sensors(con)
    assert (heard.last_at_s, heard.last_temp_c) == (T0 + 100, 21.0)


def test_a_sensor_heard_only_in_the_future_says_so_rather_than_nothing(con):
    put(con, [Arrival(KEY, T0 + YEAR_S, 33.0, 50.0)], at_s=T0 + YEAR_S)
    (sensor,) = readings.sensors(con, T0)
    assert sensor.last_at_s == T0 + YEAR_S
    assert readings.later(T0 + YEAR_S, T0 - 60, T0) == T0 - 60
    assert readings.later(None, T0 + YEAR_S, T0) == T0 + YEAR_S
    assert readings.later(None, None, T0) is None


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.lists(st.integers(0, 30), min_size=1, max_size=12), min_size=1, max_size=8))
def test_whatever_is_lost_or_repeated_on_the_way_each_sample_is_stored_once(batches):
    con = open_owner(":memory:")
    sent = set()
    for batch in batches:
        put(con, numbered(batch), lows={"a": 0})
        sent |= set(batch)
    assert len(readings.raw(con, KEY, T0, T0 + 1e4).at_s) == len(sent)
    through = intake_rows.committed(con, "home", "bench").get("a", -1)
    assert set(range(through + 1)) <= sent
    assert through + 1 not in sent
    con.close()


@pytest.mark.parametrize("step_s", [7.0, 61.0, 1800.0])
def test_summaries_equal_what_the_raw_readings_say(con, step_s):
    rng = np.random.default_rng(3)
    at_s = T0 + np.cumsum(rng.uniform(0.2, 2.0, 400) * step_s)
    temp_c = np.round(rng.normal(20, 3, 400), 2)
    rows = [Arrival(KEY, float(a), float(t), 50.0) for a, t in zip(at_s, temp_c, strict=True)]
    for part in (rows[::3], rows[1::3], rows[2::3]):  # late and out of order
        put(con, part)
    for level in (60, 3600, 86400):
        bucket = (at_s * 1000).astype(np.int64) // (level * 1000) * level
        table = con.execute(
            "SELECT start_s, count, temp_min_centi_c, temp_mean_centi_c, temp_max_centi_c "
            "FROM rollups WHERE step_s = ? ORDER BY start_s",
            (level,),
        ).fetchall()
        assert [row[0] for row in table] == sorted(set(bucket.tolist()))
        for start, count, low, mean, high in table:
            here = temp_c[bucket == start]
            assert count == len(here)
            assert low == round(here.min() * 100)
            assert high == round(here.max() * 100)
            assert mean == pytest.approx(here.mean() * 100, abs=1e-6)


def test_a_spike_of_one_reading_survives_a_chart_of_a_year(con):
    at_s = T0 + np.arange(0, 365 * 86400, 3600.0)
    temp_c = np.full(len(at_s), 20.0)
    temp_c[4321] = 33.3
    put(con, [Arrival(KEY, float(a), float(t), 50.0) for a, t in zip(at_s, temp_c, strict=True)])
    chart = readings.sampled(con, KEY, T0, T0 + 365 * 86400, 400)
    assert len(chart.at_s) <= 400
    assert chart.temp_max_c.max() == 33.3
    assert chart.count.sum() == len(at_s)


def test_a_doubtful_reading_leaves_the_summaries_and_stays_in_the_log(con):
    put(con, [Arrival(KEY, T0 + n, 20.0 if n != 2 else 79.0, 50.0) for n in range(5)])
    flags = np.array([0, 0, 4, 0, 0])
    raw = readings.raw(con, KEY, T0, T0 + 5)
    with writing(con):
        assert readings.set_flags(con, KEY, raw.at_s, flags) == 1
        assert readings.set_flags(con, KEY, raw.at_s, flags) == 0
    assert readings.sampled(con, KEY, T0 - 60, T0 + 60, 2).temp_max_c.max() == 20.0
    assert readings.raw(con, KEY, T0, T0 + 5).temp_c.max() == 79.0


def test_an_unknown_sensor_has_no_readings(con):
    assert len(readings.raw(con, "no/such/one", 0, 1e10).at_s) == 0
    assert len(readings.sampled(con, "no/such/one", 0, 1e10, 100).at_s) == 0
