"""The made-up studio and the replayed log."""

import gzip
import time

import pytest
from opendata import open_data

from firmware_side.errors import NodeError
from firmware_side.sensors.base import Sample, SensorFault
from firmware_side.sensors.kernel import KernelThermometer
from firmware_side.sensors.replay import ReplaySource
from firmware_side.sensors.simulated import SimulatedSource, SimulatedStudio, Studio

DAY_S = 86_400.0
T0_S = 20_000 * DAY_S  # a midnight in 2024


class StandingClock:
    def __init__(self, now_s):
        self.at_s = now_s

    def now_s(self):
        return self.at_s


def test_the_studio_depends_on_seed_and_instant_alone():
    one, other, unlike = SimulatedStudio(7), SimulatedStudio(7), SimulatedStudio(8)
    instants = [T0_S + 12_345.6 * i for i in range(200)]

    forwards = [one.at(t) for t in instants]
    backwards = [other.at(t) for t in reversed(instants)][::-1]

    assert forwards == backwards
    assert forwards != [unlike.at(t) for t in instants]


def test_a_history_is_what_was_shown_at_each_instant():
    studio, same = SimulatedStudio(3), SimulatedStudio(3)

    history = studio.history(T0_S, T0_S + 3600.0, 60.0)

    assert history.at_s == [T0_S + 60.0 * i for i in range(60)]
    assert list(zip(history.temp_c, history.humidity_pct, strict=True)) == [
        same.at(t) for t in history.at_s
    ]


def test_six_weeks_by_the_minute_take_little_time():
    began_s = time.process_time()
    SimulatedStudio(1).history(T0_S - 42 * DAY_S, T0_S, 60.0)

    # 0.8 s where it was written; the rest is for a busy machine.
    assert time.process_time() - began_s < 4.0


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_sensor_shows_tenths_within_its_range(seed):
    history = SimulatedStudio(seed).history(T0_S, T0_S + 10 * DAY_S, 600.0)

    assert all(round(t, 1) == t and 0.0 < t < 30.0 for t in history.temp_c)
    assert all(round(h, 1) == h and 10.0 < h < 95.0 for h in history.humidity_pct)


def test_a_night_set_back_makes_a_cold_night():
    history = SimulatedStudio(1, Studio(night_set_c=12.5)).history(T0_S, T0_S + 7 * DAY_S, 300.0)
    hours = [(t % DAY_S) / 3600.0 for t in history.at_s]
    before_dawn = [c for c, h in zip(history.temp_c, hours, strict=True) if 5.0 <= h < 6.5]
    afternoon = [c for c, h in zip(history.temp_c, hours, strict=True) if 13.0 <= h < 17.0]

    assert 11.5 <= min(before_dawn) <= 14.0
    assert all(19.5 <= c <= 22.5 for c in afternoon)


def test_a_heater_that_is_off_lets_the_room_sink_towards_the_outdoors():
    warm = SimulatedStudio(1)
    cold = SimulatedStudio(1, Studio(heater_off=((T0_S, T0_S + 2 * DAY_S),)))

    assert cold.at(T0_S - 60.0) == warm.at(T0_S - 60.0)
    assert cold.true_at(T0_S + 1.9 * DAY_S)[0] < warm.true_at(T0_S + 1.9 * DAY_S)[0] - 8.0


def test_walls_keep_their_warmth_as_their_mass_says():
    # With heater off, door shut and a steady outdoors the room decays exponentially. The
    # slow time constant of the two stores, from their matrix by hand, is 18.8 h.
    studio = Studio(
        outdoor_swing_c=0.0,
        weather_sd_c=0.0,
        door_per_day=0.0,
        day_set_c=20.0,
        night_set_c=20.0,
        heater_off=((T0_S, T0_S + 3 * DAY_S),),
    )
    room = SimulatedStudio(1, studio)

    excess = [room.true_at(T0_S + h * 3600.0)[0] - studio.outdoor_mean_c for h in (6.0, 24.8)]

    # The walls' step of 60 s is first order: well within 1 %.
    assert excess[1] / excess[0] == pytest.approx(0.3679, rel=0.01)


