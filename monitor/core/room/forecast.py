"""The room's next three days, as an ensemble of paths learnt from its own log.

The middle of each lead is fitted to the log (learnt.py); around it the paths carry the
errors that this forecast would have made at past moments (errors.py).
"""

from __future__ import annotations

import numpy as np

from monitor.core.physics.air import dew_point, saturation_pressure
from monitor.core.room.climate import foretold
from monitor.core.room.cold import usual_errors
from monitor.core.room.errors import LEADS, drawn_errors
from monitor.core.room.habits import DEW_POINT, LEADS_H, TEMPERATURE
from monitor.core.room.hourly import HOUR_S, hourly, levelled
from monitor.core.room.lately import on_its_way
from monitor.core.room.learnt import Lesson, learn, shape
from monitor.core.room.outdoor import outdoor_pull
from monitor.core.room.signs import History, history
from monitor.core.vocabulary import FloatArray, RoomPaths, RoomSeries

ZERO_C_K = 273.15
LOOK_BACK_H = 120 * 24
SEEN_H, USUAL_FROM_H = 14 * 24, 3 * 24
NO_LOG_C, NO_LOG_SD_C = 20.0, 3.5  # a heated home, most of the year
NO_LOG_PCT, NO_LOG_SD_PCT = 50.0, 12.0
DRIEST_PCT = 1.0
COLDEST_C, HOTTEST_C = -40.0, 80.0


def forecast(
    past: RoomSeries,
    now_s: float,
    horizon_h: float = 72.0,
    step_s: float = 600.0,
    paths: int = 200,
    seed: int = 0,
    local_offset_s: float = 0.0,
    outdoor: RoomSeries | None = None,
    habits: tuple[FloatArray, FloatArray] = (TEMPERATURE, DEW_POINT),
) -> RoomPaths:
    """Paths (paths, m) of temperature [degC] and humidity [%] at now + step ... now + horizon.

    The median of the paths is the best single forecast. Readings after `now_s` are not
    looked at. `local_offset_s` (local time less UTC) tells weekends. `outdoor` may reach
    into the future (a weather forecast) and is used as far as this room follows it.
    One seed gives one answer. Raises ValueError for a horizon, step or count below one.
    """
    if not (horizon_h > 0.0 and 0.0 < step_s <= horizon_h * HOUR_S and paths >= 1):
        raise ValueError(
            f"a forecast of {horizon_h} h in steps of {step_s} s with {paths} paths is empty: "
            "ask for a positive horizon, a step within it and at least one path"
        )
    rng = np.random.default_rng(seed)
    steps = np.arange(1, int(horizon_h * HOUR_S / step_s + 1e-9) + 1, dtype=np.float64)
    at_s: FloatArray = np.asarray(now_s + step_s * steps, dtype=np.float64)
    end = int(np.searchsorted(past.at_s, now_s, side="right"))
    if end == 0:
        return _without_log(at_s, np.asarray((at_s - now_s) / HOUR_S), paths, rng)
    last_s = float(past.at_s[end - 1])
    begin = int(np.searchsorted(past.at_s, last_s - (LOOK_BACK_H + 1) * HOUR_S))
    at, temp_c = past.at_s[begin:end], past.temp_c[begin:end]
    dew_c = dew_point(temp_c + ZERO_C_K, np.maximum(past.humidity_pct[begin:end], DRIEST_PCT))
    warm = history(levelled(hourly(at, temp_c, last_s, LOOK_BACK_H)))
    moist = history(hourly(at, dew_c - ZERO_C_K, last_s, LOOK_BACK_H))
    lesson = learn(warm, moist, habits[0], last_s + local_offset_s, foretold)
    moist_lesson = learn(moist, warm, habits[1], last_s + local_offset_s)
    if outdoor is not None:
        lesson = outdoor_pull(lesson, outdoor, last_s)
    days = float(np.isfinite(warm.value).sum()) / 24.0
    lead_h = np.asarray((at_s - last_s) / HOUR_S)
    warm_errors, moist_errors = drawn_errors(lesson, moist_lesson, days, paths, rng)
    temp = _paths(warm, lesson, warm_errors, lead_h) + on_its_way(at, temp_c, last_s, lead_h)
    temp = np.clip(temp, COLDEST_C, HOTTEST_C)
    dew = np.minimum(_paths(moist, moist_lesson, moist_errors, lead_h), temp)
    return RoomPaths(at_s, temp, _humidity(temp, dew), _why(days, now_s - last_s))


