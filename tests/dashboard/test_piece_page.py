"""A piece's page and its record: what is new first, what is over folded, shades by the limits."""

from __future__ import annotations

import re
from contextlib import closing
from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from dashboard.app import create_app
from dashboard.options import Options
from monitor import assembly, shelf
from monitor.store import connection, intake_rows, pieces, resins
from monitor.store.connection import writing
from monitor.store.intake_rows import Arrival
from monitor.watch import Watch, Works

T0 = 1_790_000_000.0
HOUR = 3600.0
KEY = "home/bench/air"


class Piece:
    """A piece on wood of two layers in a room that was cold for two hours of each night."""

    def __init__(self, path):
        self.path, self.now_s = path, T0
        with closing(connection.open_owner(path)) as con, writing(con):
            for profile in shelf.library():
                resins.save_resin(con, profile, T0, origin="library")
        options = Options(path, lambda: self.now_s, zone="UTC", **assembly.page_parts())
        self.client = create_app(options).test_client()

    def live(self, temps, from_s):
        """Five minutes a reading; then the monitor thinks."""
        self.now_s = from_s + 300.0 * (len(temps) - 1)
        rows = [Arrival(KEY, from_s + 300.0 * n, float(t), 48.0) for n, t in enumerate(temps)]
        with closing(connection.open_owner(self.path)) as con:
            with writing(con):
                intake_rows.commit(con, "home", "bench", rows, (), {}, self.now_s)
            Watch().think(con, self.now_s, Works())

    def pour(self, name, at_s, base="wood", piece=None):
        with closing(connection.open_owner(self.path)) as con, writing(con):
            piece = piece or pieces.add_piece(con, "Board", at_s)
            resin = resins.resin(con, "coating_2_1")
            pieces.add_layer(con, piece, name, resin, at_s, at_s, depth_mm=3.0, base=base)
        return piece

    def page(self, path="/pieces/1"):
        answer = self.client.get(path)
        assert answer.status_code == 200
        return answer.get_data(as_text=True)


@pytest.fixture
def board(tmp_path):
    return Piece(tmp_path / "pourside.db")


def test_the_newest_layer_is_first_and_an_ended_one_is_folded(board):
    board.pour("Base", T0)
    board.live(np.full(12 * 40, 21.0), T0)
    board.client.post("/layers/1/end")
    board.pour("Flood", board.now_s, piece=1)
    board.live(np.full(12, 21.0), board.now_s + 300)
    text = board.page()
    assert text.index("<h2>Flood</h2>") < text.index("<h2>Base</h2>")
    flood, base = text.split("<h2>Flood</h2>")[1].split("<h2>Base</h2>")
    assert "<details><summary>Its times" not in flood
    assert "<details><summary>Its times, its curve and its marks</summary>" in base
    # The record is read from the first pour on.
    record = board.page("/pieces/1/record")
    assert record.index("1. Base") < record.index("2. Flood")


def test_no_mould_no_demoulding(board):
    board.pour("On wood", T0)
    board.pour("Cast", T0, base="silicone")
    board.live(np.full(12, 21.0), T0)
    for path in ("/", "/pieces/1", "/pieces/1/record"):
        assert "Demouldable" not in board.page(path).split("Cast")[0]
    assert "Demouldable" not in board.page("/pieces/1")
    assert "Demouldable" in board.page("/pieces/2")


def test_cold_is_shaded_by_the_readings_while_something_cured(board):
    night = [*np.full(120, 21.0), *np.full(24, 14.0), *np.full(144, 21.0)]
    board.live(np.array(night), T0)  # a night with nothing on the bench
    board.pour("Base", board.now_s)
    board.live(np.array(night * 2), board.now_s + 300)
    for path in ("/room?hours=168", "/pieces/1"):
        text = board.page(path)
        assert "too cold for what was curing" in text
        # Two nights with a layer, not the one before it.
        room = r'class="chart narrow"[^>]*aria-label="Temperature and dew point.*?</svg>'
        [drawn] = re.findall(room, text, re.DOTALL)
        [shaded] = re.findall(r'class="shade cold" d="([^"]*)"', drawn)
        assert shaded.count("M") == 2
    assert "Too cold twice." in board.page()


def test_cold_that_began_before_the_picture_is_told_without_its_start(board):
    board.pour("Base", T0)
    board.live(np.full(12 * 3, 14.0), T0)
    assert "Too cold already at the start, until now." in board.page("/room?hours=1")


def test_with_two_sensors_each_part_of_the_room_says_whose_it_is(board):
    board.pour("Base", T0)
    board.live(np.full(12 * 30, 21.0), T0)
    assert "<h2>Humidity</h2>" in board.page("/room?hours=168")
    rows = [Arrival("home/shed/air", board.now_s - 300.0 * n, 18.0, 50.0) for n in range(12)]
    with closing(connection.open_owner(board.path)) as con, writing(con):
        intake_rows.commit(con, "home", "shed", rows, (), {}, board.now_s)
    text = board.page(f"/room?sensor={KEY}&other=home/shed/air&hours=168")
    assert "<strong>bench air</strong>: From" in text
    assert "<h2>Humidity, bench air</h2>" in text
    assert "<h2>Day by day, bench air</h2>" in text
    assert "Thin line: bench air; thick line: shed air." in text
    assert ">shed air</option>" in board.page(f"/sensor-check?sensor={KEY}")


def test_the_tape_is_asked_for_while_it_may_come_off_and_folded_afterwards(board):
    board.pour("Taped", T0)
    board.live(np.full(12 * 2 + 8, 23.0), T0)
    assert "<summary>The tape is off already</summary>" not in board.page("/")
    board.live(np.full(12 * 26, 23.0), board.now_s + 300)
    assert "<summary>The tape is off already</summary>" in board.page("/")


def test_a_photo_is_loaded_with_the_record_so_that_it_prints(board):
    board.pour("Flood", T0)
    board.live(np.full(12, 21.0), T0)
    board.client.post("/layers/1/marks", data={"kind": "tacky"})
    shot = BytesIO()
    Image.new("RGB", (400, 300), "blue").save(shot, "JPEG")
    shot.seek(0)
    board.client.post("/marks/1/photo", data={"photo": (shot, "a.jpg")})
    assert 'loading="lazy"' in board.page()
    record = board.page("/pieces/1/record")
    assert "/photos/1/small.jpg" in record
    assert "lazy" not in record


def test_two_cures_are_compared_stage_by_stage_those_of_one_alone_apart(board):
    board.pour("Flood", T0)
    with closing(connection.open_owner(board.path)) as con, writing(con):
        quick = next(r for r in resins.resins(con) if r.kind == "adhesive")
        pieces.add_layer(con, 1, "Feet", quick, T0, T0)
    board.live(np.full(12, 21.0), T0)
    text = board.page("/compare?layer=1&layer=2")
    shared, alone = text.split("<tbody>")[1:3]
    # Its end is only reckoned yet, and says so as the record does.
    assert "<strong>~" in shared
    assert re.findall(r'scope="row">([^<]+)<', shared) == ["Working time ends", "Full cure"]
    names = re.findall(r'scope="row">([^<]+)<', alone)
    assert names[:2] == ["Bubbles have risen", "Handling set"]
    assert "Stages that one of them has" in text
