"""The guided check of a sensor as a person meets it, over a real store."""

from __future__ import annotations

import html
import re
from contextlib import closing
from datetime import UTC, datetime

import numpy as np
import pytest
from click.testing import CliRunner

from dashboard.app import create_app
from dashboard.options import Options
from monitor import assembly, shelf
from monitor.answers import rooms, sensor_check_words, sensor_checks
from monitor.answers.sensor_checks import CheckError
from monitor.cli import cli
from monitor.core.room import saltcheck
from monitor.store import connection, corrections, intake_rows, pieces, readings, settings
from monitor.store.connection import writing
from monitor.store.corrections import Correction
from monitor.store.errors import StoreError
from monitor.store.intake_rows import Arrival

KEY = "home/bench/air"
T0 = 1_790_000_000.0
MINUTE, HOUR = 60.0, 3600.0
SALT, DRY_SALT = "sodium_chloride", "magnesium_chloride"


class Bench:
    """A page over a store, a sensor that reads wrong, and a clock that the test moves."""

    def __init__(self, path):
        self.path = path
        self.now_s = T0
        options = Options(path, lambda: self.now_s, zone="Europe/Lisbon", **assembly.page_parts())
        self.client = create_app(options).test_client()

    def measure(
        self, minutes, humidity_pct, temp_c=21.0, every_s=30.0, tau_min=8.0, start_pct=50.0
    ):
        """Time passes; the sensor's readings near their end."""
        at_s = self.now_s + np.arange(every_s, minutes * MINUTE + 1.0, every_s)
        after_min = (at_s - self.now_s) / 60.0
        if humidity_pct is None:
            humid = [None] * len(at_s)
        else:
            nearing = np.exp(-after_min / tau_min)
            humid = np.round(humidity_pct + (start_pct - humidity_pct) * nearing, 1).tolist()
        temps = np.full(len(at_s), temp_c)
        rows = [
            Arrival(KEY, float(at), round(float(t), 1), h)
            for at, t, h in zip(at_s, temps, humid, strict=True)
        ]
        self.now_s = float(at_s[-1])
        with closing(connection.open_owner(self.path)) as con, writing(con):
            intake_rows.commit(con, "home", "bench", rows, (), {}, self.now_s)

    def page(self):
        return self.client.get("/sensor-check", query_string={"sensor": KEY}).get_data(as_text=True)

    def post(self, act, **fields):
        return self.client.post(f"/sensor-check/{act}", data={"sensor": KEY, **fields})

    def rows(self):
        with closing(connection.open_reader(self.path)) as con:
            return corrections.corrections(con, KEY)


@pytest.fixture
def bench(store_path):
    made = Bench(store_path)
    made.measure(60, 50.0)
    return made


def words_of(page):
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def test_before_any_sensor_was_heard_it_says_where_to_begin(store_path):
    page = Bench(store_path).client.get("/sensor-check")

    assert page.status_code == 200
    assert "No sensor has been heard yet" in page.get_data(as_text=True)


def test_a_check_from_the_first_jar_to_the_stored_correction(bench):
    assert "None: its readings are used as measured" in words_of(bench.page())

    assert bench.post("begin", what=SALT).status_code == 302
    bench.measure(20, 71.4)
    assert "not judged for another 25 min; usually it takes 1 to 3 hours" in words_of(bench.page())
    assert bench.post("keep").status_code == 422
    bench.measure(70, 71.4, start_pct=71.4)

    # Table salt at 21 degC is 75.4 %RH (Greenspan's polynomial).
    said = words_of(bench.page())
    assert "Reads 71.4 %RH, the jar is 75.4 ± 0.2 %RH: 4.0 %RH too low." in said
    assert "Outside the ±2 %RH that a DHT22's data sheet states." in said
    assert bench.post("keep").status_code == 302

    bench.post("begin", what=DRY_SALT)
    bench.measure(90, 31.0)
    bench.post("keep")

    # 33.02 %RH true, 31.0 read: 2.0 too low; the mean of 4.0 and 2.0 is 3.0.
    said = words_of(bench.page())
    assert "Correction: +3.0 %RH. The mean of the points" in said
    assert "read 71.4 %RH, true 75.4 ± 0.2 %RH; with the correction 1.0 %RH too low" in said
    assert "read 31.0 %RH, true 33.0 ± 0.2 %RH; with the correction 1.0 %RH too high" in said

    bench.post("correct", when="now")

    (row,) = bench.rows()
    assert row.from_s == bench.now_s
    assert row.humidity_offset_pct == pytest.approx(3.03, abs=0.05)
    assert row.temp_offset_c == 0.0
    assert "read 71.4, true 75.4 %RH" in row.note
    assert "+3.0 %RH" in words_of(bench.page())


