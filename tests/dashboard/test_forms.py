"""Forms as a person meets them: nothing typed is lost, nothing shown changes by being sent back."""

from __future__ import annotations

import html
import re
from contextlib import closing
from dataclasses import replace

import pytest

from dashboard.app import create_app
from dashboard.forms import whole
from dashboard.options import Options
from monitor import assembly, shelf
from monitor.answers import planning
from monitor.store import bottles, connection, pieces, recipes, resins
from monitor.store.connection import writing

NOW = 1_790_000_000.0
DAY = 86400.0
US = {"temperature": "F", "volume": "floz", "weight": "oz", "length": "in"}


@pytest.fixture
def client(store_path):
    with closing(connection.open_owner(store_path)) as con, writing(con):
        for profile in shelf.library():
            resins.save_resin(con, profile, NOW, origin="library")
        pieces.add_piece(con, "Harbour panel", NOW)
    options = Options(store_path, lambda: NOW, zone="Europe/Lisbon", **assembly.page_parts())
    return create_app(options).test_client()


@pytest.fixture
def stored(store_path):
    def read(of, *which):
        with closing(connection.open_reader(store_path)) as con:
            return of(con, *which)

    return read


def page(client, path):
    return client.get(path).get_data(as_text=True)


def plain(text):
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", text)))


def fields(text, action):
    """What a browser would send of the form with this action, left as it is shown."""
    start = text.index(f'action="{action}"')
    form = text[start : text.index("</form>", start)]
    sent = {}
    for tag in re.findall(r"<input[^>]*>", form):
        found = dict(re.findall(r'([\w-]+)="([^"]*)"', tag))
        ticked = found.get("type") not in ("radio", "checkbox") or " checked" in tag
        if "name" in found and ticked:
            sent[found["name"]] = html.unescape(found.get("value", ""))
    for name, body in re.findall(r'<select name="([^"]+)"[^>]*>(.*?)</select>', form, re.DOTALL):
        options = re.findall(r'<option(?: value="([^"]*)")?( selected)?', body)
        chosen = [value for value, selected in options if selected] or [options[0][0]]
        sent[name] = html.unescape(chosen[0])
    return sent


@pytest.mark.parametrize(
    ("text", "number"),
    [("0", 0), ("007", 7), ("9" * 18, 10**18 - 1), ("9" * 19, None), ("", None), ("-1", None),
     ("²", None), ("\u0663", None), ("1_0", None), (" 1", None), ("1.0", None)],
)  # fmt: skip
def test_a_whole_number_is_plain_digits_that_the_store_can_hold(text, number):
    assert whole(text) == number


NO_NUMBER = ("²", "\u0663", "9" * 30)


@pytest.mark.parametrize("odd", NO_NUMBER)
def test_what_is_no_number_in_a_number_field_is_no_fault_of_the_page(client, stored, odd):
    for path in (f"/compare?piece={odd}&layer={odd}", f"/amounts?rows={odd}",
                 f"/pour?resin=coating_2_1&bottle_a={odd}&bottle_b={odd}&step={odd}",
                 f"/plan/new?piece={odd}", f"/plan/new?recipe={odd}"):  # fmt: skip
        assert client.get(path).status_code in (200, 404), path
    typed = {"resin": "coating_2_1", "piece": "1", "bottle_a": odd, "bottle_b": odd, "step": odd}
    assert client.post("/pour", data=typed).status_code == 302
    assert stored(bottles.bottles) == []
    answer = client.post("/plan/new", data={"piece": odd, "recipe": odd})
    assert answer.status_code in (404, 422)
    assert stored(planning.recipe_named, odd) is None


@pytest.mark.parametrize("odd", NO_NUMBER)
def test_a_plan_takes_up_no_layer_that_is_no_number(client, stored, store_path, odd):
    recipe = planning.recipe_named(None, "example:coaster_set")
    with closing(connection.open_owner(store_path)) as con, writing(con):
        terms = planning.Terms(planning.Wishes(probability=0.6))
        planning.accept(con, 1, recipe, terms, planning.make(con, recipe, terms, NOW, lambda _: 0))
    data = {"step": recipe.steps[0].key, "layer": odd}
    answer = client.post("/pieces/1/plan/adopt", data=data)
    assert answer.status_code == 422
    assert "has no layer" in answer.get_data(as_text=True)


