"""Is the sensor right? Its readings against fixed points: salts, melting ice, a thermometer.

A saturated salt solution holds the air of a closed jar at a humidity that depends on the
salt and, a little, on the temperature; crushed ice in water is at 0 degC. The sensor is
judged only once its readings stand still, for until then the jar is not at its point.

Sources: humidities after Greenspan, J. Res. Natl. Bur. Stand. 81A (1977) 89-96, his
polynomials in degC; their uncertainties are the larger ends of his table over 10-30 degC
(from memory). Stated accuracy of a DHT22: its data sheet. The limits of standing still are
ours and reasoned beside each.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np

from monitor.core.vocabulary import FloatArray

Quantity = Literal["temperature", "humidity"]
Stand = Literal["no_value", "begun", "few", "moving", "warming", "unsteady", "settled"]


@dataclass(frozen=True)
class Salt:
    """A salt, what people call it, its polynomial in degC [%RH], and how sure that is [%RH]."""

    name: str
    known_as: str
    coefficients: tuple[float, ...]
    plus_minus_pct: float


SALTS: Mapping[str, Salt] = MappingProxyType(
    {
        "magnesium_chloride": Salt(
            "magnesium chloride", "nigari, bath flakes", (33.6686, -0.00797397, -0.00108988), 0.24
        ),
        "sodium_chloride": Salt(
            "sodium chloride",
            "table salt without additives",
            (75.5164, 0.0398321, -0.00265459, 0.00002848),
            0.22,
        ),
        "potassium_chloride": Salt(
            "potassium chloride", "salt substitute", (88.6190, -0.193340, 0.000899706), 0.39
        ),
        # Two open-source copies print the linear term with a minus; only a plus gives the
        # tabulated 11.3 % at 20 degC.
        "lithium_chloride": Salt(
            "lithium chloride", "laboratory supply", (11.2323, 0.00824245, -0.00021489), 0.41
        ),
        "potassium_sulphate": Salt("potassium sulphate", "fertiliser", (98.7792, -0.0590502), 0.76),
    }
)
SALT_RANGE_C = (5.0, 35.0)


@dataclass(frozen=True)
class Habit:
    """How to tell that one quantity stands still in one set-up.

    The first `hand_s` in place are not looked at: the sensor was in a hand. Then `stretch_s`
    must pass with a slope of at most `slope_per_h`, a temperature that moves at most
    `warming_k_h`, and a scatter about the line of at most `scatter`.
    """

    quantity: Quantity
    hand_s: float
    stretch_s: float
    slope_per_h: float
    warming_k_h: float
    scatter: float


# What is left of an exponential approach is its slope times its time constant. A sensor in a
# small jar nears its end in a quarter to half an hour: 0.5 %RH/h leaves at most 0.25 %RH, as
# much as the salt itself is unsure. The jar's air follows the slush by minutes, and 1 K
# between them is 4.6 %RH at 75 %RH; 0.5 K/h keeps that below 0.4 %RH.
IN_A_JAR = Habit("humidity", 900.0, 1800.0, 0.5, 0.5, 1.0)
# In a bag in ice water the time constant is about 5 min: 0.6 K/h leaves 0.05 K.
IN_ICE = Habit("temperature", 600.0, 600.0, 0.6, 0.6, 0.2)
# Beside a thermometer in still air, about 20 min: 0.3 K/h leaves 0.1 K.
IN_AIR = Habit("temperature", 900.0, 1200.0, 0.3, 0.3, 0.2)
FEW = 8
COVERED = 0.8

# Data sheet of the DHT22: 2 %RH, 0.5 K (some sheets say 1 K; the stricter is taken).
STATED: Mapping[Quantity, float] = MappingProxyType({"humidity": 2.0, "temperature": 0.5})
# Beyond this the set-up is likelier wrong than the sensor: dry salt, an open jar, warm ice.
BEYOND_BELIEF: Mapping[Quantity, float] = MappingProxyType({"humidity": 15.0, "temperature": 4.0})
ICE_C = 0.0
ICE_PLUS_MINUS_C = 0.1  # tap-water ice and a bag about the sensor; common practice


@dataclass(frozen=True)
class Settling:
    """What the readings of the last stretch say. Numbers are None where there are too few.

    `wait_s` is how long at least until it can be judged, `slope_per_h` and `scatter` in the
    unit of the quantity, `temp_c` the mean temperature of the stretch.
    """

    stand: Stand
    count: int
    wait_s: float
    mean: float | None = None
    temp_c: float | None = None
    slope_per_h: float | None = None
    warming_k_h: float | None = None
    scatter: float | None = None


@dataclass(frozen=True)
class Point:
    """One fixed point: what the sensor said there and what was true.

    `error` is reads less true. `told` says whether the check can tell that from none;
    `within` whether it is within the stated accuracy; `believable` whether the set-up is.
    """

    quantity: Quantity
    reads: float
    true: float
    plus_minus: float
    error: float
    told: bool
    within: bool
    believable: bool


@dataclass(frozen=True)
class Fit:
    """The offset that mends several points, what is left at each, and whether that will do.

    A single offset cannot mend a sensor whose error grows with the value; `left_over` then
    shows it, and `enough` is False where it exceeds the stated accuracy.
    """

    quantity: Quantity
    offset: float
    left_over: tuple[float, ...]
    enough: bool


def salt_humidity_pct(salt: str, temp_c: float) -> float:
    """Humidity over a saturated solution of `salt` [%RH] at `temp_c`, 5 to 35 degC.

    Raises ValueError for an unknown salt or a temperature beyond that.
    """
    if salt not in SALTS:
        raise ValueError(f"salt is {salt!r}; expected one of {', '.join(SALTS)}")
    low, high = SALT_RANGE_C
    if not low <= temp_c <= high:
        raise ValueError(f"the jar is at {temp_c:.1f} degC; expected {low:g} to {high:g} degC")
    return float(sum(a * temp_c**power for power, a in enumerate(SALTS[salt].coefficients)))


def settling(
    at_s: FloatArray,
    temp_c: FloatArray,
    humidity_pct: FloatArray,
    started_s: float,
    now_s: float,
    habit: Habit,
) -> Settling:
    """Whether the readings (each (n,), in time order) stand still by now.

    Readings before `started_s` and the first minutes after it do not count; neither do those
    without a value. A lone value far off the line is left out before the judgement.
    """
    begin_s = max(started_s + habit.hand_s, now_s - habit.stretch_s)
    values = humidity_pct if habit.quantity == "humidity" else temp_c
    seen = (at_s >= begin_s) & (at_s <= now_s) & np.isfinite(values) & np.isfinite(temp_c)
    wait_s = max(0.0, started_s + habit.hand_s + habit.stretch_s - now_s)
    since = at_s > started_s
    if since.any() and not np.isfinite(values[since]).any():
        return Settling("no_value", 0, wait_s)
    hours = (at_s[seen] - now_s) / 3600.0
    value, warmth = values[seen], temp_c[seen]
    count = len(hours)
    if count < FEW:
        return Settling("begun" if wait_s > 0.0 else "few", count, wait_s)
    slope, residual = _line(hours, value)
    spread = 1.4826 * float(np.median(np.abs(residual - np.median(residual))))
    kept = np.abs(residual) <= max(4.0 * spread, habit.scatter)
    if FEW <= int(kept.sum()) < count:
        hours, value, warmth = hours[kept], value[kept], warmth[kept]
        slope, residual = _line(hours, value)
    warming, _ = _line(hours, warmth)
    scatter = float(np.sqrt(np.mean(residual**2)))
    covered_s = float(hours[-1] - hours[0]) * 3600.0
    stand: Stand = "settled"
    if wait_s > 0.0:
        stand = "begun"
    elif covered_s < COVERED * habit.stretch_s:
        stand = "few"
    elif scatter > habit.scatter:
        stand = "unsteady"
    elif abs(slope) > habit.slope_per_h:
        stand = "moving"
    elif abs(warming) > habit.warming_k_h:
        stand = "warming"
    return Settling(
        stand,
        len(hours),
        wait_s,
        mean=float(value.mean()),
        temp_c=float(warmth.mean()),
        slope_per_h=slope,
        warming_k_h=warming,
        scatter=scatter,
    )


def point(quantity: Quantity, reads: float, true: float, plus_minus: float) -> Point:
    """Judge one settled reading against what is true there, known to `plus_minus`."""
    error = reads - true
    # The sensor shows steps of 0.1, and a mean of steps can stand half a step off.
    return Point(
        quantity,
        reads,
        true,
        plus_minus,
        error,
        told=abs(error) > plus_minus + 0.05,
        within=abs(error) <= STATED[quantity],
        believable=abs(error) <= BEYOND_BELIEF[quantity],
    )


def fit(points: Sequence[Point]) -> Fit:
    """The mean offset of points of one quantity. Raises ValueError for none or a mixture."""
    kinds = {one.quantity for one in points}
    if len(kinds) != 1:
        raise ValueError(f"{len(points)} points of {len(kinds)} quantities; expected some of one")
    offset = -sum(one.error for one in points) / len(points)
    left = tuple(one.error + offset for one in points)
    quantity = points[0].quantity
    return Fit(quantity, offset, left, max(map(abs, left)) <= STATED[quantity])


def _line(hours: FloatArray, value: FloatArray) -> tuple[float, FloatArray]:
    """Slope of the least-squares line, and what each value is off it."""
    centred = hours - hours.mean()
    square = float(centred @ centred)
    slope = float(centred @ (value - value.mean())) / square if square > 0.0 else 0.0
    return slope, np.asarray(value - value.mean() - slope * centred)
