"""Moist air over liquid water: saturation pressure, dew point, vapour-pressure deficit.

Model: Magnus form with the coefficients of WMO-No. 8 (6.112 hPa, 17.62, 243.12 degC),
good from -45 to 60 degC to 0.3 %. Below 0 degC the dew point is the one over supercooled
water, not the frost point: a film of resin takes up water either way, and the two part
ways by 1.3 K at 5 degC and 30 %RH.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from monitor.core.physics.aging import ZERO_C_IN_K
from monitor.core.vocabulary import FloatArray

MAGNUS_PA = 611.2
MAGNUS_SLOPE = 17.62
MAGNUS_OFFSET_K = 243.12
DRIEST_PCT = 0.1  # a sensor that reads 0 %RH means "dry", and ln(0) is no answer

ArrayLike = npt.ArrayLike


def saturation_pressure(temp_k: ArrayLike) -> FloatArray:
    """Saturation vapour pressure over water [Pa] at `temp_k`, any shape."""
    celsius = np.asarray(temp_k, dtype=np.float64) - ZERO_C_IN_K
    exponent = MAGNUS_SLOPE * celsius / (MAGNUS_OFFSET_K + celsius)
    return np.asarray(MAGNUS_PA * np.exp(exponent), dtype=np.float64)


def dew_point(temp_k: ArrayLike, humidity_pct: ArrayLike) -> FloatArray:
    """Dew point over water [K]. Humidity is held within 0.1..100 %."""
    celsius = np.asarray(temp_k, dtype=np.float64) - ZERO_C_IN_K
    humidity = np.clip(np.asarray(humidity_pct, dtype=np.float64), DRIEST_PCT, 100.0)
    gamma = np.log(humidity / 100.0) + MAGNUS_SLOPE * celsius / (MAGNUS_OFFSET_K + celsius)
    return np.asarray(MAGNUS_OFFSET_K * gamma / (MAGNUS_SLOPE - gamma) + ZERO_C_IN_K)


def dew_margin(temp_k: ArrayLike, humidity_pct: ArrayLike, surface_k: ArrayLike) -> FloatArray:
    """How far a surface is above the air's dew point [K]; 3 K is painting practice."""
    return np.asarray(np.asarray(surface_k, dtype=np.float64) - dew_point(temp_k, humidity_pct))


def surface_humidity(
    temp_k: ArrayLike, humidity_pct: ArrayLike, surface_k: ArrayLike
) -> FloatArray:
    """Relative humidity [%] of the air where it touches a surface; above 100 it condenses."""
    ratio = saturation_pressure(temp_k) / saturation_pressure(surface_k)
    return np.asarray(np.asarray(humidity_pct, dtype=np.float64) * ratio)


def vapour_pressure_deficit(temp_k: ArrayLike, humidity_pct: ArrayLike) -> FloatArray:
    """What the air can still take up [Pa]: saturation less actual vapour pressure, >= 0."""
    dryness = 1.0 - np.asarray(humidity_pct, dtype=np.float64) / 100.0
    return np.asarray(np.maximum(saturation_pressure(temp_k) * dryness, 0.0))