@pytest.mark.parametrize(
    "elsewhere",
    ["//evil.example", "/\t/evil.example", "/\n/evil.example", "/\r\nSet-Cookie: a=b",
     "/\\evil.example", "/\x00/evil.example", "/ /evil.example", "/\x85", "/\u2028x", "evil", ""],
)  # fmt: skip
def test_no_field_leads_off_the_board(client, elsewhere):
    client.post("/pour", data={"resin": "coating_2_1", "piece": "1"})
    answer = client.post("/layers/1/marks", data={"kind": "note", "note": "a", "back": elsewhere})
    assert answer.status_code == 302
    assert answer.headers["Location"] in ("/", "/pieces/1")


def test_a_page_of_ours_is_gone_back_to(client):
    client.post("/pour", data={"resin": "coating_2_1", "piece": "1"})
    for ours in ("/", "/#logged-1", "/pieces/1?shown=all", "/resins/coating_2_1/learned"):
        answer = client.post("/layers/1/marks", data={"kind": "note", "note": "a", "back": ours})
        assert answer.headers["Location"] == ours


def test_a_new_piece_comes_first_and_gets_the_name_typed(client, stored):
    chooser = page(client, "/pour").split('name="piece"')[1]
    assert chooser.index("a new piece") < chooser.index("Harbour panel")
    client.post("/pour", data={"resin": "coating_2_1", "piece": "", "name": "My new tray"})
    assert [piece.name for piece, _ in stored(pieces.bench)] == ["My new tray"]


def test_a_piece_chosen_and_another_named_is_a_fault_at_the_name_and_nothing_is_lost(
    client, stored
):
    typed = {"resin": "coating_2_1", "piece": "1", "name": "My new tray", "layer": "Base",
             "depth_mm": "3", "when": "past", "poured_at": "2026-09-21T12:00"}  # fmt: skip
    answer = client.post("/pour", data=typed)
    assert answer.status_code == 422
    text = answer.get_data(as_text=True)
    assert re.search(r'id="wrong-name">The layer goes on Harbour panel, and a new piece', text)
    sent = fields(text, "/pour")
    assert typed.items() <= sent.items()
    assert stored(pieces.bench) == []
    # Put right, it is taken.
    assert client.post("/pour", data={**sent, "name": ""}).status_code == 302
    assert stored(pieces.bench)[0][0].name == "Harbour panel"


def test_a_piece_finished_meanwhile_is_not_silently_replaced_by_a_new_one(client, stored):
    answer = client.post("/pour", data={"resin": "coating_2_1", "piece": "99"})
    assert answer.status_code == 422
    assert "not on the bench any more" in answer.get_data(as_text=True)
    assert stored(pieces.bench) == []


def test_a_fault_within_the_fold_opens_it(client):
    answer = client.post("/pour", data={"resin": "coating_2_1", "part_a": "10"})
    text = answer.get_data(as_text=True)
    assert re.search(r'<details open><summary>More.*id="wrong-part_b"', text, re.DOTALL)


def test_a_paint_is_painted_and_asked_for_nothing_that_it_has_not(client, stored):
    text = page(client, "/pour?resin=paint_lines&area_cm2=450&depth_mm=3")
    assert "Paint now?" in text
    assert "Water-borne paint lines, painted now" in plain(text)
    asked = fields(text, "/pour")
    assert not {"depth_mm", "volume_ml", "base", "part_a", "part_b", "pour_temp_c"} & set(asked)
    assert "amounts of both parts" not in text
    assert not re.search(r"[Mm]ixed|[Pp]oured", plain(text).split("Estimates are")[0])
    client.post("/pour", data=asked)
    assert stored(pieces.bench)[0][1].area_cm2 == 450.0