def _paths(of: History, lesson: Lesson, errors: FloatArray, lead_h: FloatArray) -> FloatArray:
    """Daily shape plus departure and errors, both joined up between the fitted leads."""
    reach = int(np.ceil(lead_h[-1])) + 1
    daily = shape(of, reach)
    hours = np.arange(reach + 1, dtype=np.float64)
    knots = np.concatenate(([0.0], LEADS))
    # At whole days 'as now' and the day's shape say the same, whatever room it is.
    within = LEADS % 24.0 != 0.0
    daily = daily * (1.0 - np.interp(hours, LEADS[within], lesson.still[within]))
    departure = np.concatenate(([0.0], lesson.middle - daily_at(daily, LEADS_H)))
    middle = np.interp(lead_h, hours, daily) + np.interp(lead_h, knots, departure)
    place = np.clip(np.searchsorted(knots, lead_h) - 1, 0, knots.size - 2)
    part = np.clip((lead_h - knots[place]) / np.diff(knots)[place], 0.0, 1.0)
    grown = np.concatenate((np.zeros((errors.shape[0], 1)), errors), axis=1)
    around = grown[:, place] * (1.0 - part) + grown[:, place + 1] * part
    around = around * np.sqrt(np.maximum(lead_h / LEADS[-1], 1.0))
    return np.asarray(_as_seen(of.value, of.value[-1] + middle) + around)


def _as_seen(values: FloatArray, middle: FloatArray) -> FloatArray:
    """The middle, no further out than two weeks have seen and a usual change of a day beyond.

    One night without heating bends every sign; no straight line may make a summer of it.
    """
    known = values[-SEEN_H:]
    low, high = float(np.nanmin(known)), float(np.nanmax(known))
    usual = high - low
    if known.size >= USUAL_FROM_H:
        daily = np.abs(known[24:] - known[:-24])
        usual = float(np.nanmedian(daily)) if np.isfinite(daily).any() else usual
    return np.clip(middle, low - usual, high + usual)


def daily_at(daily: FloatArray, leads: tuple[int, ...]) -> FloatArray:
    """The daily shape at whole leads; beyond what was computed it repeats by the day."""
    return np.array(
        [daily[lead if lead < daily.size else _earlier(lead, daily.size)] for lead in leads]
    )


def _earlier(lead: int, size: int) -> int:
    return max(0, lead - 24 * -(-(lead - size + 1) // 24))


def _humidity(temp_c: FloatArray, dew_c: FloatArray) -> FloatArray:
    ratio = saturation_pressure(dew_c + ZERO_C_K) / saturation_pressure(temp_c + ZERO_C_K)
    return np.asarray(np.clip(100.0 * ratio, DRIEST_PCT, 100.0))


def _without_log(
    at_s: FloatArray, lead_h: FloatArray, paths: int, rng: np.random.Generator
) -> RoomPaths:
    level = rng.normal(size=(paths, 1)) * NO_LOG_SD_C
    errors = usual_errors(LEADS, 0.0, paths, rng)
    wander = np.stack([np.interp(lead_h, LEADS, row) for row in errors])
    humid = NO_LOG_PCT + rng.normal(size=(paths, 1)) * NO_LOG_SD_PCT
    humidity = np.clip(np.broadcast_to(humid, wander.shape), DRIEST_PCT, 100.0).copy()
    return RoomPaths(
        at_s, NO_LOG_C + level + wander, humidity, "no reading yet: a usual heated room is assumed"
    )


def _why(days: float, silent_s: float) -> str:
    if days < 1.0:
        told = "less than a day of this room is known, so the band is wide"
    elif days < 7.0:
        told = f"learnt from {days:.0f} days of this room, and from other rooms"
    else:
        told = f"learnt from {days:.0f} days of this room"
    if silent_s > 2.0 * HOUR_S:
        told += f"; the last reading is {silent_s / HOUR_S:.0f} h old"
    return told
