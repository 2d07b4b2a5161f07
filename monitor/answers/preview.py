"""What a pour would do, now or later: answered on the spot, before anything is poured."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

import numpy as np

from monitor.answers import beliefs, rooms
from monitor.core.cure import belief, mixing, selfheat
from monitor.core.cure import outlook as cure
from monitor.core.cure.fitness import Air, Fitness, fitness
from monitor.core.physics import air
from monitor.core.physics.aging import ZERO_C_IN_K
from monitor.core.room import forecast
from monitor.core.vocabulary import (
    Base,
    FloatArray,
    Layer,
    Outlook,
    ResinProfile,
    RoomPaths,
    RoomSeries,
)
from monitor.store import forecasts

PATHS = 60


@dataclass(frozen=True)
class Ahead:
    """What a pour would do, and whether this is a good moment for it."""

    outlook: Outlook
    fitness: Fitness


def look(
    con: sqlite3.Connection,
    resin: ResinProfile,
    now_s: float,
    poured_at_s: float,
    *,
    depth_mm: float | None = None,
    area_cm2: float | None = None,
    volume_ml: float | None = None,
    base: Base = "wood",
    pour_temp_c: float | None = None,
    sensor: str | None = None,
) -> Ahead:
    """The outlook of a layer that is not there (its id is 0), by the monitor's last forecast,
    and the verdict on the moment."""
    layer = Layer(
        id=0,
        piece_id=0,
        name="preview",
        resin=resin,
        poured_at_s=poured_at_s,
        depth_mm=depth_mm,
        area_cm2=area_cm2,
        volume_ml=volume_ml,
        base=base,
        pour_temp_c=pour_temp_c,
    )
    key = sensor or beliefs.first_sensor(con)
    if key is None:
        empty = np.empty(0)
        past = RoomSeries(empty, empty.copy(), empty.copy())
        future = forecast.forecast(past, now_s, paths=PATHS)
    else:
        past = rooms.past(con, key, min(poured_at_s, now_s) - 3600.0, now_s)
        future = kept_future(con, key, now_s) or forecast.forecast(past, now_s, paths=PATHS)
    draws = belief.draws(beliefs.of_resin(con, resin, now_s), PATHS)
    found = cure.outlook(layer, past, future, draws, (), now_s)
    return Ahead(found, fitness(layer, _air(past, con, key, now_s), future, found, now_s))


def _air(past: RoomSeries, con: sqlite3.Connection, key: str | None, now_s: float) -> Air | None:
    if key is None or not len(past.at_s):
        return None
    measured = rooms.has_humidity(con, key, now_s)
    humidity = float(past.humidity_pct[-1]) if measured else None
    return Air(float(past.at_s[-1]), float(past.temp_c[-1]), humidity)


def kept_future(con: sqlite3.Connection, key: str, now_s: float) -> RoomPaths | None:
    """Paths that keep their place within the monitor's bands: quick, and as wide."""
    bands = forecasts.latest(con, key)
    if bands is None or now_s > bands.at_s[-1]:
        return None
    places = (np.arange(PATHS) + 0.5) / PATHS
    # Within the band on a straight line, beyond it at the band's own slope.
    share = np.interp(places, (0.1, 0.5, 0.9), (-1.0, 0.0, 1.0))
    share += np.where(places < 0.1, (places - 0.1) / 0.4, 0.0)
    share += np.where(places > 0.9, (places - 0.9) / 0.4, 0.0)
    # Warm and damp do not go together in one room, nor against each other: shuffle one.
    other = share[np.random.default_rng(0).permutation(PATHS)]

    temp_c = _spread(bands.temp_p10_c, bands.temp_p50_c, bands.temp_p90_c, share)
    humidity = _spread(
        bands.humidity_p10_pct, bands.humidity_p50_pct, bands.humidity_p90_pct, other
    )
    return RoomPaths(bands.at_s, temp_c, np.clip(humidity, 1.0, 100.0), bands.why)