def test_a_pour_too_deep_gives_the_amounts_of_one_and_starts_only_anyway(client):
    text = page(client, "/pour?resin=coating_2_1&area_cm2=450&depth_mm=30")
    told = plain(text)
    count, each = re.search(r"Split it into (\d+) pours of ([\d.]+) mm", told).groups()
    assert float(each) * int(count) == pytest.approx(30.0, abs=0.05 * int(count))
    assert f"for one of the {count} pours" in told
    total = 450.0 * 30.0 / int(count) / 10.0 / 0.9
    assert f"{total:.1f} ml" in told
    assert re.search(r'<button id="begin">Start anyway</button>', text)
    good = page(client, "/pour?resin=coating_2_1&area_cm2=450&depth_mm=3")
    assert re.search(r'<button id="begin">Start the clock</button>', good)


@pytest.mark.parametrize("path", ["/pour?resin=coating_2_1&area_cm2=500&depth_mm=3",
                                  "/amounts?resin=coating_2_1&first1=33.3&second1=15&depth_mm=3"],
)  # fmt: skip
@pytest.mark.parametrize("units", [{}, US])
def test_the_amounts_of_both_parts_add_up_as_they_are_shown(client, path, units):
    client.post("/settings", data=units)
    rows = re.findall(r'<th scope="row">By (?:volume|weight)</th>(.*?)</tr>', page(client, path))
    assert len(rows) == 2
    for row in rows:
        a, b, total = (float(number) for number in re.findall(r">([\d.]+)\s", row))
        assert a + b == pytest.approx(total, abs=1e-9)


def test_what_the_amounts_page_reckoned_is_taken_while_the_size_is_the_same(client, stored):
    add = {"resin": "coating_2_1", "unit": "ml"}
    client.post("/bottles", data={**add, "part": "A", "held": "1000"})
    client.post("/bottles", data={**add, "part": "B", "held": "500"})
    sheet = page(client, "/amounts?resin=coating_2_1&first1=30&second1=10&depth_mm=3&waste_pct=40")
    link = html.unescape(re.search(r'href="(/pour\?[^"]*)"', sheet)[1])
    sent = fields(page(client, link), "/pour")
    client.post("/pour", data=sent)
    # 90 ml stay on the piece; with 40 % left in the cups 150 ml are mixed.
    assert sum(one.used_ml for one in stored(bottles.bottles)) == pytest.approx(150.0, abs=0.1)
    client.post("/pour", data={**sent, "volume_ml": "180"})
    used = sum(one.used_ml for one in stored(bottles.bottles))
    assert used == pytest.approx(150.0 + 180.0 / 0.9, abs=0.1)


def test_the_bottle_last_taken_from_is_offered_and_an_old_one_last(client, store_path):
    with closing(connection.open_owner(store_path)) as con, writing(con):
        for lot, days in (("OLD", 430.0), ("IN-USE", 60.0), ("YOUNG", 10.0)):
            bottles.add_bottle(
                con, "coating_2_1", "B", 500.0, lot=lot, opened_at_s=NOW - days * DAY
            )
        piece = pieces.add_piece(con, "Tray", NOW - DAY)
        resin = resins.resin(con, "coating_2_1")
        layer = pieces.add_layer(con, piece, "Base", resin, NOW - DAY, NOW - DAY)
        bottles.take(con, 3, layer, 30.0, NOW - DAY)
    text = page(client, "/pour?resin=coating_2_1")
    offered = re.findall(r"batch ([A-Z-]+): (.*?)</option>", text.split("<details")[0])
    assert [lot for lot, _ in offered] == ["YOUNG", "IN-USE", "OLD"]
    assert offered[2][1].endswith("open for over a year")
    assert "Old hardener slows" not in text
    for number in (2, 3):
        client.post(f"/bottles/{number}/empty")
    assert "Old hardener slows" in page(client, "/pour?resin=coating_2_1")


def test_a_resins_times_are_typed_and_shown_as_on_the_label(client, stored):
    typed = {
        "name": "Mine",
        "kind": "pour",
        "ref_temp_c": "23",
        "stage_working_time_end": "45 min",
        "stage_tack_free": "3 h 30 min",
        "stage_sandable": "24",
        "stage_full_cure": "3 d",
    }
    assert client.post("/resins", data=typed).status_code == 302
    mine = stored(resins.resin, "mine")
    hours = {key: stage.hours for key, stage in mine.stages.items() if stage.basis == "label"}
    assert hours == {"working_time_end": 0.75, "tack_free": 3.5, "sandable": 24.0,
                     "full_cure": 72.0}  # fmt: skip
    sent = fields(page(client, "/resins/new?from=mine"), "/resins")
    assert [sent[f"stage_{key}"] for key in hours] == ["45 min", "3 h 30 min", "24 h", "3 d"]


