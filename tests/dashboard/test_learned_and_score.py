"""Seeing why a resin's times moved, leaving a mark out, starting afresh; and the score."""

from __future__ import annotations

import re
from contextlib import closing

import numpy as np
import pytest

from dashboard.app import create_app
from dashboard.options import Options
from monitor import assembly, shelf
from monitor.core.vocabulary import RoomPaths
from monitor.store import connection, forecasts, intake_rows, marks, pieces, resins
from monitor.store.connection import writing
from monitor.store.intake_rows import Arrival
from monitor.watch import Watch, Works

KEY = "home/bench/air"
HOUR = 3600.0
T0 = 1_790_000_000.0
PAGE = "/resins/coating_2_1/learned"


@pytest.fixture
def now():
    """The page's clock, to be moved."""
    return [T0]


@pytest.fixture
def client(store_path, now):
    """A steady room at the label's 23 °C, and a layer that was tack-free far too late."""
    with closing(connection.open_owner(store_path)) as con:
        with writing(con):
            for profile in shelf.library():
                resins.save_resin(con, profile, T0, origin="library")
            # A real sensor wavers in its last digit; a perfectly constant one would be doubted.
            rows = [
                Arrival(KEY, T0 + 300.0 * n, 23.0 + 0.1 * (n % 2), 45.0 + n % 3)
                for n in range(-300, 12 * 30)
            ]
            intake_rows.commit(con, "home", "bench", rows, (), {}, T0 + 30 * HOUR)
            piece = pieces.add_piece(con, "Tray", T0)
            coating = resins.resin(con, "coating_2_1")
            layer = pieces.add_layer(con, piece, "Flood", coating, T0, T0, depth_mm=3.0)
        watch = Watch()
        for hours in (0.1, 6.0, 12.5, 18.5, 29.0):
            now[0] = T0 + hours * HOUR
            watch.think(con, now[0], Works())
        with writing(con):
            marks.add_mark(con, layer, "tacky", T0 + 13 * HOUR)
            marks.add_mark(con, layer, "tack_free", T0 + 15 * HOUR)
    options = Options(store_path, lambda: now[0], zone="UTC", **assembly.page_parts())
    return create_app(options).test_client()


def read(client, path):
    answer = client.get(path)
    assert answer.status_code == 200
    return answer.get_data(as_text=True)


def test_it_says_which_layer_taught_what(client):
    text = read(client, PAGE)
    assert "slower than the label" in text
    line = re.search(r"Tack-free: between (.*?) and (.*?), the label says 8 h\.", text)
    assert line is not None
    assert all(re.fullmatch(r"\d+ h( \d+ min)?", one) for one in line.groups())
    assert "Tacky<br>" in text


def test_a_mark_set_aside_stops_counting_and_can_count_again(client):
    for number in (1, 2):
        client.post(f"/marks/{number}/aside", data={"back": PAGE})
    text = read(client, PAGE)
    assert "No marks yet" in text
    assert "Kept, but not learned from" in text
    client.post("/marks/1/count", data={"back": PAGE})
    assert "slower than the label" in read(client, PAGE)


def test_starting_afresh_keeps_the_marks_and_can_be_undone(client):
    assert client.post("/resins/coating_2_1/afresh").status_code == 302
    text = read(client, PAGE)
    assert "No marks yet" in text
    assert "Only marks made since" in text
    client.post("/resins/coating_2_1/all-again")
    assert "slower than the label" in read(client, PAGE)


def test_a_resin_that_is_not_there_is_named(client):
    answer = client.get("/resins/nothing/learned")
    assert answer.status_code == 404
    assert "no resin &#39;nothing&#39;" in answer.get_data(as_text=True)


def test_the_score_shows_the_room_and_the_layer_beside_what_was_said(client):
    text = read(client, "/score")
    assert "Looking ahead" in text
    assert "6 h" in text
    # The room was steady, so the clock kept its band; the marks say the resin did not.
    tack_free = text[text.index("Tack-free") :].split("</tr>")[0]
    assert "within" in tack_free
    assert "after it" in tack_free
    # Too few to be judged by a share.
    assert "8 of 10" not in text


def test_a_score_of_nothing_says_what_to_do(store_path):
    options = Options(store_path, lambda: T0, zone="UTC", **assembly.page_parts())
    text = read(create_app(options).test_client(), "/score")
    assert "No sensor has been heard yet" in text
    assert "Start one" in text


def test_four_forecasts_a_day_are_kept_and_old_ones_go(con):
    at = np.arange(0.0, 72.5, 0.5) * HOUR

    def save(as_of_s):
        flat = np.full((3, len(at)), 20.0)
        forecasts.save(con, KEY, as_of_s, RoomPaths(as_of_s + at, flat, flat))

    for quarter in range(0, 49):
        save(T0 + quarter * 900.0)
    kept = forecasts.past(con, KEY, 0.0)
    assert [one.as_of_s - T0 for one in kept] == [0.0, 6 * HOUR, 12 * HOUR]
    assert kept[0].at_s[0] == T0 + 6 * HOUR
    assert kept[0].at_s[-1] == T0 + 72 * HOUR
    save(T0 + 401 * 86400.0)
    assert [one.as_of_s for one in forecasts.past(con, KEY, 0.0)] == [T0 + 401 * 86400.0]
