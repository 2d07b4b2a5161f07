"""Room is made again: a junk or dead sensor goes, with all that hangs on it, and nothing else."""

from __future__ import annotations

import pytest

from monitor import shelf
from monitor.store import (
    alarms,
    corrections,
    forgetting,
    intake_rows,
    pieces,
    readings,
    resins,
    settings,
)
from monitor.store.connection import writing
from monitor.store.errors import NotThere, StoreError
from monitor.store.intake_rows import Arrival
from monitor.watch import Watch, Works

KEY = "home/bench/air"
NOW = 1_790_000_000.0
DAY = 86400.0


def put(con, key, count, last_s=NOW):
    rows = [Arrival(key, last_s - 60.0 * n, 20.0, 50.0) for n in range(count)]
    with writing(con):
        intake_rows.commit(con, "home", key.split("/")[1], rows, (), {}, last_s)


def free(con):
    return [one.key for one in forgetting.forgettable(con, NOW)]


def pour(con, **fields):
    with writing(con):
        resin = shelf.library()[0]
        resins.save_resin(con, resin, NOW)
        piece = pieces.add_piece(con, "Tray", NOW)
        pieces.add_layer(con, piece, "Flood", resin, NOW, NOW, **fields)


def test_one_hardly_heard_or_silent_for_a_day_may_go_and_one_that_lives_may_not(con):
    put(con, "home/bench/air", 10)
    put(con, "home/fl/junk", 9)
    put(con, "home/shed/gone", 50, NOW - DAY - 1)
    put(con, "home/shed/yesterday", 50, NOW - DAY + 1)
    put(con, "home/shed/future", 50, NOW + 365 * DAY)
    assert free(con) == ["home/fl/junk", "home/shed/future", "home/shed/gone"]
    with pytest.raises(StoreError, match=r"home/bench/air.*cannot be forgotten"):
        forgetting.forget(con, KEY, NOW)
    with pytest.raises(NotThere, match="no sensor 'home/no/one'"):
        forgetting.forget(con, "home/no/one", NOW)


@pytest.mark.parametrize("part", ["sensor", "probe"])
def test_one_that_a_layer_names_stays(con, part):
    put(con, KEY, 3)
    assert free(con) == [KEY]
    pour(con, **{part: KEY})
    assert free(con) == []
    with pytest.raises(StoreError, match="a layer names it"):
        forgetting.forget(con, KEY, NOW)


def test_all_that_hangs_on_it_goes_and_the_neighbour_keeps_its_own(con):
    put(con, KEY, 20)
    put(con, "home/shed/air", 20, NOW - 2 * DAY)
    put(con, "home/bench/old", 20, NOW - 2 * DAY)
    for key in ("home/shed/air", "home/bench/old"):
        with writing(con):
            made = corrections.Correction(NOW - 3 * DAY, 0.5, 0.0, "ice")
            corrections.add(con, key, made)
            settings.put(con, f"away:{key}", "[]", NOW)
    Watch().think(con, NOW, Works())
    assert any(row.state.subject == "node:home/shed" for row in alarms.rows(con))
    with writing(con):
        forgetting.forget(con, "home/shed/air", NOW)
        forgetting.forget(con, "home/bench/old", NOW)
    assert [one.key for one in readings.sensors(con)] == [KEY]
    assert intake_rows.nodes(con, "home") == ["bench"]
    for table in ("readings", "rollups", "corrections"):
        (held,) = con.execute(
            f"SELECT count(*) FROM {table} WHERE sensor_id NOT IN (SELECT id FROM sensors)"
        ).fetchone()
        assert held == 0, table
    for table in ("forecasts", "past_forecasts"):
        keys = {key for (key,) in con.execute(f"SELECT sensor_key FROM {table}")}
        assert keys <= {KEY}
    assert not [key for key in settings.everything(con) if key.startswith("away:")]
    subjects = {row.state.subject for row in alarms.rows(con)}
    assert {"room:home/bench/air", "node:home/bench"} <= subjects
    assert not subjects & {"room:home/shed/air", "node:home/shed", "room:home/bench/old"}
    assert len(readings.raw(con, KEY, 0.0, 4e9).at_s) == 20
    Watch().think(con, NOW + 60, Works())


def test_a_full_house_says_so_while_it_goes_on_and_has_room_again(con):
    for n in range(intake_rows.MOST_SENSORS):
        put(con, f"home/fl/s{n:02}", 1)
    new = [Arrival("home/bench/air", NOW, 20.0, 50.0)]
    assert intake_rows.takes(con, new) == []
    assert forgetting.crowded(con, NOW) is None
    with writing(con):
        intake_rows.refuse(con, intake_rows.SENSORS_FULL, 1, "", NOW)
    said = forgetting.crowded(con, NOW + 60)
    assert said is not None
    assert "64 are known" in said
    assert forgetting.crowded(con, NOW + 3601) is None
    with writing(con):
        forgetting.forget(con, "home/fl/s00", NOW)
    assert forgetting.crowded(con, NOW + 60) is None
    assert intake_rows.takes(con, new) == new