def test_it_draws_before_and_after_once_there_is_something_to_draw(bench):
    assert "before and after" not in bench.page()
    bench.post("begin", what=SALT)
    bench.measure(90, 71.4)

    page = bench.page()

    assert "Humidity before and after" in page
    for name in ("as measured", "as corrected", "true here"):
        assert f"<title>{name}</title>" in page
    assert "71.4 %RH as measured, 75.4 %RH as corrected" in page


def test_a_value_on_its_way_is_told_with_its_speed(bench):
    bench.post("begin", what=SALT)
    bench.measure(60, 75.0, tau_min=60.0)

    assert re.search(r"Still rising \d+\.\d %RH an hour; wait until it is below 0\.5",
                     words_of(bench.page()))  # fmt: skip
    assert bench.post("keep").status_code == 422


def test_a_jar_that_cannot_be_right_is_not_kept(bench):
    bench.post("begin", what=SALT)
    bench.measure(90, 50.0)

    said = words_of(bench.page())

    assert "is the salt wet slush" in said
    assert "Keep this point" not in said
    answer = bench.post("keep")
    assert answer.status_code == 422
    assert "the set-up is likelier wrong" in answer.get_data(as_text=True).lower()


def test_ice_and_a_thermometer_correct_the_temperature_and_leave_the_humidity(bench):
    with closing(connection.open_owner(bench.path)) as con, writing(con):
        corrections.add(con, KEY, Correction(T0, 0.0, 2.5, "an earlier check"))
    bench.post("begin", what="ice")
    bench.measure(30, None, temp_c=0.7)
    assert "Reads 0.7 °C, it is 0.0 ± 0.1 °C: 0.7 °C too high." in words_of(bench.page())
    bench.post("keep")
    bench.post("begin", what="reference", reference="20,5")
    bench.measure(60, 50.0, temp_c=21.0)
    bench.post("keep")
    bench.post("correct", when="now")

    row = bench.rows()[-1]

    assert row.temp_offset_c == pytest.approx(-0.6)
    assert row.humidity_offset_pct == 2.5


def test_a_person_who_reads_fahrenheit_types_and_reads_it(bench):
    with closing(connection.open_owner(bench.path)) as con, writing(con):
        settings.put(con, "temperature", "F", T0)
    bench.post("begin", what="reference", reference="68")
    bench.measure(60, 50.0, temp_c=21.0)

    assert "Reads 69.8 °F, it is 68.0 ± 0.4 °F: 1.8 °F too high." in words_of(bench.page())


@pytest.mark.parametrize(
    ("act", "fields", "said"),
    [
        ("begin", {"what": "sugar"}, "nothing to check against"),
        ("begin", {"what": "reference"}, "What the thermometer reads is empty"),
        ("begin", {"what": "reference", "reference": "200"}, "expected -20 to 60"),
        ("begin", {"what": "ice", "sensor": "home/nowhere/air"}, "There is no sensor"),
        ("keep", {}, "no check of home/bench/air is going on"),
        ("correct", {}, "No point is kept yet"),
        ("correct", {"when": "past", "from": ""}, "The moment is empty"),
        ("withdraw", {"from_s": "5"}, "no correction from that moment"),
        ("withdraw", {"from_s": "x"}, "expected a number"),
    ],
)
def test_what_cannot_be_done_is_said_in_words(bench, act, fields, said):
    answer = bench.post(act, **fields)

    assert answer.status_code == 422
    assert said.lower() in words_of(answer.get_data(as_text=True)).lower()
    assert bench.rows() == []
    assert bench.post("dance").status_code == 404


def test_a_check_can_be_stopped(bench):
    bench.post("begin", what=SALT)
    bench.post("stop")

    assert "Stop this check" not in bench.page()


def test_the_polled_part_answers_304_while_nothing_changed(bench):
    bench.post("begin", what=SALT)
    first = bench.client.get(f"/sensor-check/now?sensor={KEY}")

    again = bench.client.get(
        f"/sensor-check/now?sensor={KEY}", headers={"If-None-Match": first.headers["ETag"]}
    )

    assert (first.status_code, again.status_code) == (200, 304)


def test_it_warns_where_the_sensor_tells_a_layer_on_the_bench(bench):
    assert "between two pieces" not in bench.page()
    with closing(connection.open_owner(bench.path)) as con, writing(con):
        piece = pieces.add_piece(con, "Tray", T0)
        pieces.add_layer(con, piece, "Flood", shelf.library()[0], T0, T0, depth_mm=3.0)

    assert "This sensor is used for Tray, Flood." in words_of(bench.page())


