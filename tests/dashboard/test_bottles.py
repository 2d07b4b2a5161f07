"""The bottles page, and what a started layer takes out of them."""

from __future__ import annotations

import json
import re
from contextlib import closing

import pytest

from dashboard.app import create_app
from dashboard.options import Options
from monitor import assembly, shelf
from monitor.answers import export
from monitor.store import bottles, changes, connection, pieces, resins
from monitor.store.connection import writing

NOW = 1_790_000_000.0  # 21 September 2026
COATING = next(one for one in shelf.library() if one.key == "coating_2_1")


@pytest.fixture
def client(store_path):
    with closing(connection.open_owner(store_path)) as con, writing(con):
        for profile in shelf.library():
            resins.save_resin(con, profile, NOW, origin="library")
    options = Options(store_path, lambda: NOW, zone="Europe/Lisbon", **assembly.page_parts())
    return create_app(options).test_client()


def words(answer):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.get_data(as_text=True)))


def add(client, **typed):
    typed = {"resin": "coating_2_1", "part": "B", "held": "500", "unit": "ml", **typed}
    return client.post("/bottles", data=typed)


def shelf_of(store_path):
    with closing(connection.open_reader(store_path)) as con:
        return bottles.bottles(con)


def test_a_bottle_is_put_on_the_shelf(client, store_path):
    answer = add(client, lot="L7", opened="2026-03-01", price="19,50", note="top shelf")
    assert answer.status_code == 302
    text = words(client.get("/bottles"))
    assert "Hardener, batch L7 , Coating resin 2:1" in text
    assert "500 ml of 500 ml left (100%); opened 1 Mar 2026. Cost 19.50 €" in text
    assert "Old hardener" not in text
    assert shelf_of(store_path)[0].price == 19.5


def test_an_old_hardener_is_pointed_out_and_an_old_resin_is_not(client):
    add(client, lot="OLD", opened="2025-09-01")
    assert "Old hardener slows" in words(client.get("/bottles"))


def test_an_old_resin_is_left_alone(client):
    add(client, part="A", opened="2024-09-01")
    assert "Old hardener slows" not in words(client.get("/bottles"))


def test_a_label_in_grams_is_kept_in_millilitres(client, store_path):
    # 1130 g of resin at 1.13 g/ml; a kit of 3 kg at 2:1 by volume: (2 x 1.13 + 1)/3 g/ml.
    add(client, part="A", held="1130", unit="g")
    add(client, part="kit", held="3260", unit="g")
    held = {one.part: one.held_ml for one in shelf_of(store_path)}
    assert held["A"] == pytest.approx(1000.0)
    dense = (2 * COATING.density_a_kg_m3 + COATING.density_b_kg_m3) / 3000.0
    assert held["kit"] == pytest.approx(3260.0 / dense)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"resin": "gone"}, "not on the shelf any more"),
        ({"held": ""}, "Size is empty"),
        ({"held": "-5"}, "Size is -5 ml"),
        ({"held": "lots"}, "expected a number in ml"),
        ({"part": "C"}, "Part is"),
        ({"opened": "soon"}, "expected a date"),
        ({"opened": "2031-01-01"}, "expected a day from 2000 to today"),
        ({"price": "free"}, "expected a number in €"),
    ],
)
def test_what_makes_no_sense_is_refused_in_words(client, store_path, typed, said):
    answer = add(client, **typed)
    assert answer.status_code == 422
    assert said in words(answer)
    assert shelf_of(store_path) == []


def test_a_bottle_is_corrected_used_up_brought_back_and_deleted(client, store_path):
    add(client)
    client.post("/bottles/1", data={"held": "400", "lot": "X", "opened": "2026-09-01"})
    assert (shelf_of(store_path)[0].held_ml, shelf_of(store_path)[0].lot) == (400.0, "X")
    client.post("/bottles/1/empty")
    assert "Used up (1)" in words(client.get("/bottles"))
    client.post("/bottles/1/refill")
    assert shelf_of(store_path)[0].left_ml == 400.0
    client.post("/bottles/1/delete")
    assert shelf_of(store_path) == []
    assert client.post("/bottles/1/empty").status_code == 404


def pour(client, **typed):
    return client.post("/pour", data={"resin": "coating_2_1", "name": "Tray", **typed})


