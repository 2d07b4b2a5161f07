"""Room forecast: what it must be whatever the room, and what it learns from one."""

from __future__ import annotations

import csv
import gzip
from datetime import UTC, datetime

import numpy as np
import psychrolib
import pytest
from opendata import open_data

from monitor.core.room.forecast import forecast
from monitor.core.room.quality import room_series
from monitor.core.vocabulary import RoomSeries

T0_S = 1_700_000_000.0
HOUR_S = 3_600.0


def room(days, step_s=600.0, seed=1, swing_c=2.0, level_c=20.0):
    """A made-up room: a daily wave, weather that wanders, noise."""
    rng = np.random.default_rng(seed)
    rows = max(1, round(days * 86_400 / step_s))
    at = T0_S + step_s * np.arange(rows)
    nodes = np.arange(at[0], at[-1] + 2 * 86_400, 6 * HOUR_S)
    wander = np.interp(at, nodes, 0.2 * np.cumsum(rng.normal(size=nodes.size)))
    temp = level_c + swing_c * np.sin(at / 86_400 * 2 * np.pi) + 0.3 * wander
    return RoomSeries(at, temp + rng.normal(0, 0.05, rows), 50 + rng.normal(0, 1, rows))


def part(series, keep):
    return RoomSeries(series.at_s[keep], series.temp_c[keep], series.humidity_pct[keep])


def band_k(paths, lead_h, step_s=600.0):
    at = round(lead_h * HOUR_S / step_s) - 1
    low, high = np.quantile(paths.temp_c[:, at], (0.1, 0.9))
    return high - low


@pytest.mark.parametrize("days", [0.0, 0.0007, 0.04, 1, 7, 60])
@pytest.mark.parametrize("step_s", [60.0, 3_600.0])
def test_any_length_of_log_gives_a_physical_answer(days, step_s):
    past = room(days, step_s) if days else RoomSeries(*(np.empty(0) for _ in range(3)))
    now = past.at_s[-1] if days else T0_S
    seen = forecast(past, now)
    assert seen.at_s[0] == now + 600.0
    assert seen.at_s[-1] == now + 72 * HOUR_S
    assert seen.temp_c.shape == seen.humidity_pct.shape == (200, seen.at_s.size)
    assert np.isfinite(seen.temp_c).all()
    assert seen.humidity_pct.min() >= 1.0
    assert seen.humidity_pct.max() <= 100.0
    assert seen.why


def test_dew_point_never_exceeds_temperature():
    """By an independent psychrometric library (PsychroLib, ASHRAE), in a nearly wet room."""
    past = room(10)
    wet = RoomSeries(past.at_s, past.temp_c, np.full(past.at_s.size, 97.0))
    seen = forecast(wet, wet.at_s[-1], paths=20, step_s=6 * HOUR_S)
    psychrolib.SetUnitSystem(psychrolib.SI)
    for temp, humidity in zip(seen.temp_c.ravel(), seen.humidity_pct.ravel(), strict=True):
        # 0.05 K: what that library's own iteration leaves at saturation
        assert psychrolib.GetTDewPointFromRelHum(temp, humidity / 100) <= temp + 0.05


def test_the_same_seed_gives_the_same_paths_and_another_gives_others():
    past = room(10)
    first, again, other = (forecast(past, past.at_s[-1], seed=seed) for seed in (4, 4, 5))
    np.testing.assert_array_equal(first.temp_c, again.temp_c)
    assert (first.temp_c != other.temp_c).any()


def test_nothing_after_now_is_looked_at():
    past = room(20)
    now = past.at_s[1_500]
    whole, cut = forecast(past, now), forecast(part(past, slice(0, 1_501)), now)
    np.testing.assert_array_equal(whole.temp_c, cut.temp_c)
    np.testing.assert_array_equal(whole.humidity_pct, cut.humidity_pct)


def test_the_less_is_known_the_wider_the_band():
    widths = [band_k(forecast(past, past.at_s[-1]), 24) for past in (room(0.04), room(3), room(30))]
    assert widths[0] > widths[1] > widths[2]


def test_the_band_grows_with_lead():
    past = room(30)
    seen = forecast(past, past.at_s[-1])
    assert band_k(seen, 1) < band_k(seen, 72)


def test_the_band_is_as_wide_as_the_last_weeks_were_restless():
    """The same wander, three times as strong in the last 16 of 56 days, or in the 40 before.

    Were the band to follow at once, the two would differ nine times; were it blind to time,
    not at all. Asked here: twice, since a calm fortnight does not make a calm room.
    """
    calm = room(56)
    wave = 20 + 2 * np.sin(calm.at_s / 86_400 * 2 * np.pi)
    late = calm.at_s > calm.at_s[-1] - 16 * 86_400
    widths = []
    for strong in (late, ~late):
        steps = np.diff(calm.temp_c - wave, prepend=0.0)
        temp_c = wave + np.cumsum(np.where(strong, 3.0, 1.0) * steps)
        log = RoomSeries(calm.at_s, temp_c, calm.humidity_pct)
        widths.append(band_k(forecast(log, log.at_s[-1]), 24))
    assert widths[0] > 2.0 * widths[1]


