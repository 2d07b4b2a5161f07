"""A sensor is forgotten in the settings: chosen, shown what goes, confirmed."""

from __future__ import annotations

from contextlib import closing

import pytest

from dashboard.app import create_app
from dashboard.options import Options
from monitor import assembly
from monitor.store import connection, intake_rows, readings
from monitor.store.connection import writing
from monitor.store.intake_rows import Arrival

NOW = 1_790_000_000.0
LIVE, JUNK, MORE = "home/bench/air", "home/fl/junk", "home/fl/more"


@pytest.fixture
def client(store_path):
    """The page over a living sensor and two that were hardly heard."""
    with closing(connection.open_owner(store_path)) as con, writing(con):
        for key, count in ((LIVE, 30), (JUNK, 3), (MORE, 1)):
            rows = [Arrival(key, NOW - 60.0 * n, 20.0, 50.0) for n in range(count)]
            intake_rows.commit(con, "home", key.split("/")[1], rows, (), {}, NOW)
    options = Options(store_path, lambda: NOW, zone="Europe/Lisbon", **assembly.page_parts())
    return create_app(options).test_client()


def known(store_path):
    with closing(connection.open_reader(store_path)) as con:
        return [one.key for one in readings.sensors(con)]


def test_the_settings_offer_only_what_may_be_forgotten(client):
    text = client.get("/settings").get_data(as_text=True)
    offered = text.partition('id="forget"')[2].partition("</form>")[0]
    assert "Forget the chosen sensors" in offered
    assert [key in offered for key in (LIVE, JUNK, MORE)] == [False, True, True]


def test_a_chosen_sensor_is_shown_first_and_gone_once_confirmed(client, store_path):
    asked = client.get(f"/settings/forget?sensor={JUNK}&sensor={LIVE}").get_data(as_text=True)
    assert f"{JUNK}, 3 readings, last heard" in asked
    assert "Forget for good" in asked
    assert LIVE not in asked
    assert known(store_path) == [LIVE, JUNK, MORE]
    assert client.post("/settings/forget", data={"sensor": JUNK}).status_code == 302
    assert known(store_path) == [LIVE, MORE]
    assert "Forget this sensor" in client.get("/settings").get_data(as_text=True)


def test_all_or_none_are_forgotten_and_a_refusal_says_why(client, store_path):
    answer = client.post("/settings/forget", data={"sensor": [JUNK, LIVE]})
    assert answer.status_code == 422
    assert "heard within a day" in answer.get_data(as_text=True)
    assert known(store_path) == [LIVE, JUNK, MORE]


def test_nothing_chosen_says_what_can_be(client):
    text = client.get("/settings/forget").get_data(as_text=True)
    assert "No sensor was chosen that can be forgotten" in text
    assert "Forget for good" not in text