def test_the_simulated_sensor_fails_now_and_then():
    clock = StandingClock(T0_S)
    source = SimulatedSource(SimulatedStudio(1), clock, failing_share=0.2)
    faults = []
    for _ in range(1000):
        clock.at_s += 10.0
        try:
            source.read()
        except SensorFault as fault:
            faults.append(fault)

    assert not any(fault.permanent for fault in faults)
    assert 140 <= len(faults) <= 260  # 200 +- 5 standard deviations of a draw of 1000


def played(source):
    out = []
    while source.next_at_s() is not None:
        sample = source.read()
        out.append((sample.at_s, sample.temp_c, sample.humidity_pct))
    return out


def test_it_replays_every_row_and_counts_those_it_passes_over(tmp_path):
    file = tmp_path / "log.csv.gz"
    file.write_bytes(
        gzip.compress(
            b"ts,temp_c,rh_pct\n2024-01-02T00:00:00,5.5,80.25\n2024-01-02T00:10:00,,\n"
            b"2024-01-02T00:20:00,nan,50\nyesterday,5,50\n2024-01-02T01:30:00+01:00,-3,255\n"
        )
    )

    source = ReplaySource(file)

    assert (source.rows, source.skipped) == (2, 3)
    # 1704153600 is 2024-01-02 00:00 UTC; what the log says goes out as it is.
    assert played(source) == [(1704153600.0, 5.5, 80.25), (1704155400.0, -3.0, 255.0)]
    with pytest.raises(SensorFault, match="is over"):
        source.read()


def test_it_takes_the_other_column_names_and_seconds(tmp_path):
    file = tmp_path / "log.csv"
    file.write_text("humidity,time,temperature\n40,1704153600.5,20\n", encoding="utf-8-sig")

    assert played(ReplaySource(file)) == [(1704153600.5, 20.0, 40.0)]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "no column for time: found none"),
        (b"ts;temp_c;rh_pct\n1;2;3\n", "no column for time: found ts;temp_c;rh_pct"),
        (b"ts,temp_c,rh_pct\n,,\n", r"holds no readable row \(1 passed over\)"),
        (b"\x1f\x8bnot gzip", "cannot be read"),
        (b"\xff\xfe\xfd", "cannot be read"),
    ],
)
def test_a_log_that_cannot_be_played_is_one_clear_line(tmp_path, content, words):
    file = tmp_path / "log.csv"
    file.write_bytes(content)

    with pytest.raises(NodeError, match=words):
        ReplaySource(file)


def test_a_log_that_is_not_there_is_named(tmp_path):
    with pytest.raises(NodeError, match=r"gone\.csv cannot be read"):
        ReplaySource(tmp_path / "gone.csv")


def test_it_plays_a_real_cold_room_whole():
    # A public personal log; 72,143 rows of which 115 hold no value (counted with zcat, grep).
    source = ReplaySource(open_data("indoor/lr_gmt8_2017-02_2018-06.csv.gz"))

    assert (source.rows, source.skipped) == (72_028, 115)


@pytest.mark.parametrize(("text", "temp_c"), [("21437\n", 21.437), ("-1250", -1.25)])
def test_a_kernels_thermometer_is_read_in_thousandths(tmp_path, text, temp_c):
    (tmp_path / "temperature").write_text(text)

    assert KernelThermometer(tmp_path / "temperature").read() == Sample(temp_c, None)


# 85.000 is what a 1-wire probe says before its first conversion, an empty file what the kernel
# gives for a garbled answer, 127.937 what a short-circuited bus reads (from memory).
@pytest.mark.parametrize("text", ["85000", "", "127937", "-127000", "t=21000", "\u00e9"])
def test_what_is_no_measurement_is_refused(tmp_path, text):
    (tmp_path / "temperature").write_text(text)

    with pytest.raises(SensorFault, match="temperature") as fault:
        KernelThermometer(tmp_path / "temperature").read()

    assert not fault.value.permanent


def test_a_probe_that_is_not_there_needs_a_person(tmp_path):
    with pytest.raises(SensorFault, match="plugged in") as fault:
        KernelThermometer(tmp_path / "temperature").read()

    assert fault.value.permanent
