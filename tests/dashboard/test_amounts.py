"""The amounts page: shapes in, millilitres, grams, cups, bottles and money out."""

from __future__ import annotations

import re
from contextlib import closing

import pytest

from dashboard.app import create_app
from dashboard.options import Options
from monitor import assembly, shelf
from monitor.store import bottles, connection, resins, settings
from monitor.store.connection import writing

NOW = 1_790_000_000.0
YEAR = 365.25 * 86400.0


@pytest.fixture
def client(store_path):
    with closing(connection.open_owner(store_path)) as con, writing(con):
        for profile in shelf.library():
            resins.save_resin(con, profile, NOW, origin="library")
    options = Options(store_path, lambda: NOW, zone="Europe/Lisbon", **assembly.page_parts())
    return create_app(options).test_client()


def words(answer):
    text = re.sub(r"<[^>]+>", " ", answer.get_data(as_text=True))
    return re.sub(r"\s+", " ", text)


def sheet(client, **typed):
    typed = {"resin": "coating_2_1", "kind1": "rectangle", "first1": "30", "second1": "10",
             "depth_mm": "3", "waste_pct": "0", **typed}  # fmt: skip
    return client.get("/amounts", query_string=typed)


def put(store_path, *rows):
    with closing(connection.open_owner(store_path)) as con, writing(con):
        for part, held, fields in rows:
            bottles.add_bottle(con, "coating_2_1", part, held, **fields)


def test_ninety_millilitres_of_two_to_one(client):
    # 30 x 10 cm x 3 mm = 90 ml: 60 + 30. Worked by hand.
    text = words(sheet(client))
    assert "Mix 90 ml" in text
    assert "By volume 60 ml 30 ml 90 ml" in text


def test_shapes_waste_ground_and_inlays_are_put_together(client):
    # Rectangle 300 cm² and three circles of 10 cm (25 pi each): 535.6 cm² x 3 mm = 160.7 ml;
    # less 20 ml of shells; 5.4 ml drunk by planed wood; 146.0 / 0.9 = 162.3 ml.
    text = words(
        sheet(client, kind2="circle", first2="10", count2="3", rows="2", displaced_ml="20",
              ground="bare", waste_pct="10")
    )  # fmt: skip
    assert "Area 535.6 cm², 3 mm deep" in text
    assert "Stays on the piece: 140.7 ml" in text
    assert "Drunk by the ground: 5.4 ml" in text
    assert "Mix 162.3 ml" in text


def test_water_fills_what_has_no_form(client):
    text = words(sheet(client, kind1="water", first1="250", second1="", depth_mm=""))
    # 250 g at 0.9982 g/ml.
    assert "Mix 250.5 ml" in text
    assert "deep" not in text.split("Bottles")[0].split("Mix")[1]


def test_a_dam_holds_no_more_than_its_height(client):
    text = words(sheet(client, depth_mm="8", dam_mm="5"))
    assert "Mix 150 ml" in text
    assert "The dam holds 5 mm" in text


def test_a_large_mix_goes_into_cups_that_keep_their_working_time(client):
    text = words(sheet(client, first1="100", second1="60", depth_mm="3"))
    found = re.search(r"(\d+) cups of (\d+) ml", text)
    assert found is not None
    assert int(found[1]) * int(found[2]) == pytest.approx(1800, abs=int(found[1]))
    assert f"Each of {found[1]} cups, by weight" in text


def test_what_is_left_and_what_it_costs(client, store_path):
    put(store_path, ("A", 1000.0, {"price": 30.0, "lot": "A1"}), ("B", 500.0, {"price": 20.0}))
    text = words(sheet(client))
    assert "Resin, batch A1 gives 60 ml; then 940 ml are left. Cost 1.80 €" in text
    assert "then 470 ml are left" in text
    assert "costs 3 €" in text


def test_too_little_is_said(client, store_path):
    put(store_path, ("A", 1000.0, {}), ("B", 12.0, {}))
    text = words(sheet(client))
    assert "Not enough: 18 ml of hardener missing" in text
    assert "costs" not in text


def test_a_hardener_open_for_long_is_told_with_its_source(client, store_path):
    put(store_path, ("B", 500.0, {"opened_at_s": NOW - 1.1 * YEAR, "lot": "B7"}))
    text = words(sheet(client))
    assert "Hardener, batch B7 has been open for more than a year. Old hardener slows" in text
    assert "common practice, no published source" in text
    put(store_path, ("B", 500.0, {"opened_at_s": NOW - 0.9 * YEAR, "lot": "B8"}))
    assert "batch B8 has been open" not in words(sheet(client))


def test_another_shape_is_asked_for_without_losing_the_first(client):
    text = sheet(client, more="1").get_data(as_text=True)
    assert 'name="first2"' in text
    assert 'name="first1" inputmode="decimal" value="30"' in text
    assert 'name="rows" value="2"' in text


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"depth_mm": ""}, "Depth and dam height are both empty"),
        ({"first1": "wide"}, "expected a number in cm"),
        ({"first1": "nan"}, "Shape 1, length is nan"),
        ({"second1": ""}, "A rectangle needs two sizes"),
        ({"kind1": "ring", "second1": "40"}, "Outer diameter 30 cm is not above the inner 40"),
        ({"displaced_ml": "95"}, "Inlays displace 95 ml"),
        ({"count1": "1.5"}, "expected a whole number"),
        ({"kind1": "blob"}, "expected one of"),
        ({"waste_pct": "99"}, "Waste is 99"),
        ({"rows": "999999999999"}, "Mix 90 ml"),
        ({"first1": "9000", "second1": "9000"}, "expected at most 200"),
    ],
)
def test_what_makes_no_sense_is_answered_in_words(client, typed, said):
    answer = sheet(client, **typed)
    assert answer.status_code == 200
    assert said in words(answer)


def test_the_pour_page_is_handed_all_of_it(client):
    text = sheet(client).get_data(as_text=True)
    assert (
        "/pour?resin=coating_2_1&amp;mixed_ml=90.0&amp;mixed_for_ml=90&amp;area_cm2=300&amp;volume_ml=90"
        in text
    )


def test_inches_and_ounces_are_typed_and_shown_where_chosen(client, store_path):
    with closing(connection.open_owner(store_path)) as con, writing(con):
        settings.put(con, "length", "in", NOW)
        settings.put(con, "volume", "floz", NOW)
    # 10 x 10 in = 645.16 cm², 1/8 in = 3.175 mm: 204.84 ml = 6.93 fl oz.
    text = words(sheet(client, first1="10", second1="10", depth_mm="0.125"))
    assert "Mix 6.93 fl oz" in text
    assert "Area 100 in²" in text
