"""The pages and the API over a real store: what a person reads, does, and gets wrong."""

from __future__ import annotations

import html
import json
import re
import shutil
from contextlib import closing
from dataclasses import replace

import numpy as np
import pytest
from icalendar import Calendar
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from dashboard.app import create_app
from dashboard.options import Options
from monitor import assembly, shelf
from monitor.store import alarms, connection, intake_rows, marks, pieces, resins
from monitor.store.connection import writing
from monitor.store.intake_rows import Arrival
from monitor.watch import Watch, Works

KEY = "home/bench/air"
T0 = 1_790_000_000.0
NOW = T0 + 3 * 3600.0
HOUR = 3600.0


@pytest.fixture(scope="module")
def stores(tmp_path_factory):
    """Two stores made once, of which each test has a copy: the shelf alone, and a cold room."""
    folder = tmp_path_factory.mktemp("stores")
    bare, lived = folder / "bare.db", folder / "lived.db"
    with closing(connection.open_owner(bare)) as con, writing(con):
        for profile in shelf.library():
            resins.save_resin(con, profile, T0, origin="library")
    # The last to close a store leaves it whole in one file.
    shutil.copy(bare, lived)
    with closing(connection.open_owner(lived)) as con:
        temps = np.concatenate([np.full(300, 21.0), np.full(37, 16.0)])
        start = NOW - 336 * 300.0
        rows = [
            Arrival(KEY, start + 300 * n, round(t + 0.1 * (n % 2), 1), 48.0 + n % 3)
            for n, t in enumerate(temps)
        ]
        with writing(con):
            intake_rows.commit(con, "home", "bench", rows, (), {}, NOW)
            piece = pieces.add_piece(con, "Harbour <panel>", T0)
            coating = resins.resin(con, "coating_2_1")
            pieces.add_layer(con, piece, "Flood", coating, T0, T0, depth_mm=3.0, area_cm2=500.0)
        facts = {"rules": []}
        Watch(facts=facts).think(con, NOW, Works())
    return bare, lived


@pytest.fixture
def store_path(tmp_path):
    """Where this test's copy lies."""
    return tmp_path / "pourside.db"


def page_over(store, path):
    """The page over a copy of a store."""
    shutil.copy(store, path)
    options = Options(path, lambda: NOW, zone="Europe/Lisbon", **assembly.page_parts())
    return create_app(options).test_client()


@pytest.fixture
def empty(stores, store_path):
    """The page over a store with nothing in it but the shelf."""
    return page_over(stores[0], store_path)


@pytest.fixture
def client(stores, store_path):
    """The page over a room that turned cold, with one layer on the bench."""
    return page_over(stores[1], store_path)


PAGES = [
    "/", "/bench-now", "/pour", "/pieces", "/pieces/1", "/pieces/1/record", "/room",
    "/room?hours=8760", "/alarms", "/resins", "/resins/new", "/resins/new?from=slow_art",
    "/room?hours=168", "/room?hours=720", "/compare", "/compare?piece=1", "/compare?axis=age",
    "/pour-now?resin=coating_2_1&area_cm2=500&depth_mm=3", "/pieces?where=finished",
    "/settings", "/phone.svg", "/manifest.webmanifest", "/calendar.ics", "/metrics", "/healthz",
    "/pour?resin=deep_casting&area_cm2=100&depth_mm=90&later_h=5", "/room.csv?hours=3",
    "/pieces/1/export.json", "/pieces/1/room.csv", "/openapi.json", "/api/v1/now",
    "/api/v1/sensors", "/api/v1/readings", "/api/v1/refusals", "/api/v1/resins",
    "/api/v1/pieces", "/api/v1/layers/1/outlook", "/api/v1/alarms",
]  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_every_page_answers_without_nan_or_none(client, path):
    answer = client.get(path)
    assert answer.status_code == 200
    text = answer.get_data(as_text=True)
    assert not re.search(r"\bnan\b|\bNaN\b|\bNone\b|Traceback", text)


@pytest.mark.parametrize("path", [p for p in PAGES if "/1" not in p and "1/" not in p])
def test_an_empty_house_answers_too(empty, path):
    if path == "/api/v1/readings":
        assert empty.get(path).status_code == 404
        return
    assert empty.get(path).status_code == 200


