"""The first screen in ten seconds: every layer's next act, no fact twice, no bare jargon."""

from __future__ import annotations

import html
import itertools
import json
import re
from contextlib import closing

import numpy as np
import pytest

from dashboard import charts, wording
from dashboard.app import create_app
from dashboard.axes import TimeAxis
from dashboard.drawing import Shade
from dashboard.facts import facts_of
from dashboard.options import Options
from dashboard.strip import Stop, strip
from dashboard.units import Units
from dashboard.wording import Local
from monitor import assembly, shelf
from monitor.core.alarms.rules import RULES
from monitor.core.vocabulary import Layer, Outlook, SurfaceRisk
from monitor.store import connection, intake_rows, pieces, resins
from monitor.store.connection import writing
from monitor.store.intake_rows import Arrival
from monitor.watch import Watch, Works

T0 = 1_790_000_000.0
HOUR = 3600.0
NOW = T0 + 2.2 * HOUR
KEY = "home/bench/air"
TOLD = [
    {"key": rule.key, "priority": rule.priority, "consequence": rule.consequence, "act": rule.act}
    for rule in RULES.values()
]


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    """A room at the label's 23 °C that has just turned cold; one layer fresh, one with its
    tape due, as the label of the coating resin has it two hours after the pour."""
    path = tmp_path_factory.mktemp("store") / "pourside.db"
    with closing(connection.open_owner(path)) as con:
        temps = [*np.full(297, 23.0), *np.full(3, 15.0)]
        rows = [Arrival(KEY, NOW - 300.0 * (299 - n), t, 48.0) for n, t in enumerate(temps)]
        with writing(con):
            for profile in shelf.library():
                resins.save_resin(con, profile, T0, origin="library")
            intake_rows.commit(con, "home", "bench", rows, (), {}, NOW)
            coating = resins.resin(con, "coating_2_1")
            for name, at_s in (("Fresh tray", NOW - 0.2 * HOUR), ("Taped panel", T0)):
                piece = pieces.add_piece(con, name, at_s)
                pieces.add_layer(con, piece, "Flood", coating, at_s, at_s, depth_mm=3.0)
        Watch(facts={"rules": TOLD}).think(con, NOW, Works())
    options = Options(path, lambda: NOW, zone="Europe/Lisbon", **assembly.page_parts())
    return create_app(options).test_client()


def page(client, path="/"):
    return client.get(path).get_data(as_text=True)


def plain(text):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text))


def test_each_of_several_layers_has_its_act_before_the_first_takes_the_screen(client):
    text = page(client)
    glance = text[text.index('class="glance"') : text.index("<article")]
    acts = re.findall(
        r"<strong>(.*?)</strong> (.*?)</span> <a href=\"#layer-(\d+)\">(.*?)<", glance
    )
    assert [(act, piece) for act, _, _, piece in acts] == [
        ("Pull the tape", "Taped panel"),  # due now, so first
        ("Finish spreading", "Fresh tray"),
    ]
    assert all(f'id="layer-{number}"' in text for _, _, number, _ in acts)


def test_a_layers_alarm_stands_with_its_layer_and_repeats_nothing(client):
    text = page(client)
    before, first, *_ = text.split("<article")
    assert "Tape window open" not in before
    assert "Room too cold" in before
    assert "Tape window open" in first
    # The layer's own line has the time; the alarms' page has the whole sentence.
    assert "Pull the tape of Flood" not in text
    assert "Pull the tape of Flood" in page(client, "/alarms")


def test_what_is_past_is_not_told_as_coming(client):
    text = page(client)
    panel = next(part for part in text.split("<article") if "Taped panel</a>: Flood" in part)
    coming = plain(panel[panel.index('aria-label="Coming next"') : panel.index("</ul>")])
    assert "Working time ends" not in coming
    assert "Tape window closes" in coming


def test_a_sensor_nobody_named_goes_by_its_board(client):
    for path in ("/", "/room", "/score"):
        assert "bench air" in page(client, path)


def test_charts_say_what_their_shades_mean(client):
    for path in ("/room", "/pieces/1", "/pieces/1/record"):
        legend = plain(page(client, path).partition('class="legend"')[2][:900])
        assert "dew point" in legend
        assert "too cold" in legend
        assert "too damp" not in legend  # it was not


def test_a_stretch_that_lasts_is_told_by_its_start(client):
    words = plain(page(client, "/room"))
    assert re.search(r"From yesterday \d\d:\d\d to now:", words)
    assert re.search(r"Too cold since \d\d:\d\d\.", words)
    # A sheet of paper does not know 'now'.
    assert "since" not in plain(page(client, "/pieces/1/record")).partition("The room through")[2]


def test_a_page_on_loopback_offers_no_code_to_a_phone(client):
    text = client.get("/settings", base_url="http://127.0.0.1:8080").get_data(as_text=True)
    assert "opens on this machine only" in text
    assert "/phone.svg" not in text
    text = client.get("/settings", base_url="http://10.0.0.7:8080").get_data(as_text=True)
    assert "/phone.svg" in text


def test_nothing_wrong_is_not_said_while_nothing_is_watched(tmp_path):
    path = tmp_path / "bare.db"
    connection.open_owner(path).close()
    text = page(create_app(Options(path, lambda: NOW)).test_client(), "/alarms")
    assert "Nothing is watched just now." in text
    assert "Nothing is wrong" not in text


