"""The recipes page: copy an example, edit its steps without a script, be told what is wrong."""

from __future__ import annotations

import re
from contextlib import closing

import pytest

from dashboard.app import create_app
from dashboard.options import Options
from monitor import assembly, shelf
from monitor.answers import planning
from monitor.store import connection, recipes, resins
from monitor.store.connection import writing
from monitor.store.errors import StoreError

NOW = 1_790_000_000.0
STEP = {"kind": "base_pour", "name": "Base", "resin": "coating_2_1", "needs": "none", "min": "20"}


@pytest.fixture
def client(store_path):
    with closing(connection.open_owner(store_path)) as con, writing(con):
        for profile in shelf.library():
            resins.save_resin(con, profile, NOW, origin="library")
    options = Options(store_path, lambda: NOW, zone="Europe/Lisbon", **assembly.page_parts())
    return create_app(options).test_client()


def words(answer):
    text = re.sub(r"<[^>]+>", " ", answer.get_data(as_text=True))
    return re.sub(r"\s+", " ", text).replace("&#39;", "'")


def form(*steps, **whole):
    fields = {"name": "Tray", "note": "", "count": str(len(steps)), "do": "save", **whole}
    for place, step in enumerate(steps, 1):
        fields |= {f"{key}{place}": value for key, value in {**STEP, **step}.items()}
    return fields


def kept(store_path):
    with closing(connection.open_reader(store_path)) as con:
        return [one.recipe for one in recipes.recipes(con)]


def test_an_example_is_copied_and_is_then_ones_own(client, store_path):
    answer = client.post("/recipes/copy", data={"from": "example:coaster_set"})
    assert answer.headers["Location"] == "/recipes/1"
    (own,) = kept(store_path)
    example = next(one for one in planning.examples() if one.key == "coaster_set")
    assert own.steps == example.steps
    assert own.name != example.name
    client.post("/recipes/copy", data={"from": "1"})
    assert len(kept(store_path)) == 2


def test_every_example_is_sound_against_the_library(client, store_path):
    with closing(connection.open_reader(store_path)) as con:
        for one in planning.examples():
            assert planning.faults_of(con, one) == []


def test_painted_lines_have_no_depth_and_a_note_is_one_paragraph(client, store_path):
    lines = {"kind": "painted_lines", "name": "Lines", "resin": "paint_lines", "needs": "sanded",
             "area_cm2": "400", "depth_mm": "2", "volume_ml": "80"}  # fmt: skip
    sent = form({}, lines, note="First the base.\r\nThen lines.")
    assert client.post("/recipes", data=sent).status_code == 302
    (own,) = kept(store_path)
    assert own.note == "First the base. Then lines."
    drawn = own.steps[1]
    assert (drawn.area_cm2, drawn.depth_mm, drawn.volume_ml) == (400.0, None, None)


def test_a_recipe_is_written_in_the_form(client, store_path):
    tape = {"kind": "tape", "name": "Tape", "needs": "sanded", "resin": "coating_2_1",
            "pull_tape": "1", "pull_tape_min": "10"}  # fmt: skip
    top = {"kind": "flood_coat", "name": "Top", "needs": "recoat_or_sanded", "area_cm2": "600",
           "depth_mm": "2,5", "min": "40"}  # fmt: skip
    assert client.post("/recipes", data=form({}, tape, top)).status_code == 302
    (own,) = kept(store_path)
    base, laid, coat = own.steps
    assert (base.resin, base.hands_on_min) == ("coating_2_1", 20.0)
    # Work alone has no resin, whatever stands in its field.
    assert laid.resin is None
    assert [(one.kind, one.hands_on_min) for one in laid.moments] == [("pull_tape", 10.0)]
    assert (coat.area_cm2, coat.depth_mm, coat.needs) == (600.0, 2.5, "recoat_or_sanded")


def test_steps_are_added_moved_and_dropped_without_losing_what_was_typed(client, store_path):
    two = form({"name": "First"}, {"name": "Second"})
    added = client.post("/recipes", data={**two, "do": "add"}).get_data(as_text=True)
    assert 'name="count" value="3"' in added
    assert 'value="Second"' in added
    moved = client.post("/recipes", data={**two, "do": "up-2"}).get_data(as_text=True)
    assert 'name="name1" maxlength="60" value="Second"' in moved
    dropped = client.post("/recipes", data={**two, "do": "drop-1"}).get_data(as_text=True)
    assert 'value="First"' not in dropped
    assert kept(store_path) == []


@pytest.mark.parametrize("act", ["up-1", "up-9", "drop-9", "up-x", "nonsense"])
def test_a_senseless_rearrangement_changes_nothing(client, act):
    answer = client.post("/recipes", data=form({"name": "Only"}, do=act))
    assert answer.status_code == 200
    assert 'value="Only"' in answer.get_data(as_text=True)


@pytest.mark.parametrize(
    ("steps", "whole", "said"),
    [
        ([{}], {"name": ""}, "The recipe's name is empty"),
        ([{"min": "soon"}], {}, "Base, hands-on time is 'soon'; expected a number in min"),
        ([{"min": "9999"}], {}, "expected 0 to 600"),
        ([{"area_cm2": "-3"}], {}, "Base, area is -3"),
        ([{"resin": ""}], {}, "Base has no resin"),
        ([{"resin": "gone"}], {}, "Resin 'gone' of Base is not on the shelf"),
        ([{"needs": "sanded"}], {}, "no layer below it"),
        ([{}, {"name": "Dam", "kind": "adhesive_dam"}], {}, "must be an adhesive"),
        ([{"kind": "jump"}], {}, "expected one of"),
        ([{"pull_tape": "1", "kind": "sand", "name": "Sand"}], {}, "has no layer after it"),
    ],
)
def test_what_makes_no_sense_is_told_and_nothing_typed_is_lost(
    client, store_path, steps, whole, said
):
    answer = client.post("/recipes", data=form(*steps, **whole))
    assert answer.status_code == 422
    assert said in words(answer)
    assert 'name="count"' in answer.get_data(as_text=True)
    assert kept(store_path) == []


def test_a_recipe_is_changed_and_deleted(client, store_path):
    client.post("/recipes", data=form({}))
    client.post("/recipes/1", data=form({}, name="Deep tray"))
    assert [one.name for one in kept(store_path)] == ["Deep tray"]
    assert "Deep tray" in words(client.get("/recipes"))
    client.post("/recipes/1/delete")
    assert kept(store_path) == []
    assert client.get("/recipes/1").status_code == 404
    assert client.post("/recipes/copy", data={"from": "1"}).status_code == 404


def test_a_recipe_that_was_deleted_meanwhile_is_not_brought_back_in_silence(con):
    (example, *_) = planning.examples()
    with pytest.raises(StoreError, match="no recipe 7"), writing(con):
        recipes.change_recipe(con, 7, example, NOW)
