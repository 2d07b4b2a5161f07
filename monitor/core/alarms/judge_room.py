"""The room against the layers that cure in it: one reading now, and its likely futures.

A reading is judged at its own time, so an alarm's moments do not depend on when the program
came round to look.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence

import numpy as np

from monitor.core.alarms.rule_list import (
    COLD_DEADBAND,
    COLD_LIKELY,
    COLD_SOON_LIKELY,
    DEW_DEADBAND_C,
    DEW_MARGIN_C,
    HUMIDITY_DEADBAND_PCT,
    RULES,
    TEMPERATURE_DEADBAND_C,
)
from monitor.core.alarms.words import moment
from monitor.core.physics.aging import ZERO_C_IN_K
from monitor.core.physics.air import dew_margin
from monitor.core.vocabulary import Condition, Layer, RoomPaths

COLD_SIGHT_S = 24 * 3600.0  # a warning for tomorrow night can wait until tomorrow
COLD_SOON_S = 6 * 3600.0

_IDLE = "Nothing is curing here."


def room_now(
    sensor_key: str,
    at_s: float,
    temp_c: float | None,
    humidity_pct: float | None,
    layers: Sequence[Layer],
    surface_offset_c: float = 0.0,
    *,
    closed: Collection[int] = (),
) -> tuple[Condition, ...]:
    """Judge one reading: `room_too_cold`, `room_too_hot`, `room_too_damp`, in this order.

    `layers` are those of this room that are not yet cured; the ones not poured yet or ended
    at `at_s` are left out here. `surface_offset_c` is surface minus air [K]. `closed` are the
    ids of layers whose surface is tack-free: damp no longer harms them. A value that is None
    or not finite gives `wrong=None`: it cannot be told.
    """
    curing = _curing(layers, at_s)
    temp = _known(temp_c)
    humidity = _known(humidity_pct)
    subject = f"room:{sensor_key}"
    return (
        _cold(subject, at_s, temp, curing),
        _hot(subject, at_s, temp, curing),
        _damp(
            subject,
            at_s,
            temp,
            humidity,
            [ly for ly in curing if ly.id not in closed and ly.resin.kind != "adhesive"],
            surface_offset_c,
        ),
    )


def room_to_come(
    sensor_key: str,
    future: RoomPaths,
    layers: Sequence[Layer],
    now_s: float,
    *,
    already_cold: bool | None = None,
) -> tuple[Condition, ...]:
    """Judge the room's futures: `room_will_be_too_cold`, with its probability as the value.

    A path counts when it falls below the highest `min_temp_c` of the layers that cure, within
    `COLD_SIGHT_S`, and stays there for the on-delay of `room_too_cold`. Meaningless while
    nothing cures and while the room is too cold already: another rule says that.
    `already_cold` says whether that rule's alarm is active, which counts its delays and its
    deadband; where it is None, the first moment ahead decides.
    """
    key = "room_will_be_too_cold"
    subject = f"room:{sensor_key}"
    curing = _curing(layers, now_s)
    if not curing:
        return (Condition(key, subject, now_s, None, _IDLE, meaningful=False),)
    neediest = max(curing, key=lambda layer: layer.resin.min_temp_c)
    limit_c = neediest.resin.min_temp_c
    ahead = (future.at_s > now_s) & (future.at_s <= now_s + COLD_SIGHT_S)
    if not ahead.any() or future.temp_c.shape[0] == 0:
        words = "The room's future is not known yet."
        return (Condition(key, subject, now_s, None, words, limit=COLD_LIKELY),)
    at_s = future.at_s[ahead]
    temp_c = future.temp_c[:, ahead]
    if already_cold is None:
        already_cold = float(np.median(temp_c[:, 0])) < limit_c
    if already_cold:
        words = f"It is too cold for {neediest.name} already."
        return (Condition(key, subject, now_s, None, words, meaningful=False),)
    first_s = first_cold_s(at_s, temp_c, limit_c)
    crosses = np.isfinite(first_s)
    probability = float(crosses.mean())
    if not crosses.any():
        words = f"Not expected below {_celsius(limit_c)} in the next 24 hours."
        return (Condition(key, subject, now_s, False, words, 0.0, COLD_LIKELY),)
    from_s = float(np.median(first_s[crosses]))
    words = (
        f"{_likelihood(probability)} below {_celsius(limit_c)} from {moment(from_s)}: "
        f"too cold for {neediest.name}."
    )
    wrong = cold_is_likely(probability, float((first_s <= now_s + COLD_SOON_S).mean()))
    return (Condition(key, subject, now_s, wrong, words, probability, COLD_LIKELY),)


def cold_is_likely(within_sight: float, soon: float) -> bool | None:
    """The verdict on the chances of cold within `COLD_SIGHT_S` and within `COLD_SOON_S`."""
    if within_sight >= COLD_LIKELY or soon >= COLD_SOON_LIKELY:
        return True
    return False if within_sight <= COLD_LIKELY - COLD_DEADBAND else None


def first_cold_s(
    at_s: np.typing.NDArray[np.float64],
    temp_c: np.typing.NDArray[np.float64],
    limit_c: float,
) -> np.typing.NDArray[np.float64]:
    """When each path first falls below `limit_c` and stays for the on-delay; NaN where never.

    `at_s` (m,), `temp_c` (paths, m); the answer (paths,). With points further apart than the
    on-delay one point is enough.
    """
    below = temp_c < limit_c
    spacing_s = float(np.median(np.diff(at_s))) if at_s.size > 1 else math.inf
    run = max(1, math.ceil(RULES["room_too_cold"].on_delay_s / spacing_s))
    stays = below.copy()
    for shift in range(1, min(run, at_s.size)):
        stays[:, :-shift] &= below[:, shift:]
    first = np.argmax(stays, axis=1)
    return np.where(stays.any(axis=1), at_s[first], np.nan)


def _cold(subject: str, at_s: float, temp_c: float | None, curing: Sequence[Layer]) -> Condition:
    key = "room_too_cold"
    if not curing:
        return Condition(key, subject, at_s, None, _IDLE, temp_c, meaningful=False)
    neediest = max(curing, key=lambda layer: layer.resin.min_temp_c)
    limit_c = neediest.resin.min_temp_c
    if temp_c is None:
        return Condition(key, subject, at_s, None, "Temperature unknown.", limit=limit_c)
    side = "below" if temp_c < limit_c else "not below"
    words = f"{_beside(temp_c, limit_c)}, {side} the {_celsius(limit_c)} {neediest.name} needs."
    wrong = _past(-temp_c, -limit_c, TEMPERATURE_DEADBAND_C)
    return Condition(key, subject, at_s, wrong, words, temp_c, limit_c)


def _hot(subject: str, at_s: float, temp_c: float | None, curing: Sequence[Layer]) -> Condition:
    key = "room_too_hot"
    if not curing:
        return Condition(key, subject, at_s, None, _IDLE, temp_c, meaningful=False)
    neediest = min(curing, key=lambda layer: layer.resin.max_temp_c)
    limit_c = neediest.resin.max_temp_c
    if temp_c is None:
        return Condition(key, subject, at_s, None, "Temperature unknown.", limit=limit_c)
    side = "above" if temp_c > limit_c else "not above"
    words = f"{_beside(temp_c, limit_c)}, {side} the {_celsius(limit_c)} {neediest.name} bears."
    wrong = _past(temp_c, limit_c, TEMPERATURE_DEADBAND_C)
    return Condition(key, subject, at_s, wrong, words, temp_c, limit_c)


def _damp(
    subject: str,
    at_s: float,
    temp_c: float | None,
    humidity_pct: float | None,
    open_layers: Sequence[Layer],
    surface_offset_c: float,
) -> Condition:
    key = "room_too_damp"
    if not open_layers:
        words = "No open surface here."
        return Condition(key, subject, at_s, None, words, meaningful=False)
    if temp_c is None or humidity_pct is None:
        return Condition(key, subject, at_s, None, "Humidity unknown.", limit=DEW_MARGIN_C)
    air_k = temp_c + ZERO_C_IN_K
    margin_c = float(dew_margin(air_k, humidity_pct, air_k + surface_offset_c))
    neediest = min(open_layers, key=lambda layer: layer.resin.max_humidity_pct)
    most_pct = neediest.resin.max_humidity_pct
    by_margin = _past(-margin_c, -DEW_MARGIN_C, DEW_DEADBAND_C)
    by_humidity = _past(humidity_pct, most_pct, HUMIDITY_DEADBAND_PCT)
    words = (
        f"{humidity_pct:.0f} % RH; the surface is {margin_c:.1f} °C above the dew point "
        f"(wanted: at least {DEW_MARGIN_C:.0f} °C, and at most {most_pct:.0f} % RH)."
    )
    wrong = None if by_margin is None and not by_humidity else by_margin or by_humidity
    if by_humidity and not by_margin:
        return Condition(key, subject, at_s, True, words, humidity_pct, most_pct)
    return Condition(key, subject, at_s, wrong, words, margin_c, DEW_MARGIN_C)


def _curing(layers: Sequence[Layer], at_s: float) -> list[Layer]:
    return [
        layer
        for layer in layers
        if layer.poured_at_s <= at_s and (layer.ended_at_s is None or at_s < layer.ended_at_s)
    ]


def _past(value: float, limit: float, deadband: float) -> bool | None:
    """True past an upper limit, False once back by the deadband, None in between."""
    if value > limit:
        return True
    return False if value <= limit - deadband else None


def _known(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def _celsius(temp_c: float) -> str:
    return f"{temp_c:.1f}".removesuffix(".0") + " °C"


def _beside(temp_c: float, limit_c: float) -> str:
    """A temperature with enough digits to differ from its limit where it does."""
    short = _celsius(temp_c)
    return f"{temp_c:.2f} °C" if short == _celsius(limit_c) and temp_c != limit_c else short


def _likelihood(probability: float) -> str:
    if probability >= 0.9:
        return "Very likely"
    return "Likely" if probability >= 0.5 else "Perhaps"