def test_the_bench_says_the_next_act_and_what_is_wrong(client):
    text = client.get("/").get_data(as_text=True)
    assert "Pull the tape" in text
    assert "Room too cold" in text
    assert "Harbour &lt;panel&gt;" in text
    assert 'role="img"' in text


def test_an_empty_bench_has_a_next_step(empty):
    text = empty.get("/").get_data(as_text=True)
    assert "Nothing is curing" in text
    assert 'href="/pour"' in text
    assert "The monitor has not started yet" in text


def test_the_refresh_costs_nothing_while_nothing_changes(client):
    first = client.get("/bench-now")
    again = client.get("/bench-now", headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")


def test_a_layer_is_started_for_a_time_past(client, store_path):
    # Lisbon, one hour ahead of UTC in September.
    answer = client.post(
        "/pour",
        data={"resin": "coating_2_1", "when": "past", "poured_at": "2026-09-21T15:40",
              "area_cm2": "200", "volume_ml": "60", "name": "Coasters", "piece": ""},
    )  # fmt: skip
    assert answer.status_code == 302
    with closing(connection.open_reader(store_path)) as con:
        piece, layer = pieces.bench(con)[0]
        assert piece.name == "Coasters"
        assert layer.poured_at_s == 1_790_001_600.0
        assert layer.depth_mm == pytest.approx(3.0)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({"resin": "gone"}, "not on the shelf any more"),
        ({"resin": "coating_2_1", "depth_mm": "-3"}, "Depth is -3 mm; expected 0.05 to 500"),
        ({"resin": "coating_2_1", "depth_mm": "deep"}, "expected a number in mm"),
        ({"resin": "coating_2_1", "area_cm2": "nan"}, "Area is nan"),
        ({"resin": "coating_2_1", "when": "past", "poured_at": ""}, "parts met is empty"),
        ({"resin": "coating_2_1", "when": "past", "poured_at": "2031-01-01T00"}, "the future"),
        ({"resin": "coating_2_1", "part_a": "10", "part_b": "100"}, "are the two swapped?"),
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_refused_in_words(client, store_path, data, said):
    before = len(_bench(store_path))
    answer = client.post("/pour", data=data)
    assert answer.status_code == 422
    assert said in answer.get_data(as_text=True)
    assert len(_bench(store_path)) == before


def _bench(store_path):
    with closing(connection.open_reader(store_path)) as con:
        return pieces.bench(con)


def test_one_tap_logs_a_mark_and_one_takes_it_back(client, store_path):
    client.post("/layers/1/marks", data={"kind": "tacky"})
    client.post("/layers/1/marks", data={"kind": "tape_pulled", "verdict": "good"})
    with closing(connection.open_reader(store_path)) as con:
        assert [m.kind for m in marks.marks(con, 1)] == ["tacky", "tape_pulled"]
    client.post("/marks/1/remove")
    with closing(connection.open_reader(store_path)) as con:
        assert [m.kind for m in marks.marks(con, 1)] == ["tape_pulled"]


def test_a_correction_keeps_the_old_value_and_shows_it(client):
    data = {"name": "Flood", "depth_mm": "5", "area_cm2": "500", "base": "wood"}
    assert client.post("/layers/1/correct", data=data).status_code == 302
    assert "depth: 3 mm became 5 mm" in client.get("/pieces/1").get_data(as_text=True)


def test_deleting_needs_the_name_typed(client):
    assert client.post("/pieces/1/delete", data={"confirm": "yes"}).status_code == 422
    assert client.get("/pieces/1").status_code == 200
    assert client.post("/pieces/1/delete", data={"confirm": "Harbour <panel>"}).status_code == 302
    assert client.get("/pieces/1").status_code == 404


def test_an_alarm_is_acknowledged_by_asking_the_monitor(client, store_path):
    with closing(connection.open_reader(store_path)) as con:
        cold = next(r for r in alarms.rows(con) if r.state.key == "room_too_cold")
    assert client.post(f"/api/v1/alarms/{cold.id}/acknowledge").status_code == 202
    with closing(connection.open_reader(store_path)) as con:
        assert [(a.key, a.act) for a in alarms.asked(con)] == [("room_too_cold", "acknowledge")]


def test_a_pour_that_runs_away_is_not_given_a_harmless_number(client):
    text = client.get("/pour?resin=coating_2_1&area_cm2=100&depth_mm=60").get_data(as_text=True)
    assert "past 150 °C: it smokes and cracks" in text
    assert "150 °C at most" not in text


def test_amounts_by_weight_are_judged_by_the_densities_where_the_label_gives_volumes(
    client, store_path
):
    with closing(connection.open_owner(store_path)) as con, writing(con):
        coating = resins.resin(con, "coating_2_1")
        resins.save_resin(con, replace(coating, ratio_by_weight=None), NOW)
    weighed = {"resin": "coating_2_1", "piece": "1", "part_unit": "g"}
    # 2:1 by volume at the profile's densities, worked by hand: 2 x 1.13 g to 1 x 1.00 g.
    dense = coating.density_a_kg_m3 * 2 / coating.density_b_kg_m3
    client.post("/pour", data={**weighed, "part_a": f"{dense * 50}", "part_b": "50"})
    assert _bench(store_path)[0][1].hardener_ratio == pytest.approx(1.0)


def test_an_alarm_that_was_switched_off_can_be_brought_back(client, store_path):
    def tick():
        with closing(connection.open_owner(store_path)) as con:
            Watch().think(con, NOW + 1, Works())
            return next(r for r in alarms.rows(con) if r.state.key == "room_too_cold")

    number = tick().id
    assert client.post(f"/alarms/{number}/out_of_service").status_code == 302
    assert tick().state.phase == "out_of_service"
    assert "Room too cold, switched off" in client.get("/alarms").get_data(as_text=True)
    client.post(f"/alarms/{number}/in_service")
    assert tick().state.phase == "unacknowledged"


@pytest.mark.parametrize("headers", [{"Origin": "https://evil.example"},
                                     {"Sec-Fetch-Site": "cross-site"}])  # fmt: skip
def test_another_sites_form_is_refused(client, headers):
    assert client.post("/layers/1/end", headers=headers).status_code == 403


@pytest.mark.parametrize("back", ["//evil.example", "https://evil.example", "/\\evil.example"])
def test_an_act_never_leads_to_another_site(client, back):
    answer = client.post("/layers/1/marks", data={"kind": "tacky", "back": back})
    assert answer.headers["Location"] == "/"


def test_errors_of_the_api_are_problem_documents(client):
    for path, status in [("/api/v1/layers/99/outlook", 404), ("/api/v1/readings?points=0", 422),
                         ("/api/v1/readings?sensor=no", 404)]:  # fmt: skip
        answer = client.get(path)
        assert (answer.status_code, answer.mimetype) == (status, "application/problem+json")
        assert {"type", "title", "status", "detail"} <= set(answer.get_json())
    bad = client.post("/api/v1/pieces", data="nonsense")
    assert (bad.status_code, bad.mimetype) == (400, "application/problem+json")


def test_a_piece_goes_through_the_api(client):
    piece = client.post("/api/v1/pieces", json={"name": "Tray"}).get_json()
    layer = client.post(
        f"/api/v1/pieces/{piece['id']}/layers",
        json={"resin": "slow_art", "depth_mm": 4, "area_cm2": 300, "poured_at": NOW - 60},
    )
    assert layer.status_code == 201
    mark = client.post(f"/api/v1/layers/{layer.get_json()['id']}/marks", json={"kind": "tacky"})
    assert mark.status_code == 201
    seen = client.post("/api/v1/preview", json={"resin": "slow_art", "depth_mm": 4}).get_json()
    assert next(s["key"] for s in seen["stages"]) == "rest_over"
    assert seen["stages"][0].keys() == {
        "key", "label_h", "basis", "reached_at", "p10", "p50", "p90", "why",
    }  # fmt: skip


def test_readings_come_in_bounded_number_with_their_peaks(client):
    found = client.get(f"/api/v1/readings?sensor={KEY}&from={T0 - 86400}&to={NOW}&points=20")
    data = found.get_json()
    assert len(data["at_s"]) <= 21
    assert max(data["temp_max_c"]) == 21.1
    assert min(data["temp_min_c"]) == 16.0


def test_a_resin_is_checked_in_words_before_it_is_kept(client):
    typed = {"name": "Mine", "kind": "pour", "ref_temp_c": "23", "stage_tack_free": "1",
             "stage_working_time_end": "4"}  # fmt: skip
    refused = client.post("/resins", data=typed)
    assert refused.status_code == 422
    assert "working" in refused.get_data(as_text=True).lower()
    assert client.post("/resins", data={**typed, "stage_tack_free": "9"}).status_code == 302
    assert "Mine" in client.get("/resins").get_data(as_text=True)


def test_the_calendar_keeps_its_identities_as_the_room_moves(client, store_path):
    first = Calendar.from_ical(client.get("/calendar.ics").data)
    with closing(connection.open_owner(store_path)) as con:
        Watch().think(con, NOW + 60, Works())
    second = Calendar.from_ical(client.get("/calendar.ics").data)
    names = [{str(e["uid"]) for e in book.walk("VEVENT")} for book in (first, second)]
    assert names[0] == names[1]
    assert any(name.endswith("tape_window_open@pourside") for name in names[0])


def test_the_metrics_are_openmetrics(client):
    text = client.get("/metrics").get_data(as_text=True)
    families = {family.name for family in text_string_to_metric_families(text)}
    assert {"pourside_room_temperature_celsius", "pourside_degree_of_cure_ratio"} <= families


def test_the_store_that_is_not_there_is_said_in_words(tmp_path):
    options = Options(tmp_path / "none" / "pourside.db", lambda: NOW)
    answer = create_app(options).test_client().get("/")
    assert answer.status_code == 503
    assert "cannot be opened" in answer.get_data(as_text=True)


def test_nothing_comes_from_outside_the_board(client):
    for path in PAGES:
        text = client.get(path).get_data(as_text=True)
        assert not re.search(r'(?:src|href)="https?://', text)
    policy = client.get("/").headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy


def test_fahrenheit_is_shown_where_it_is_chosen(client):
    client.post("/settings", data={"temperature": "F", "quiet_from": "22:00", "quiet_to": "07:00"})
    assert "°F" in client.get("/").get_data(as_text=True)
    assert client.post("/settings", data={"quiet_from": "25:00"}).status_code == 422


def test_the_export_is_json_with_everything(client):
    whole = json.loads(client.get("/pieces/1/export.json").data)
    assert whole["layers"][0]["outlook"]["stages"]
    assert whole["room"][0]["readings"]["at_s"]


def test_a_resin_saved_by_a_person_is_used_for_the_next_layer(client, store_path):
    with closing(connection.open_owner(store_path)) as con, writing(con):
        mine = replace(resins.resin(con, "coating_2_1"), name="My bottle")
        resins.save_resin(con, mine, NOW)
    client.post("/pour", data={"resin": "coating_2_1", "piece": "1"})
    assert _bench(store_path)[0][1].resin.name == "My bottle"


def add_warm_layer(path, resin="slow_art"):
    """A second, finished piece, that the monitor has thought about."""
    with closing(connection.open_owner(path)) as con:
        with writing(con):
            piece = pieces.add_piece(con, "Coasters", T0 - 20 * HOUR)
            at_s = T0 - 20 * HOUR
            pieces.add_layer(con, piece, "Inlay", resins.resin(con, resin), at_s, at_s)
            marks.add_mark(con, 2, "tack_free", T0 - 8 * HOUR, None, "")
        Watch().think(con, NOW, Works())
        with writing(con):
            pieces.end_piece(con, piece, NOW, "Given away")


def choose_us_units(client):
    data = {"temperature": "F", "volume": "floz", "weight": "oz", "length": "in"}
    assert client.post("/settings", data=data).status_code == 302


def test_us_units_are_shown_and_typed_everywhere_on_the_pour_page(client, store_path):
    choose_us_units(client)
    text = client.get("/pour?resin=coating_2_1&area_cm2=78&depth_mm=0.12").get_data(as_text=True)
    assert "Area, in²" in text
    assert "Depth, in" in text
    # 78 in² x 0.12 in is 9.36 cubic inches, 5.19 US fl oz; with a tenth left in the cups 5.76.
    assert "5.76 fl oz" in text
    assert re.search(r"\d oz", text)
    assert not re.search(r"°C| ml| mm|cm²", text)
    client.post("/pour", data={"resin": "coating_2_1", "piece": "1", "depth_mm": "0.12"})
    assert _bench(store_path)[0][1].depth_mm == pytest.approx(3.048)


@pytest.mark.parametrize("path", ["/", "/pieces/1", "/pieces/1/record", "/room", "/resins",
                                  "/resins/new?from=slow_art", "/compare"])  # fmt: skip
def test_no_metric_unit_is_left_where_others_were_chosen(client, store_path, path):
    add_warm_layer(store_path)
    choose_us_units(client)
    text = re.sub(r"<[^>]*data-read=[^>]*>", "", client.get(path).get_data(as_text=True))
    assert not re.search(r"\d °C|\d mm\b|\d ml\b|\d cm²", text)


def test_a_resin_typed_in_other_units_is_kept_in_metric(client, store_path):
    choose_us_units(client)
    typed = {"name": "Mine", "kind": "pour", "ref_temp_c": "73.4", "min_temp_c": "64.4",
             "max_depth_mm": "0.5", "ml_a": "2", "ml_b": "1", "stage_tack_free": "8"}  # fmt: skip
    assert client.post("/resins", data=typed).status_code == 302
    with closing(connection.open_reader(store_path)) as con:
        mine = resins.resin(con, "mine")
    assert (mine.ref_temp_c, mine.min_temp_c, mine.max_depth_mm) == pytest.approx((23, 18, 12.7))
    # A ratio is a ratio in any unit.
    assert mine.ratio_by_volume == (2.0, 1.0)


def verdict(client, query):
    text = client.get(f"/pour-now?{query}").get_data(as_text=True)
    return re.search(r'data-said="([^"]*)"', text)[1], text


def test_before_pouring_the_page_says_wait_or_no_with_its_reasons(client):
    # The room of the fixture has turned to 16 °C.
    said, text = verdict(client, "resin=coating_2_1&area_cm2=500&depth_mm=3")
    assert said.startswith(("Pour now? Wait.", "Pour now? No"))
    assert re.search(r"16\.\d °C; this resin wants at least 18 °C\.", text)
    assert "The room now" in text
    # What an answer says of the cold is not said again beside it.
    assert "Likely below 18 °C" in text
    assert "The room ahead averages" not in text


def test_where_the_answer_is_not_known_the_start_is_no_big_button(empty):
    text = empty.get("/pour?resin=coating_2_1&area_cm2=500&depth_mm=3").get_data(as_text=True)
    assert "Not known: measure the room first." in text
    assert '<button id="begin">Start the clock</button>' in text


def test_a_pour_in_the_cold_is_started_only_anyway(client):
    text = client.get("/pour?resin=coating_2_1&area_cm2=500&depth_mm=3").get_data(as_text=True)
    assert '<button id="begin">Start anyway</button>' in text


def test_where_nothing_was_ever_heard_no_room_is_told_of(empty):
    text = html.unescape(verdict(empty, "resin=coating_2_1&area_cm2=500&depth_mm=3")[1])
    assert "3 mm at once stays cool enough at the label's temperature." in text
    assert "Deepest pour that stays cool enough at the label's temperature" in text
    assert "his room:" not in text
    assert "This room" not in text


def test_a_resin_without_marks_promises_no_times_below(empty):
    text = empty.get("/resins/coating_2_1/learned").get_data(as_text=True)
    assert "of the label's speed" in text
    assert "times below" not in text


def test_a_fast_adhesive_is_not_stirred_for_the_time_it_keeps(client):
    _, text = verdict(client, "resin=fast_adhesive&volume_ml=5")
    assert "under a minute" in text
    assert "no second cup" in text
    assert "3 minutes" not in text


def test_a_pour_too_deep_is_a_no_and_is_split_into_pours(client):
    said, text = verdict(client, "resin=coating_2_1&area_cm2=400&depth_mm=60")
    assert said.startswith("Pour now? No")
    assert re.search(r"Split it into \d+ pours of [\d.]+\smm", text)
    # Minutes after a pour that burns would be read as times to work by.
    assert "Tack-free" not in text


def test_the_answer_tells_stirring_and_the_resins_own_rest(client):
    _, text = verdict(client, "resin=coating_2_1&area_cm2=500&depth_mm=3")
    assert "About 3 minutes by hand" in text
    assert "the label decides" in text
    assert "Pour from 3 min after mixing" in text


def test_the_sliders_answer_is_of_that_hour_and_costs_nothing_twice(client):
    said, _ = verdict(client, "resin=coating_2_1&later_h=10")
    assert said.startswith("Pour then?")
    tag = client.get("/pour-now?later_h=2").headers["ETag"]
    again = client.get("/pour-now?later_h=2", headers={"If-None-Match": tag})
    assert (again.status_code, again.data) == (304, b"")


def test_a_fault_in_the_answer_is_told_in_words_and_not_as_a_broken_page(client):
    answer = client.get("/pour-now?resin=coating_2_1&depth_mm=deep")
    assert answer.status_code == 200
    assert "expected a number in mm" in answer.get_data(as_text=True)


def test_a_house_with_a_sensor_and_a_piece_is_past_its_first_steps(client):
    assert "Three steps" not in client.get("/").get_data(as_text=True)


def test_a_new_house_is_told_what_it_lacks(empty):
    text = empty.get("/").get_data(as_text=True)
    assert text.count("not yet") == 3
    assert 'href="/settings#connect"' in text
    assert 'id="connect"' in empty.get("/settings").get_data(as_text=True)
    typed = {"name": "Mine", "kind": "pour", "ref_temp_c": "23", "stage_tack_free": "9"}
    empty.post("/resins", data=typed)
    text = empty.get("/").get_data(as_text=True)
    assert "Choose a resin <strong>✓ done" in text
    assert text.count("not yet") == 2


def test_pieces_are_found_by_where_they_are_by_resin_and_by_words(client, store_path):
    add_warm_layer(store_path)

    def names(query):
        text = client.get(f"/pieces?{query}").get_data(as_text=True)
        return set(re.findall(r'href="/pieces/\d+">([^<]*)<', text))

    both = {"Coasters", "Harbour &lt;panel&gt;"}
    assert names("") == both
    assert names("where=bench") == {"Harbour &lt;panel&gt;"}
    assert names("where=finished") == {"Coasters"}
    assert names("q=coast") == {"Coasters"}
    with closing(connection.open_owner(store_path)) as con, writing(con):
        pieces.archive_piece(con, 2, NOW)
    assert names("") == {"Harbour &lt;panel&gt;"}
    assert names("where=away") == {"Coasters"}


def test_two_cures_stand_on_one_axis_by_the_clock_or_by_equivalent_age(client, store_path):
    add_warm_layer(store_path)
    text = client.get("/compare?layer=1&layer=2").get_data(as_text=True)
    told = json.loads(html.unescape(re.search(r'data-read="([^"]*)"', text)[1]))
    assert {line[0] for line in told["lines"]} == {"Harbour <panel>: Flood", "Coasters: Inlay"}
    assert (told["from"], told["zone"]) == (0, "")
    by_age = client.get("/compare?layer=1&layer=2&axis=age").get_data(as_text=True)
    # In a cold room fewer hours at the label's temperature pass than hours on the clock.
    assert "hours at the label’s temperature" in by_age
    assert by_age != text


def test_comparing_needs_two_layers_and_says_so(client):
    assert "there is one yet" in " ".join(client.get("/compare").get_data(as_text=True).split())


def test_a_piece_tells_what_went_wrong_with_times(client, store_path):
    with closing(connection.open_owner(store_path)) as con:
        with writing(con):
            marks.add_mark(con, 1, "tack_free", T0 + HOUR, None, "")
            marks.add_mark(con, 1, "still_liquid", T0 + 2 * HOUR, None, "")
        Watch().think(con, NOW, Works())
    text = client.get("/pieces/1").get_data(as_text=True)
    assert "What went wrong so far?" in text
    assert re.search(r"Too cold: \d(\.\d)? h from", text)
    assert "The marks contradict one another" in text
    client.post("/layers/1/end")
    assert "What went wrong?" in client.get("/pieces/1").get_data(as_text=True)
    record = client.get("/pieces/1/record").get_data(as_text=True)
    # On paper 'yesterday' soon is wrong.
    assert not re.search(r"yesterday|tomorrow", record)


def test_a_week_of_the_room_is_told_by_local_days(client):
    text = client.get("/room?hours=168").get_data(as_text=True)
    assert "Day by day" in text
    # The fixture's log begins at 25 h before 21 September, 17:53 UTC: two local days of it.
    days = re.findall(r'<th scope="row">([^<]*)</th>', text)
    assert days[:2] == ["Mon 21 Sep", "Sun 20 Sep"]
    assert "Month by month" in client.get("/room?hours=8760").get_data(as_text=True)


def test_pictures_keep_the_page_light(client):
    for path in ("/room?hours=168", "/room?hours=720", "/room?hours=8760"):
        assert len(client.get(path).data) < 60_000


def test_the_room_is_shown_until_any_day_and_nonsense_is_now(client):
    # The fixture's log: 28 h up to 21 September 2026, 18:53 in Lisbon; cold in its last 3 h.
    before = client.get("/room?hours=24&until=2026-09-20").get_data(as_text=True)
    assert "21.0 °C to 21.1 °C" in before
    assert "likely ahead" not in before
    now = client.get("/room?hours=24").get_data(as_text=True)
    assert "16.0 °C to 21.1 °C" in now
    for nonsense in ("2026-99-99", "0001-01-01", "9999-12-31", "yesterday"):
        assert client.get(f"/room?hours=24&until={nonsense}").get_data(as_text=True) == now
    table = client.get("/room.csv?hours=1&until=2026-09-20&sensor=" + KEY).get_data(as_text=True)
    assert "2026-09-20T22:" in table
    assert "2026-09-21T" not in table.splitlines()[1]


def test_a_resins_own_warmest_and_dampest_room_are_kept(client, store_path):
    typed = {"name": "Mine", "kind": "pour", "ref_temp_c": "23", "stage_tack_free": "9",
             "max_temp_c": "27", "max_humidity_pct": "65"}  # fmt: skip
    assert client.post("/resins", data=typed).status_code == 302
    with closing(connection.open_reader(store_path)) as con:
        mine = resins.resin(con, "mine")
    assert (mine.max_temp_c, mine.max_humidity_pct) == (27.0, 65.0)
    assert "18 °C to 27 °C, at most 65 %RH" in client.get("/resins").get_data(as_text=True)


def test_a_stretch_without_readings_has_a_next_step_in_place_of_an_empty_chart(client):
    text = client.get("/room?hours=24&until=2026-01-05").get_data(as_text=True)
    assert "Nothing was measured" in text
    assert "Show the last year" in text
    assert 'class="picture"' not in text


def test_a_resins_limits_that_a_program_does_not_name_stay_as_they_are(client, store_path):
    with closing(connection.open_reader(store_path)) as con:
        before = resins.resin(con, "deep_casting")
    typed = {"key": "deep_casting", "name": "Deep", "kind": "pour", "ref_temp_c": "23",
             "stage_tack_free": "36"}  # fmt: skip
    assert client.post("/resins", data=typed).status_code == 302
    with closing(connection.open_reader(store_path)) as con:
        after = resins.resin(con, "deep_casting")
    assert after.max_humidity_pct == before.max_humidity_pct


def test_what_a_finished_piece_would_bear_is_told_in_the_past(client):
    ready = re.compile(r'<section class="ready">.*?</section>', re.DOTALL)
    open_words = ready.search(client.get("/pieces/1").get_data(as_text=True))[0]
    assert "What it will bear" in open_words
    assert "May not be handled with bare hands yet: wear gloves." in open_words
    assert "not hard yet" in open_words
    assert "glass transition" not in open_words

    client.post("/pieces/1/end", data={"outcome": "Sold."})
    for path in ("/pieces/1", "/pieces/1/record"):
        words = ready.search(client.get(path).get_data(as_text=True))[0]
        assert "When it was finished, " in words
        assert "Could not be wrapped yet." in words
        assert "May " not in words
        assert "Likely from" not in words