def test_a_layer_draws_what_was_measured_and_takes_the_lot_as_its_batch(client, store_path):
    add(client, part="A", held="1000")
    add(client, part="B", lot="L7")
    pour(client, bottle_a="1", bottle_b="2", part_a="60", part_b="30", part_unit="ml")
    left = {one.part: one.left_ml for one in shelf_of(store_path)}
    assert left == {"A": 940.0, "B": 470.0}
    with closing(connection.open_reader(store_path)) as con:
        _, layer = pieces.bench(con)[0]
        assert layer.batch == "L7"
    assert shelf_of(store_path)[1].opened_at_s == NOW


def test_without_measures_the_page_reckons_a_tenth_for_the_cups(client, store_path):
    add(client, part="A", held="1000")
    add(client, part="B")
    # 300 cm² x 3 mm = 90 ml; 100 ml mixed at 2:1.
    pour(client, bottle_a="1", bottle_b="2", area_cm2="300", depth_mm="3")
    left = {one.part: one.left_ml for one in shelf_of(store_path)}
    assert left["A"] == pytest.approx(1000.0 - 66.667, abs=0.01)
    assert left["B"] == pytest.approx(500.0 - 33.333, abs=0.01)


def test_grams_are_taken_as_millilitres(client, store_path):
    add(client, part="A", held="1000")
    add(client, part="B")
    pour(client, bottle_a="1", bottle_b="2", part_a="113", part_b="50", part_unit="g")
    left = {one.part: one.left_ml for one in shelf_of(store_path)}
    assert left["A"] == pytest.approx(900.0)
    assert left["B"] == pytest.approx(450.0)


def test_a_layer_from_no_bottle_takes_nothing(client, store_path):
    add(client, part="A")
    pour(client, bottle_a="", bottle_b="", area_cm2="300", depth_mm="3")
    pour(client, area_cm2="300", depth_mm="3")
    assert shelf_of(store_path)[0].used_ml == 0.0


def test_another_resins_bottle_is_not_touched(client, store_path):
    add(client, resin="slow_art", part="A")
    pour(client, bottle_a="1", bottle_b="", area_cm2="300", depth_mm="3")
    assert shelf_of(store_path)[0].used_ml == 0.0


def test_prices_are_in_the_persons_own_money(client):
    add(client, price="20")
    client.post("/currency", data={"currency": "CHF"})
    assert "Cost 20 CHF" in words(client.get("/bottles"))
    assert client.post("/currency", data={"currency": ""}).status_code == 422


def drawn(store_path):
    return {one.part: one.used_ml for one in shelf_of(store_path)}


def test_a_size_put_right_puts_right_what_was_drawn_and_undone_takes_it_back(client, store_path):
    add(client, part="A", held="1000")
    add(client, lot="L7")
    client.post("/pour", data={"resin": "coating_2_1", "area_cm2": "300", "depth_mm": "3",
                               "bottle_a": "1", "bottle_b": "2"})  # fmt: skip
    before = drawn(store_path)
    assert "follows its size" in words(client.get("/layers/1/correct"))

    client.post("/layers/1/correct", data={"area_cm2": "600"})

    assert drawn(store_path) == pytest.approx({part: 2.0 * ml for part, ml in before.items()})
    client.post("/layers/1/correct", data={"name": "Flood"})
    assert drawn(store_path) == pytest.approx({part: 2.0 * ml for part, ml in before.items()})
    with closing(connection.open_reader(store_path)) as con:
        area = next(one for one in changes.changes(con, 1) if one.field == "area_cm2")
    client.post(f"/changes/{area.id}/undo")
    assert drawn(store_path) == pytest.approx(before)


def test_a_pieces_export_says_which_bottles_it_came_from(client, store_path):
    add(client, part="A", held="1000", lot="R1")
    add(client, lot="L7")
    client.post("/pour", data={"resin": "coating_2_1", "area_cm2": "300", "depth_mm": "3",
                               "bottle_a": "1", "bottle_b": "2"})  # fmt: skip
    with closing(connection.open_reader(store_path)) as con:
        (layer,) = json.loads(export.piece_json(con, 1))["layers"]
    # 90 ml on the piece and a tenth in the cups, two parts to one.
    assert [(one["part"], one["lot"], round(one["ml"], 1)) for one in layer["bottles"]] == [
        ("A", "R1", 66.7),
        ("B", "L7", 33.3),
    ]