def _spread(
    low: FloatArray, middle: FloatArray, high: FloatArray, places: FloatArray
) -> FloatArray:
    """Paths (p, m) that keep their places: -1 on the low line, 0 on the middle, 1 on the high."""
    below, above = np.minimum(places, 0.0)[:, None], np.maximum(places, 0.0)[:, None]
    paths: FloatArray = middle + below * (middle - low) + above * (high - middle)
    return paths


@dataclass(frozen=True)
class Measures:
    """What to measure out for a pour, and how much a cup may hold. Millilitres, grams, hours."""

    total_ml: float
    part_a_ml: float
    part_b_ml: float
    part_a_g: float
    part_b_g: float
    cups: int
    cup_ml: float
    cup_working_h: float
    piece_working_h: float
    lifts_mm: tuple[float, ...]


def measures(
    resin: ResinProfile,
    outlook: Outlook,
    room_c: float,
    *,
    depth_mm: float | None,
    area_cm2: float | None,
    volume_ml: float | None,
    waste: float = 0.1,
) -> Measures | None:
    """Amounts of both parts with waste, cups and lifts; None where no size is given.

    Raises ValueError, in words, for sizes that make no sense.
    """
    if resin.ratio_by_volume is None and resin.ratio_by_weight is None:
        return None
    if area_cm2 is not None and depth_mm is not None:
        total_ml = mixing.pour_volume_ml(area_cm2, depth_mm, waste)
    elif volume_ml is not None:
        total_ml = mixing.with_waste(volume_ml, waste)
    else:
        return None
    parts = mixing.amounts(resin, total_ml)
    cups = mixing.cups(resin, total_ml, room_c)
    deepest_mm = outlook.max_depth_mm
    split: tuple[float, ...] = (depth_mm,) if depth_mm else ()
    if depth_mm and deepest_mm and depth_mm > deepest_mm:
        split = selfheat.lifts(depth_mm, deepest_mm)
    piece_h = _working_h(outlook) or cups.on_piece_h
    return Measures(
        total_ml=total_ml,
        part_a_ml=parts.part_a_ml,
        part_b_ml=parts.part_b_ml,
        part_a_g=parts.part_a_g,
        part_b_g=parts.part_b_g,
        cups=cups.count,
        cup_ml=cups.each_ml,
        cup_working_h=min(cups.working_h, piece_h),
        piece_working_h=piece_h,
        lifts_mm=split,
    )


def _working_h(outlook: Outlook) -> float | None:
    """Working time [h] on the piece, as the outlook's own table has it."""
    ends = next((stage for stage in outlook.stages if stage.key == "working_time_end"), None)
    if ends is None or ends.p50_s is None:
        return None
    return ends.label_h + (ends.p50_s - ends.label_at_s) / 3600.0


def hardener_ratio(resin: ResinProfile, part_a: float, part_b: float, unit: str) -> float:
    """Hardener used over hardener wanted; `unit` is "ml" or "g". Raises ValueError, in words."""
    return mixing.ratio_error(resin, part_a, part_b, "g" if unit == "g" else "ml")


def smokes(peak_c: float) -> bool:
    """Whether a peak is past what the model tells as a number: it smokes and cracks."""
    return peak_c >= selfheat.SHOWN_PEAK_C


def dew_point_c(temp_c: float, humidity_pct: float) -> float | None:
    """Dew point of the room as the page shows it; None where it cannot be told."""
    if not (np.isfinite(temp_c) and 0.0 < humidity_pct <= 100.0):
        return None
    return float(air.dew_point(temp_c + ZERO_C_IN_K, humidity_pct)) - ZERO_C_IN_K


def dew_points_c(temp_c: FloatArray, humidity_pct: FloatArray) -> FloatArray:
    """Dew points of a chart, NaN where there is no humidity."""
    return np.asarray(air.dew_point(temp_c + ZERO_C_IN_K, humidity_pct) - ZERO_C_IN_K)