@pytest.mark.parametrize(
    ("rate", "said"),
    [
        (1.02, "cures about as fast as the label says"),
        (0.68, "cures at 70% of the label's speed"),
        (1.31, "cures at 130% of the label's speed"),
        (0.01, "cures hardly at all"),
    ],
)
def test_the_pace_is_said_no_finer_than_it_is_known(rate, said):
    assert wording.pace(rate) == said


def test_the_cores_sentences_write_shares_and_humidity_as_the_page_does():
    words = Local("UTC", NOW).spoken("Above 75 % RH, 6 % faster; at 48 %RH all is well.")
    assert words == "Above 75 %RH, 6% faster; at 48 %RH all is well."


def test_what_was_sent_is_said_in_words():
    told = wording.sent("mqtt sent, mail given up, lamp waiting")
    assert told == "sent by MQTT, given up by mail, waiting for lamp"


def test_troubles_are_counted_where_the_layers_say_when():
    cold = [Shade(T0 + n, T0 + n + 1, "cold", f"too cold 2{n} Sep") for n in range(6)]
    damp = [Shade(T0, T0 + 1, "damp", "too damp 20 Sep")]
    assert charts._shade_counts([*cold, *damp]) == "Too cold 6 times, too damp once."
    assert charts._shade_counts([]) == ""


def test_close_stops_share_their_numbers_and_the_night_is_named():
    hours = [0.0, 4.0, 4.4, 9.0]
    stops = [
        Stop(n, "s", T0 + h * HOUR, None, T0 + h * HOUR, None, False)
        for n, h in enumerate(hours, 1)
    ]
    local = Local("Europe/Lisbon", T0)
    drawn = strip(stops, T0, T0 + 12 * HOUR, T0, local, "", narrow=True)
    numbers = re.findall(r'class="number" x="([\d.]+)" y="([\d.]+)"[^>]*>([^<]+)<', drawn)
    for row in {y for _, y, _ in numbers}:
        # '2 3' would be read as twenty-three.
        assert [number for _, y, number in numbers if y == row] == ["1", "2–3", "4"]
        places = [float(x) for x, y, _ in numbers if y == row]
        assert min(b - a for a, b in itertools.pairwise(places)) >= 30.0
    assert ">night<" in drawn


@pytest.mark.parametrize(
    ("days", "most", "said"),
    [
        (365, 4, ["1 Jan", "1 Apr", "1 Jul", "1 Oct"]),
        (5 * 365, 4, ["Jan 2022", "Jan 2024", "Jan 2026"]),
    ],
)
def test_a_long_axis_has_the_first_days_of_months(days, most, said):
    # 21 September 2026, 15:13 UTC.
    axis = TimeAxis(NOW - days * 86400.0, NOW, 0.0, 330.0, Local("Europe/Lisbon", NOW))
    assert sorted(words for _, words in axis.ticks(most)) == sorted(said)


def test_a_year_begins_where_the_log_does(client):
    # The log is 25 hours long: its axis starts with it, not a year ago.
    text = page(client, "/room?hours=8760")
    drawn = json.loads(html.unescape(re.search(r'data-read="(.*?)"', text)[1]))
    assert NOW - 26 * HOUR < drawn["from"] < NOW - 24 * HOUR


def test_a_page_that_is_not_there_speaks_of_nothing_typed(client):
    answer = client.get("/nowhere")
    words = plain(answer.get_data(as_text=True))
    assert answer.status_code == 404
    assert "This address leads to no page." in words
    assert "typed" not in words
    taken = client.post("/layers/999/marks", data={"kind": "tacky"})
    assert "what you typed is still there" in plain(taken.get_data(as_text=True))


def test_how_far_it_is_does_not_clash_with_the_stage_called_full_cure(client):
    state = re.search(r"It is .*? Poured", plain(page(client)))[0]
    assert re.search(r"\d+% reacted; cures (about as fast as|at \d+% of) the label", state)
    assert "full cure" not in state


@pytest.mark.parametrize(
    ("state", "peak_c", "ended", "said"),
    [
        ("liquid", 23.0, None, "warms itself to 23 °C at most"),
        ("gelling", 23.0, None, ""),
        ("gelling", 52.0, None, "warms itself to 52 °C at most"),
        ("firm", 52.0, None, ""),
        ("firm", 52.0, NOW, "warmed itself to 52 °C at most"),
    ],
)
def test_a_pours_own_heat_is_told_while_it_matters_and_afterwards_as_past(
    state, peak_c, ended, said
):
    coating = next(one for one in shelf.library() if one.key == "coating_2_1")
    layer = Layer(1, 1, "Flood", coating, T0, ended_at_s=ended)
    risk = SurfaceRisk(0.0, "low")
    outlook = Outlook(
        1, NOW, 0.3, None, 2.2, 1.0, False, None, state, risk, peak_c, None, (), cup_working_h=0.7
    )
    told = facts_of(layer, outlook, Units())
    assert [words for words in told if "itself" in words] == ([said] if said else [])
    assert any("in the cup" in words for words in told) == (state == "liquid")