def test_a_correction_may_hold_already_since_a_moment_but_not_before_a_later_one(bench):
    bench.post("begin", what=SALT)
    bench.measure(90, 71.4)
    bench.post("keep")
    bench.post("correct", **{"when": "past", "from": "2026-09-21T15:00"})
    (row,) = bench.rows()
    assert row.from_s < bench.now_s
    bench.post("begin", what=SALT)
    bench.measure(90, 71.4)
    bench.post("keep")

    answer = bench.post("correct", **{"when": "past", "from": "2026-09-21T14:00"})

    assert "withdraw it first" in answer.get_data(as_text=True)
    assert bench.rows() == [row]


def test_withdrawing_goes_back_to_what_held_before_and_keeps_every_row(bench):
    with closing(connection.open_owner(bench.path)) as con, writing(con):
        corrections.add(con, KEY, Correction(T0 + 60.0, -0.5, 0.0, "ice"))
        corrections.add(con, KEY, Correction(T0 + 120.0, -0.5, 3.0, "salts"))
    fields = re.findall(r'name="from_s" value="([^"]+)"', bench.page())
    assert [float(one) for one in fields] == [T0 + 120.0, T0 + 60.0]

    bench.post("withdraw", from_s=fields[0])
    bench.post("withdraw", from_s=fields[1])

    held = corrections.holding(bench.rows())
    assert len(bench.rows()) == 4
    assert [(one.temp_offset_c, one.humidity_offset_pct) for one in held] == [
        (0.0, 0.0), (-0.5, 0.0),
    ]  # fmt: skip
    assert "Withdraw</button>" not in bench.page()


def test_the_cure_reads_the_room_as_corrected_and_the_raw_reading_stays_raw(bench):
    with closing(connection.open_owner(bench.path)) as con, writing(con):
        corrections.add(con, KEY, Correction(T0 + 30 * MINUTE, -0.5, 4.0, "check"))
    with closing(connection.open_reader(bench.path)) as con:
        past = rooms.past(con, KEY, T0, bench.now_s)
        raw = readings.raw(con, KEY, T0, bench.now_s)

    since = past.at_s >= T0 + 30 * MINUTE
    assert past.temp_c[since] == pytest.approx(20.5)
    assert past.temp_c[~since] == pytest.approx(21.0)
    assert past.humidity_pct[since] == pytest.approx(54.0)
    assert past.humidity_pct[~since] == pytest.approx(50.0)
    assert np.all(raw.temp_c == 21.0)
    assert np.all(raw.humidity_pct == 50.0)


def test_what_is_shown_is_corrected_and_what_is_downloaded_is_as_measured(bench):
    # 50.0 %RH and 21.0 degC measured throughout; the correction holds for the last half hour.
    with closing(connection.open_owner(bench.path)) as con, writing(con):
        corrections.add(con, KEY, Correction(T0 + 30 * MINUTE, -0.5, 4.0, "check"))
    with closing(connection.open_reader(bench.path)) as con:
        fine = readings.sampled(con, KEY, T0, bench.now_s, 360)
        hours = readings.sampled(con, KEY, T0, bench.now_s, 2)
        (sensor,) = readings.sensors(con)
    since = fine.at_s >= T0 + 30 * MINUTE

    assert fine.temp_c[since] == pytest.approx(20.5)
    assert fine.temp_max_c[~since] == pytest.approx(21.0)
    assert fine.humidity_min_pct[since] == pytest.approx(54.0)
    assert fine.humidity_pct[~since] == pytest.approx(50.0)
    assert hours.humidity_max_pct[-1] == pytest.approx(54.0)
    assert (sensor.last_temp_c, sensor.last_humidity_pct) == (pytest.approx(20.5), 54.0)
    assert "20.5 °C" in words_of(bench.client.get("/room").get_data(as_text=True))
    csv = bench.client.get(f"/room.csv?sensor={KEY}&hours=1").get_data(as_text=True)
    assert csv.splitlines()[-1].endswith(",21.00,50.0,0")


def test_no_correction_makes_humidity_leave_its_scale(bench):
    with closing(connection.open_owner(bench.path)) as con, writing(con):
        corrections.add(con, KEY, Correction(T0, 0.0, 60.0, "wrong"))
        fine = readings.sampled(con, KEY, T0, bench.now_s, 360)

        assert fine.humidity_pct.max() == 100.0
        assert readings.sensors(con)[0].last_humidity_pct == 100.0


