"""What the forecast knows of weather in general, and when it is not to be believed."""

from __future__ import annotations

import numpy as np

from monitor.core.room.climate import foretold
from monitor.core.room.habits import LEADS_H, TEMPERATURE
from monitor.core.room.learnt import learn
from monitor.core.room.signs import history

DAYS = 30
HOURS = np.arange(DAYS * 24)
LAST = np.array([HOURS.size - 1])


def log(temp_c):
    """A made-up log by the hour, its dew point 8 K below its mean."""
    return history(temp_c), history(np.full(HOURS.size, temp_c.mean() - 8.0))


def weather(seed=3):
    """A daily wave under days that wander about their mean."""
    rng = np.random.default_rng(seed)
    days = np.zeros(DAYS + 1)
    for day in range(1, DAYS + 1):
        days[day] = 0.7 * days[day - 1] + rng.normal(0.0, 2.0)
    wander = np.interp(HOURS, 24.0 * np.arange(DAYS + 1), days)
    return 15.0 + wander + 3.0 * np.sin(HOURS / 24.0 * 2.0 * np.pi)


def test_a_room_that_never_changes_stays():
    said = foretold(*log(np.full(HOURS.size, 20.0)), LAST)
    assert said.shape == (1, len(LEADS_H))
    assert np.abs(said).max() < 0.2  # a sensor's repeatability


def test_a_day_far_out_of_the_month_is_expected_to_come_back_but_not_all_the_way():
    """7 K above or below the month since yesterday: three days on, some of it is let go."""
    calm = weather()
    calm[-72:] = calm[-72 - 240 : -240]  # so that only the step tells
    for step in (7.0, -7.0):
        odd = calm.copy()
        odd[-24:] += step
        plain, told = (foretold(*log(one), LAST)[0, LEADS_H.index(72)] for one in (calm, odd))
        let_go = (plain - told) / step
        assert 0.1 < let_go < 1.0


def test_nothing_but_the_log_up_to_the_row_is_looked_at():
    temp_c = weather()
    row = np.array([500])
    cut = temp_c[:501]
    dew = np.full(HOURS.size, 7.0)
    whole = foretold(history(temp_c), history(dew), row)
    part = foretold(history(cut), history(dew[:501]), row)
    np.testing.assert_allclose(whole, part, atol=1e-9)


def test_a_log_of_an_hour_gives_an_answer():
    said = foretold(history(np.array([20.0])), history(np.array([9.0])), np.array([0]))
    assert np.isfinite(said).all()
    assert np.abs(said).max() < 0.5


def test_what_is_lent_and_misses_this_room_again_and_again_is_not_listened_to():
    of, other = log(weather())

    def wild(of, other, rows):
        return np.full((rows.size, len(LEADS_H)), 25.0)

    own = learn(of, other, TEMPERATURE)
    np.testing.assert_array_equal(learn(of, other, TEMPERATURE, lent=wild).middle, own.middle)
    assert (learn(of, other, TEMPERATURE, lent=foretold).middle != own.middle).any()