def test_a_time_that_tells_none_is_a_fault_at_its_field(client):
    typed = {"name": "Mine", "kind": "pour", "ref_temp_c": "23", "stage_tack_free": "overnight"}
    answer = client.post("/resins", data=typed)
    text = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert "expected a time such as 45 min" in plain(text.split('id="wrong-stage_tack_free"')[1])
    assert fields(text, "/resins")["stage_tack_free"] == "overnight"


def awkward(con):
    """A resin of numbers that no short field shows whole."""
    resin = resins.resin(con, "coating_2_1")
    stages = {key: replace(stage, hours=stage.hours * 1.01234) for key, stage in
              resin.stages.items()}  # fmt: skip
    return replace(resin, key="awkward", name="Awkward", ref_temp_c=22.3456, ref_depth_mm=3.0,
                   min_temp_c=17.77, max_depth_mm=6.0, stages=stages)  # fmt: skip


@pytest.mark.parametrize("units", [{}, US])
def test_a_resin_sent_back_as_shown_stays_as_it_was(client, stored, store_path, units):
    client.post("/settings", data=units)
    with closing(connection.open_owner(store_path)) as con, writing(con):
        resins.save_resin(con, awkward(con), NOW)
    before = stored(resins.resin, "awkward")
    sent = fields(page(client, "/resins/new?from=awkward"), "/resins")
    assert client.post("/resins", data=sent).status_code == 302
    after = stored(resins.resin, "awkward")
    assert replace(after, source=before.source, stages=before.stages) == before
    labels = {key: one for key, one in before.stages.items() if one.basis == "label"}
    assert {key: after.stages[key] for key in labels} == labels


def test_inches_have_few_digits_in_a_field_and_a_bottle_and_a_recipe_stay_as_they_were(
    client, stored, store_path
):
    with closing(connection.open_owner(store_path)) as con, writing(con):
        bottles.add_bottle(con, "coating_2_1", "A", 1000.0, opened_at_s=NOW - 1234.0)
        tray = next(one for one in planning.examples() if any(s.depth_mm for s in one.steps))
        number = recipes.add_recipe(con, tray, NOW)
    client.post("/settings", data=US)
    for path, action in (("/bottles", "/bottles/1"), (f"/recipes/{number}",) * 2):
        sent = fields(page(client, path), action)
        numbers = [value for key, value in sent.items() if re.fullmatch(r"[\d.]+", value)
                   and not key.endswith(":was")]  # fmt: skip
        assert numbers
        assert all(len(value.replace(".", "").strip("0")) <= 4 for value in numbers), numbers
        assert client.post(action, data={**sent, "do": "save"}).status_code == 302
    bottle = stored(bottles.bottle, 1)
    assert (bottle.held_ml, bottle.opened_at_s) == (1000.0, NOW - 1234.0)
    assert stored(recipes.recipe, number).recipe.steps == tray.steps


def test_a_size_handed_on_with_all_its_digits_is_shown_with_few_and_kept_whole(client, stored):
    client.post("/settings", data=US)
    sent = fields(
        page(client, "/pour?resin=coating_2_1&area_cm2=69.7501&depth_mm=0.11811"), "/pour"
    )
    assert (sent["area_cm2"], sent["depth_mm"]) == ("69.75", "0.118")
    client.post("/pour", data=sent)
    layer = stored(pieces.bench)[0][1]
    assert (layer.area_cm2, layer.depth_mm) == (450.0, 3.0)


def test_a_correction_refused_is_the_form_again_with_the_fault_at_its_field(client, stored):
    client.post("/pour", data={"resin": "coating_2_1", "depth_mm": "3"})
    answer = client.post("/layers/1/correct", data={"name": "Base", "depth_mm": "900"})
    text = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert 'id="wrong-depth_mm"' in text
    assert fields(text, "/layers/1/correct")["depth_mm"] == "900"
    assert stored(pieces.bench)[0][1].depth_mm == 3.0
