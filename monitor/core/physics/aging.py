"""Arrhenius rate factor and equivalent age: how fast a room's clock runs.

Model: one activation energy (ASTM C1074 form). Also the forms that other trades use for
the same thing, kept for checks: Nurse-Saul maturity and the Eurocode 2 adjusted age.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from monitor.core.vocabulary import FloatArray

GAS_CONSTANT_J_MOL_K = 8.314462618  # exact since the 2019 SI
ZERO_C_IN_K = 273.15
HOURS_TO_S = 3600.0

ArrayLike = npt.ArrayLike


def kelvin(temp_c: ArrayLike) -> FloatArray:
    """Celsius to Kelvin, any shape."""
    return np.asarray(temp_c, dtype=np.float64) + ZERO_C_IN_K


def rate_factor(temp_k: ArrayLike, ref_k: float, ea_j_mol: ArrayLike) -> FloatArray:
    """Speed of the reaction at `temp_k` relative to its speed at `ref_k` [-].

    exp[-(Ea/R)(1/T - 1/Tref)]; shapes broadcast. Source: ASTM C1074 (from memory).
    Raises ValueError where a temperature is not above 0 K.
    """
    temperature = np.asarray(temp_k, dtype=np.float64)
    if not ref_k > 0.0 or (temperature.size and not float(temperature.min()) > 0.0):
        raise ValueError("Temperature is not above 0 K. Check that it was given in kelvin.")
    energy = np.asarray(ea_j_mol, dtype=np.float64)
    exponent = (1.0 / ref_k - 1.0 / temperature) * (energy / GAS_CONSTANT_J_MOL_K)
    return np.asarray(np.exp(exponent), dtype=np.float64)


def equivalent_age(
    at_s: FloatArray, temp_k: FloatArray, ref_k: float, ea_j_mol: ArrayLike
) -> FloatArray:
    """Cumulated equivalent age [h] at each instant of a temperature record.

    `at_s` (n,) rising; `temp_k` (..., n), linear between its points; result (..., n),
    starting at 0. Simpson's rule on each step, so that a linear ramp of 10 K in a step of
    an hour is good to 1e-7. Averaging temperature first instead reads low
    (2.2 % over a 10 K ramp).
    """
    factor = rate_factor(temp_k, ref_k, ea_j_mol)
    temperature = np.asarray(temp_k, dtype=np.float64)
    middle = rate_factor((temperature[..., 1:] + temperature[..., :-1]) / 2.0, ref_k, ea_j_mol)
    steps_h = np.diff(at_s) / 3600.0
    gained = steps_h * (factor[..., :-1] + 4.0 * middle + factor[..., 1:]) / 6.0
    age = np.zeros(factor.shape)
    np.cumsum(gained, axis=-1, out=age[..., 1:])
    return age


def stepwise_age(
    steps_h: ArrayLike, temp_k: ArrayLike, ref_k: float, ea_j_mol: float
) -> FloatArray:
    """Cumulated equivalent age [h] of intervals each at its own constant temperature."""
    factor = rate_factor(temp_k, ref_k, ea_j_mol)
    return np.asarray(np.cumsum(np.asarray(steps_h, dtype=np.float64) * factor, axis=-1))


def maturity(steps_h: ArrayLike, temp_c: ArrayLike, datum_c: float = 0.0) -> float:
    """Nurse-Saul temperature-time factor [degC h]; intervals below the datum count nothing."""
    above = np.maximum(np.asarray(temp_c, dtype=np.float64) - datum_c, 0.0)
    return float(np.sum(np.asarray(steps_h, dtype=np.float64) * above))


def eurocode_age(steps_d: ArrayLike, temp_c: ArrayLike) -> float:
    """Temperature-adjusted age [d] of EN 1992-1-1 Annex B, eq. B.10 (concrete, 0..80 degC).

    Its factor is 1 at 20.04 degC, not at 20 exactly; 273, not 273.15, is the standard's own.
    """
    temperature = np.asarray(temp_c, dtype=np.float64)
    factor = np.exp(-(4000.0 / (273.0 + temperature) - 13.65))
    return float(np.sum(np.asarray(steps_d, dtype=np.float64) * factor))


def energy_for_ratio(ratio: float, cool_k: float, warm_k: float) -> float:
    """Activation energy [J/mol] that makes `warm_k` faster than `cool_k` by `ratio`."""
    return GAS_CONSTANT_J_MOL_K * math.log(ratio) * cool_k * warm_k / (warm_k - cool_k)