def test_a_daily_wave_is_carried_on():
    """A pure wave of 2 K is its own truth: same time yesterday would be exact.

    The last value would err by 1.3 K in the mean; a third of that is what the lean on other
    rooms, which are never so regular, may cost.
    """
    past = room(20)
    at = past.at_s
    pure = RoomSeries(at, 20 + 2 * np.sin(at / 86_400 * 2 * np.pi), past.humidity_pct)
    seen = forecast(pure, at[-1])
    truth = 20 + 2 * np.sin(seen.at_s / 86_400 * 2 * np.pi)
    assert np.mean(np.abs(np.median(seen.temp_c, axis=0) - truth)) < 0.45


def test_the_middle_follows_the_sensor_when_it_shifts():
    past = room(20)
    warmer = RoomSeries(past.at_s, past.temp_c + 3.0, past.humidity_pct)
    one, two = forecast(past, past.at_s[-1]), forecast(warmer, past.at_s[-1])
    # Dew point moves a little otherwise; its part in the temperature's middle is small.
    np.testing.assert_allclose(
        np.median(two.temp_c, axis=0) - np.median(one.temp_c, axis=0), 3.0, atol=0.3
    )


def test_a_moved_sensor_does_not_drag_the_forecast_back():
    past = room(30)
    temp = past.temp_c.copy()
    temp[-72:] += 12.0  # carried to the boiler room half a day ago
    seen = forecast(RoomSeries(past.at_s, temp, past.humidity_pct), past.at_s[-1])
    day = np.median(seen.temp_c, axis=0)[:144].mean()
    assert abs(day - 32.0) < 1.5  # the wave's own mean, moved by 12 K


def test_gaps_do_not_break_it():
    past = room(30)
    age_h = (past.at_s[-1] - past.at_s) / HOUR_S
    holes = ((age_h > 20) & (age_h < 70)) | ((age_h > 300) & (age_h < 303))
    seen = forecast(part(past, ~holes), past.at_s[-1])
    full = forecast(past, past.at_s[-1])
    gap = np.abs(np.median(seen.temp_c, axis=0) - np.median(full.temp_c, axis=0))
    assert gap.mean() < 0.7  # a third of the wave's 2 K


def test_a_silent_sensor_widens_the_band_and_is_said():
    past = room(20)
    fresh, silent = forecast(past, past.at_s[-1]), forecast(past, past.at_s[-1] + 10 * HOUR_S)
    assert band_k(silent, 1) > 1.5 * band_k(fresh, 1)
    assert "10 h old" in silent.why


def test_outdoor_forecast_helps_a_room_that_follows_it():
    """A made-up room that takes half of each outdoor daily mean, with a cold day coming."""
    rng = np.random.default_rng(6)
    hours = np.arange(40 * 24)
    daily = np.repeat(rng.normal(5, 4, 40), 24)
    out_at = T0_S + HOUR_S * hours
    outside = np.convolve(daily, np.ones(12) / 12, "same")
    inside = 18 + 0.5 * np.convolve(outside, np.ones(12) / 12, "full")[: hours.size]
    now_row = 36 * 24
    past = RoomSeries(out_at[: now_row + 1], inside[: now_row + 1], np.full(now_row + 1, 45.0))
    outdoor = RoomSeries(out_at, outside, np.full(hours.size, 80.0))
    miss = []
    for known in (None, outdoor):
        seen = forecast(past, out_at[now_row], step_s=HOUR_S, outdoor=known)
        miss.append(
            np.abs(np.median(seen.temp_c, axis=0)[23:] - inside[now_row + 24 :][:49]).mean()
        )
    assert miss[1] < 0.9 * miss[0]


def test_an_empty_request_is_refused():
    with pytest.raises(ValueError, match="positive horizon"):
        forecast(room(1), T0_S, horizon_h=0.0)


def test_real_rooms_are_foretold_better_than_by_the_clock_and_as_surely_as_said():
    """Ironing room, Belgium (Candanedo et al. 2017), an origin every 35 h after two weeks.

    Against the best in hindsight of the last value and the same time yesterday. Skill
    wanted at 6 h over all rooms is 25 %, this room reaches about 17 %; asked here: 5 %, as
    40 origins leave some chance. Coverage of 80 % has a standard error of 6 % at n = 40.
    """
    with gzip.open(open_data("indoor/energy_ironing_2016-01-11_03-31.csv.gz"), "rt") as file:
        rows = list(csv.DictReader(file))
    at = [datetime.fromisoformat(row["ts"]).replace(tzinfo=UTC).timestamp() for row in rows]
    values = np.array([[float(row["temp_c"]), float(row["rh_pct"])] for row in rows])
    log = room_series(np.array(at), *values.T)
    missed, references, inside = [], [], []
    for now in range(14 * 144, log.at_s.size - 36, 210):
        seen = forecast(part(log, slice(0, now + 1)), log.at_s[now], 6.0)
        low, middle, high = np.quantile(seen.temp_c[:, -1], (0.1, 0.5, 0.9))
        truth = log.temp_c[now + 36]
        missed.append(abs(truth - middle))
        references.append((abs(truth - log.temp_c[now]), abs(truth - log.temp_c[now - 108])))
        inside.append(low <= truth <= high)
    assert np.mean(missed) < 0.95 * np.mean(references, axis=0).min()
    assert 0.62 <= np.mean(inside) <= 0.98