def test_offsets_follow_the_rows_in_time(bench):
    with closing(connection.open_owner(bench.path)) as con, writing(con):
        corrections.add(con, KEY, Correction(T0, 1.0, 0.0, "a"))
        corrections.add(con, KEY, Correction(T0 + 10.0, 0.0, 2.0, "b"))
        temp, humid = corrections.offsets(con, KEY, np.array([T0 - 1, T0, T0 + 9, T0 + 10]))
        with pytest.raises(StoreError, match="must report once first"):
            corrections.add(con, "home/nowhere/air", Correction(T0, 0.0, 0.0, ""))

    assert temp.tolist() == [0.0, 1.0, 1.0, 0.0]
    assert humid.tolist() == [0.0, 0.0, 0.0, 2.0]


def test_a_cold_jar_is_beyond_the_table_and_says_so(bench):
    bench.post("begin", what=SALT)
    bench.measure(90, 75.0, temp_c=2.0)

    assert "the jar is at 2.0 degC; expected 5 to 35 degC" in words_of(bench.page())


def test_a_thermometer_alone_is_told_to_check_its_temperature(bench):
    bench.post("begin", what=SALT)
    bench.measure(90, None)

    assert "measures no humidity; check its temperature" in words_of(bench.page())


def test_two_very_different_errors_are_more_than_one_number_mends(bench):
    for what, reads in ((SALT, 68.0), (DRY_SALT, 33.0)):
        bench.post("begin", what=what)
        bench.measure(120, reads)
        bench.post("keep")

    assert "Better replace it" in words_of(bench.page())


@pytest.mark.parametrize("fahrenheit", [False, True])
@pytest.mark.parametrize(
    ("stand", "said"),
    [("few", "Is the sensor still heard"), ("warming", "The jar warms by"),
     ("unsteady", "leap about by")],
)  # fmt: skip
def test_each_reason_to_wait_has_its_words(stand, said, fahrenheit):
    seen = saltcheck.Settling(stand, 30, 0.0, 71.0, 21.0, 0.1, 0.9, 1.4)
    found = sensor_checks.Look(KEY, SALT, None, T0, (), seen, None)

    assert said in sensor_check_words.words(found, T0 + HOUR, fahrenheit)[0]


def test_an_unknown_sensor_is_named(bench):
    with closing(connection.open_owner(bench.path)) as con, pytest.raises(CheckError) as fault:
        sensor_checks.begin(con, "home/x/air", SALT, None, T0)

    assert str(fault.value) == "there is no sensor 'home/x/air'; known: home/bench/air"


def in_terminal(bench, tmp_path, key):
    """`pourside check --sensor` at the test's own time."""
    start = datetime.fromtimestamp(bench.now_s, UTC).isoformat()
    path = tmp_path / "pourside.toml"
    path.write_text(f'data_dir = "{bench.path.parent}"\n[clock]\nstart = "{start}"\n')
    return CliRunner().invoke(cli, ["check", "--sensor", key, "--config", str(path)])


def test_the_terminal_says_the_same_as_the_page(bench, tmp_path):
    bench.post("begin", what=SALT)
    bench.measure(90, 71.4)

    told = in_terminal(bench, tmp_path, KEY)

    assert told.exit_code == 0
    assert told.output.splitlines()[0] in words_of(bench.page())
    assert "4.0 %RH too low" in told.output


def test_the_terminal_says_where_to_start_a_check(bench, tmp_path):
    told = in_terminal(bench, tmp_path, KEY)

    assert isinstance(told.exception, CheckError)
    assert "start one on the page" in str(told.exception)


def test_readings_from_a_jar_do_not_count_as_the_room(bench):
    bench.measure(60, 50.0)
    bench.post("begin", what=SALT)
    began = bench.now_s
    bench.measure(120, 75.0)
    bench.post("stop")
    stopped = bench.now_s
    bench.measure(60, 50.0)
    with closing(connection.open_reader(bench.path)) as con:
        room = rooms.past(con, KEY, T0, bench.now_s)
    inside = (room.at_s > began) & (room.at_s < stopped + 20 * MINUTE)
    assert not inside.any()
    assert room.at_s[0] < began
    assert room.at_s[-1] > stopped + 20 * MINUTE
    assert room.dropped["away from its room"] > 200


def test_the_thermometer_is_asked_for_only_beside_a_thermometer_and_only_by_style(bench):
    """Without a style the field is there; a check in ice does not read it."""
    assert 'class="thermometer"' in bench.page()
    assert bench.post("begin", what="ice", reference="nonsense").status_code == 302
    assert bench.post("begin", what="reference", reference="nonsense").status_code == 422


def test_melting_ice_is_told_in_the_degrees_a_person_chose(bench):
    assert "stirred: 0 °C as long as there is ice" in words_of(bench.page())
    with closing(connection.open_owner(bench.path)) as con, writing(con):
        settings.put(con, "temperature", "F", bench.now_s)

    assert "stirred: 32 °F as long as there is ice" in words_of(bench.page())
