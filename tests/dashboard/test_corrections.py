"""What was entered wrongly is put right, the old value kept; ended, put away, deleted, exported."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import zipfile
from contextlib import closing
from pathlib import Path

import pytest
from PIL import Image

from dashboard.app import create_app
from dashboard.options import Options
from monitor import assembly, shelf
from monitor.store import connection, intake_rows, marks, outlooks, pieces, resins
from monitor.store.connection import writing
from monitor.store.intake_rows import Arrival
from monitor.watch import Watch, Works

AIR, PROBE = "home/bench/air", "home/bench/probe"
T0 = 1_790_000_000.0
HOUR = 3600.0
NOW = T0 + 3 * HOUR


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    """A store with one layer and a mark in a cold room, and two sensors."""
    path = tmp_path_factory.mktemp("filled") / "pourside.db"
    with closing(connection.open_owner(path)) as con:
        with writing(con):
            for profile in shelf.library():
                resins.save_resin(con, profile, T0, origin="library")
            for key in (AIR, PROBE):
                rows = [Arrival(key, NOW - 60.0 * n, 16.0 + n % 2 / 10, 48.0) for n in range(240)]
                intake_rows.commit(con, "home", "bench", rows, (), {}, NOW)
            piece = pieces.add_piece(con, "Tray", T0)
            coating = resins.resin(con, "coating_2_1")
            layer = pieces.add_layer(con, piece, "Flood", coating, T0 + 7, T0, depth_mm=3.0)
            marks.add_mark(con, layer, "tacky", T0 + 2 * HOUR + 9, note="at the edge")
        Watch().think(con, NOW, Works())
    return path


@pytest.fixture
def store_path(filled, tmp_path):
    """A copy of it to work on."""
    return Path(shutil.copy(filled, tmp_path))


@pytest.fixture
def client(store_path):
    """The page over it."""
    options = Options(store_path, lambda: NOW, zone="Europe/Lisbon", **assembly.page_parts())
    return create_app(options).test_client()


@pytest.fixture
def stored(store_path):
    """Reads the layer and the mark of the store as they are now."""

    def read():
        with closing(connection.open_reader(store_path)) as con:
            return pieces.layer(con, 1), marks.mark(con, 1), pieces.piece(con, 1)

    return read


def fields_of(page):
    """What a browser would send of the first form if nothing were touched."""
    page = page.split("<form", 1)[1].split("</form>")[0]
    found = dict(re.findall(r'<input [^>]*?name="(\w+)"[^>]*?value="([^"]*)"', page))
    for name, inside in re.findall(r'<select name="(\w+)">(.*?)</select>', page, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', inside) or re.search(
            r'value="([^"]*)"', inside
        )
        found[name] = chosen[1]
    return found


def piece_page(client):
    return client.get("/pieces/1").get_data(as_text=True)


@pytest.mark.parametrize("units", [{}, {"temperature": "F", "length": "in", "volume": "floz"}])
def test_a_form_sent_untouched_changes_nothing(client, stored, units):
    client.post("/settings", data=units)
    client.post("/layers/1/correct", data={"pour_temp_c": "71" if units else "21.7"})
    before = stored()
    for path in ("/layers/1/correct", "/marks/1/correct"):
        sent = fields_of(client.get(path).get_data(as_text=True))
        assert len(sent) >= 4
        assert client.post(path, data=sent).headers["Location"] == "/pieces/1"
    assert stored() == before


def test_every_field_of_a_layer_can_be_put_right(client, stored):
    sent = {
        "name": "Second flood", "poured_at": "2026-09-21T15:30", "depth_mm": "4",
        "area_cm2": "600", "volume_ml": "240", "pour_temp_c": "21.5", "base": "glass",
        "resin": "slow_art", "batch": "B7", "hardener_pct": "90", "sensor": AIR, "probe": PROBE,
    }  # fmt: skip
    assert client.post("/layers/1/correct", data=sent).status_code == 302
    layer, _, _ = stored()
    # Lisbon is one hour ahead of UTC in September.
    assert layer.poured_at_s == 1_790_001_000.0
    assert (layer.name, layer.base, layer.batch) == ("Second flood", "glass", "B7")
    assert (layer.depth_mm, layer.area_cm2, layer.volume_ml) == (4.0, 600.0, 240.0)
    assert (layer.pour_temp_c, layer.hardener_ratio) == (21.5, 0.9)
    assert (layer.resin.key, layer.sensor, layer.probe) == ("slow_art", AIR, PROBE)
    page = piece_page(client)
    for words in ("depth: 3 mm became 4 mm", "hardener ratio: 100% of the label's became 90%",
                  "batch: nothing became B7", "poured: "):  # fmt: skip
        assert words.replace("'", "&#39;") in page


def test_what_was_really_mixed_is_held_against_the_label(client, stored):
    # 2:1 by volume: 50 ml of hardener is wanted for 100 ml of resin, 40 is four fifths.
    client.post("/layers/1/correct", data={"part_a": "100", "part_b": "40", "part_unit": "ml"})
    assert stored()[0].hardener_ratio == pytest.approx(0.8)


@pytest.mark.parametrize(
    ("path", "sent", "said"),
    [
        ("/layers/1/correct", {"depth_mm": "900"}, "Depth is 900 mm; expected 0.05 to 500"),
        ("/layers/1/correct", {"name": " "}, "layer&#39;s name is empty"),
        ("/layers/1/correct", {"resin": "gone"}, "not on the shelf any more"),
        ("/layers/1/correct", {"part_a": "100"}, "Only one of resin and hardener"),
        ("/layers/1/correct", {"part_a": "10", "part_b": "100"}, "are the two swapped?"),
        ("/layers/1/correct", {"sensor": "no/such/one"}, "The sensor is"),
        ("/layers/1/correct", {"poured_at": "2026-09-21T17:55"}, "after the first mark"),
        ("/marks/1/correct", {"kind": "tacky", "at": "2026-09-21T12:00"}, "before the pour"),
        ("/marks/1/correct", {"kind": "soggy"}, "The mark is"),
        ("/marks/1/correct", {"kind": "note", "note": ""}, "The note is empty"),
        ("/pieces/1/correct", {"name": ""}, "piece&#39;s name is empty"),
        ("/pieces/1/archive", {}, "still on the bench"),
        ("/pieces/1/end", {"outcome": "x" * 401}, "at most 400"),
        ("/pieces/1/delete", {"confirm": "tray"}, "type its name: Tray"),
        ("/changes/99/undo", {}, "no correction 99"),
    ],
)  # fmt: skip
def test_a_correction_that_makes_no_sense_is_refused_and_changes_nothing(
    client, stored, path, sent, said
):
    before = stored()
    answer = client.post(path, data=sent)
    assert answer.status_code == 422
    assert said in answer.get_data(as_text=True)
    assert stored() == before


def test_a_mark_is_put_right_and_what_it_was_stays_told(client, stored):
    sent = {"kind": "tape_pulled", "verdict": "too_late", "at": "2026-09-21T17:05", "note": ""}
    client.post("/marks/1/correct", data=sent)
    _, mark, _ = stored()
    assert (mark.kind, mark.verdict, mark.note) == ("tape_pulled", "too_late", "")
    assert mark.at_s == 1_790_006_700.0
    page = piece_page(client)
    assert "mark: Tacky became Tape pulled" in page
    assert "verdict: nothing became too late: it tore" in page
    assert "note: at the edge became nothing" in page


def test_a_verdict_belongs_to_pulled_tape_only(client, stored):
    client.post("/marks/1/correct", data={"kind": "hard", "verdict": "good"})
    assert stored()[1].verdict is None


def test_a_correction_is_undone_with_one_tap_and_the_undoing_too(client, stored):
    before = stored()[0]
    client.post("/layers/1/correct", data={"depth_mm": "5", "resin": "slow_art"})

    def newest(field):
        return re.findall(rf'{field}.*?action="/changes/(\d+)/undo"', piece_page(client))[-1]

    assert stored()[0].resin.key == "slow_art"
    client.post(f"/changes/{newest('resin:')}/undo")
    client.post(f"/changes/{newest('depth:')}/undo")
    assert stored()[0] == before
    client.post(f"/changes/{newest('depth:')}/undo")
    assert stored()[0].depth_mm == 5.0


def test_only_the_last_correction_of_a_field_offers_its_undo(client, stored):
    client.post("/layers/1/correct", data={"depth_mm": "5"})
    client.post("/layers/1/correct", data={"depth_mm": "6"})
    numbers = re.findall(r'action="/changes/(\d+)/undo"', piece_page(client))
    assert len(numbers) == 1
    answer = client.post(f"/changes/{int(numbers[0]) - 1}/undo")
    assert "changed again since" in answer.get_data(as_text=True)
    assert stored()[0].depth_mm == 6.0


def test_a_mark_taken_back_waits_on_the_page_to_be_brought_back(client):
    client.post("/marks/1/remove")
    page = piece_page(client)
    assert "Deleted marks" in page
    assert "Tacky: deleted" in page
    client.post("/marks/1/restore")
    page = piece_page(client)
    assert "Deleted marks" not in page
    assert "Tacky: brought back" in page


def test_the_last_marks_stay_on_the_bench_with_their_undo(client):
    bench = client.get("/").get_data(as_text=True)
    assert 'id="logged-1"' in bench
    assert 'action="/marks/1/remove"' in bench


def test_a_piece_finished_by_mistake_returns_to_the_bench(client, stored):
    client.post("/pieces/1/end", data={"outcome": "fine"})
    layer, _, piece = stored()
    assert layer.ended_at_s == piece.ended_at_s == NOW
    client.post("/pieces/1/reopen")
    layer, _, piece = stored()
    assert (layer.ended_at_s, piece.ended_at_s) == (None, None)


def test_a_finished_piece_is_put_away_and_taken_out(client, stored):
    client.post("/pieces/1/end")
    client.post("/pieces/1/archive")
    assert stored()[2].archived_at_s == NOW
    assert "Take it out again" in piece_page(client)
    client.post("/pieces/1/unarchive")
    assert stored()[2].archived_at_s is None


def test_what_the_fold_of_a_piece_names_is_in_it(client, stored):
    page = piece_page(client)
    assert "Correct, finish or delete this piece" in page
    assert "Correct or end this layer" in page
    # One place to say how it came out while it is open; the other form keeps what stands.
    assert page.count("How it came out") == 1
    client.post("/pieces/1/correct", data={"name": "Panel", "outcome": "hazy"})
    assert 'type="hidden" name="outcome" value="hazy"' in piece_page(client)
    assert "finish it, then put it away" in client.get("/pieces/1/delete").get_data(as_text=True)
    client.post("/pieces/1/end", data={"outcome": "fine"})
    page = piece_page(client)
    assert "Correct, reopen, put away or delete this piece" in page
    assert "Correct or reopen this layer" in page
    assert "put it away instead" in client.get("/pieces/1/delete").get_data(as_text=True)


def test_before_deleting_a_copy_is_offered(client):
    page = client.get("/pieces/1/delete").get_data(as_text=True)
    assert "1 layer, 1 mark, 0 photos" in page
    assert page.index("/pieces/1/export.json") < page.index("Delete for good</button>")
    for path in re.findall(r'href="(/pieces/1/export[^"]*)"', page):
        answer = client.get(path)
        assert answer.status_code == 200
        assert answer.headers["Content-Disposition"].startswith("attachment")


@pytest.mark.parametrize("path", ["/layers/9/correct", "/marks/9/correct", "/pieces/9/delete",
                                  "/pieces/9/export.zip"])  # fmt: skip
def test_what_is_gone_is_said_to_be_gone(client, path):
    assert client.get(path).status_code == 404


@pytest.mark.parametrize("path", ["/layers/9/correct", "/marks/9/correct", "/marks/9/remove",
                                  "/pieces/9/archive", "/pieces/9/end"])  # fmt: skip
def test_an_act_on_what_is_gone_is_refused(client, path):
    assert client.post(path, data={"kind": "hard"}).status_code == 404


def photo():
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "red").save(out, "JPEG")
    return out.getvalue()


def test_the_export_is_whole(client, store_path):
    client.post("/api/v1/marks/1/photos", data=photo())
    client.post("/layers/1/correct", data={"depth_mm": "5"})
    with closing(connection.open_owner(store_path)) as con:
        Watch().think(con, NOW + HOUR, Works())
        kept = len(outlooks.history(con, 1))
    assert kept == 2
    whole = json.loads(client.get("/pieces/1/export.json").data)
    [layer] = whole["layers"]
    assert whole["format"] == 2
    assert layer["marks"][0]["photos"][0]["type"] == "image/jpeg"
    assert len(layer["outlook_history"]) == kept
    assert layer["outlook"]["curve"]["at_s"]
    assert (whole["plan"], layer["bottles"]) == (None, [])
    assert {change["field"] for change in whole["changes"]} >= {"started", "depth_mm", "photo"}
    assert whole["room"][0]["alarms"][0]["key"] == "room_too_cold"
    assert whole["room"][0]["readings"]["temp_c"]
    assert "⟦" not in json.dumps(whole, ensure_ascii=False)


def test_the_tables_hold_the_same_as_the_store(client, store_path):
    client.post("/api/v1/marks/1/photos", data=photo())
    client.post("/layers/1/correct", data={"depth_mm": "5"})
    book = zipfile.ZipFile(io.BytesIO(client.get("/pieces/1/export.zip").data))
    assert book.testzip() is None
    tables = {
        name: list(csv.DictReader(io.StringIO(book.read(name).decode())))
        for name in book.namelist()
        if name.endswith(".csv")
    }
    assert tables["piece.csv"][0]["name"] == "Tray"
    assert tables["layers.csv"][0]["poured"] == "2026-09-21T14:13:27Z"
    [mark] = tables["marks.csv"]
    assert (mark["kind"], mark["note"]) == ("tacky", "at the edge")
    assert Image.open(io.BytesIO(book.read(mark["photos"]))).size == (40, 30)
    stages = {row["stage"] for row in tables["outlooks.csv"]}
    assert {"tack_free", "full_cure"} <= stages
    assert tables["alarms.csv"][0]["alarm"] == "room_too_cold"
    assert [row["after"] for row in tables["changes.csv"] if row["field"] == "depth_mm"] == ["5.0"]
    # One reading a minute from the pour to now, of both sensors.
    room = tables["room.csv"]
    assert {row["sensor"] for row in room} == {AIR, PROBE}
    assert len(room) == 2 * (3 * 60)
    assert room[0]["temp_c"] in ("16.00", "16.10")
    assert "⟦" not in "".join(book.read(name).decode() for name in tables)
