"""Which readings to trust. Flags them and never deletes: raw stays raw.

The faults are those DHT22 sensors show in the field: failed reads passed on as numbers,
bit errors the checksum misses, values that freeze, humidity nailed to an end of its
scale, unset clocks. Thresholds follow the room's own habits where habits differ.
"""

from __future__ import annotations

import numpy as np

from monitor.core.room.clocks import IntArray, judge_clock
from monitor.core.room.drift import drifting
from monitor.core.room.flags import HUMIDITY_ONLY, WORDS, Flag, reason_words
from monitor.core.room.repeats import frozen, humidity_stuck
from monitor.core.room.spikes import spikes, two_rooms
from monitor.core.vocabulary import FloatArray, RoomSeries

__all__ = ["Flag", "IntArray", "judge", "reason_words", "room_series"]

RANGE_C = (-40.0, 80.0)  # the DHT22 data sheet's measuring range
SENTINELS_C = (-999.0, -200.0, -127.0, 85.0, 999.0, 3276.7, 6553.5)
SENTINEL_PCT = 255.0  # a failed read as a byte of ones
KEPT_TEMPERATURE = "humidity filled in, temperature kept"


def judge(
    at_s: FloatArray,
    temp_c: FloatArray,
    humidity_pct: FloatArray,
    received_s: FloatArray | None = None,
) -> IntArray:
    """Flags (n,), bits of `Flag`, of n readings in their order of arrival.

    The newest rows are judged with what is known: a last value that leaps is a spike
    until the next one bears it out. Raises ValueError where the shapes differ.
    """
    at_s, temp_c, humidity_pct = _same_shape(at_s, temp_c, humidity_pct)
    if received_s is not None:
        (received_s,) = _same_shape(received_s, size=at_s.size)
    flags = judge_clock(at_s, temp_c, humidity_pct, received_s)
    missing = ~np.isfinite(temp_c) | ~np.isfinite(humidity_pct)
    flags[missing] |= Flag.MISSING
    temp, humidity = np.where(missing, 20.0, temp_c), np.where(missing, 50.0, humidity_pct)
    failed = np.isin(temp, SENTINELS_C) | (humidity == SENTINEL_PCT)
    failed |= (temp == 0.0) & (humidity == 0.0)  # 40 zero bits pass the checksum
    flags[failed] |= Flag.SENTINEL
    outside = (temp < RANGE_C[0]) | (temp > RANGE_C[1]) | (humidity < 0.0) | (humidity > 100.0)
    flags[outside & ~failed] |= Flag.RANGE

    rows = np.flatnonzero(flags & ~int(Flag.DUPLICATE_HOUR) == 0)
    if received_s is not None:
        # Late rows go where they belong in time; without arrivals the stamps are in doubt.
        rows = rows[np.argsort(at_s[rows], kind="stable")]
    if rows.size:
        flags[rows] |= _judge_values(at_s[rows], temp[rows], humidity[rows])
    return flags


def _judge_values(at_s: FloatArray, temp_c: FloatArray, humidity_pct: FloatArray) -> IntArray:
    flags = np.zeros(at_s.shape, dtype=np.int64)
    flags[frozen(at_s, temp_c, humidity_pct)] |= Flag.FROZEN
    stuck = humidity_stuck(at_s, temp_c, humidity_pct)
    flags[stuck] |= Flag.HUMIDITY_STUCK
    mixed = two_rooms(at_s, temp_c, humidity_pct)
    flags[mixed] |= Flag.TWO_ROOMS
    flags[spikes(at_s, temp_c, np.where(stuck, np.nan, humidity_pct)) & ~mixed] |= Flag.SPIKE
    sound = np.flatnonzero(flags == 0)
    flags[sound[drifting(at_s[sound], temp_c[sound], humidity_pct[sound])]] |= Flag.DRIFT
    return flags


def room_series(
    at_s: FloatArray,
    temp_c: FloatArray,
    humidity_pct: FloatArray,
    offset_temp_c: float = 0.0,
    offset_humidity_pct: float = 0.0,
    received_s: FloatArray | None = None,
) -> RoomSeries:
    """The trustworthy readings, corrected by the offsets, times strictly rising.

    A fault of humidity alone keeps the temperature, with humidity carried over between
    the nearest sound values. `dropped` counts what was left out or filled in, by reason.
    """
    at_s, temp_c, humidity_pct = _same_shape(at_s, temp_c, humidity_pct)
    flags = judge(at_s, temp_c, humidity_pct, received_s)
    dropped: dict[str, int] = {}
    for one, words in WORDS.items():
        count = int(np.count_nonzero(flags & one))
        if count and one != Flag.DRIFT:
            dropped[words] = count
    keep = np.flatnonzero((flags & ~int(HUMIDITY_ONLY)) == 0)
    keep = keep[np.argsort(at_s[keep], kind="stable")]
    first = np.ones(keep.size, dtype=bool)
    first[1:] = np.diff(at_s[keep]) > 0.0
    if not first.all():
        dropped["same time twice"] = int(np.count_nonzero(~first))
    keep = keep[first]
    at, temp, humidity = at_s[keep], temp_c[keep], humidity_pct[keep]
    stuck = (flags[keep] & Flag.HUMIDITY_STUCK) != 0
    if stuck.any() and not stuck.all():
        humidity = np.where(stuck, np.interp(at, at[~stuck], humidity[~stuck]), humidity)
        dropped[KEPT_TEMPERATURE] = int(np.count_nonzero(stuck))
    elif stuck.any():
        at, temp, humidity = at[:0], temp[:0], humidity[:0]
    corrected = np.clip(humidity + offset_humidity_pct, 0.0, 100.0)
    return RoomSeries(at, temp + offset_temp_c, corrected, dropped)


def _same_shape(*arrays: FloatArray, size: int | None = None) -> tuple[FloatArray, ...]:
    flat = tuple(np.asarray(one, dtype=np.float64) for one in arrays)
    want = flat[0].shape if size is None else (size,)
    for one in flat:
        if one.ndim != 1 or one.shape != want:
            raise ValueError(
                f"readings have shape {one.shape}, expected {want}: "
                "pass times, temperatures and humidities of one length"
            )
    return flat
