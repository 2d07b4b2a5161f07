"""The log-normal interval-censored likelihood, and smoothing on a grid of log rate.

An event that a label puts at t hours of equivalent age comes, in a resin of log rate x,
at ln T = ln t - x, give or take the finger that judges it (sd on the log scale). Seen
only as "not yet at L, done at U", its likelihood is
Phi((ln U - ln t + x) / sd) - Phi((ln L - ln t + x) / sd): the standard interval-censored
form of survival analysis. numpy has no normal distribution function, hence the table.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from monitor.core.vocabulary import FloatArray

_EDGE = 9.0  # beyond nine sd the tail is below 1e-18: nothing that a mark could say
_PER_SD = 1024  # linear steps; the error is at most 0.242 / (8 * 1024**2) = 2.9e-8
_NODES = np.linspace(-_EDGE, _EDGE, int(2 * _EDGE) * _PER_SD + 1)
_TABLE = np.array([0.5 * math.erfc(-z / math.sqrt(2.0)) for z in _NODES.tolist()])
_SLOPE = np.append(np.diff(_TABLE), 0.0)
FLOOR = 1e-300


def normal_cdf(z: FloatArray) -> FloatArray:
    """Phi(z) for any array, infinities included; absolute error below 3e-8."""
    place = (np.clip(z, -_EDGE, _EDGE) + _EDGE) * _PER_SD
    index = place.astype(np.intp)
    probability: FloatArray = _TABLE[index] + (place - index) * _SLOPE[index]
    return probability


def interval_probability(
    log_lower: FloatArray, log_upper: FloatArray, mean: FloatArray | float, sd: float
) -> FloatArray:
    """Probability that a normal variable falls in (log_lower, log_upper].

    The arguments broadcast; -inf and +inf leave a side open. `sd` 0 means a judgement
    without error: the result is then 1 inside and 0 outside.
    """
    if sd <= 0.0:
        inside: FloatArray = ((log_lower < mean) & (mean <= log_upper)).astype(np.float64)
        return inside
    probability = np.ones(np.broadcast(log_lower, log_upper, mean).shape)
    if np.any(log_upper < np.inf):  # an open side costs nothing
        probability = normal_cdf((log_upper - mean) / sd)
    if np.any(log_lower > -np.inf):
        probability = probability - normal_cdf((log_lower - mean) / sd)
    return np.maximum(probability, 0.0)


def interval_log_likelihood(
    lower_h: FloatArray, upper_h: FloatArray, log_mean: float, log_sd: float
) -> float:
    """Log-likelihood of intervals (lower, upper] of a log-normal time; shapes (n,).

    `lower_h` 0 is left-censored, `upper_h` infinity right-censored.
    """
    with np.errstate(divide="ignore"):
        low, high = np.log(lower_h), np.log(upper_h)
    each = np.maximum(interval_probability(low, high, log_mean, log_sd), FLOOR)
    return float(np.sum(np.log(each)))


def smoothed(function: FloatArray, step: float, sd: float) -> FloatArray:
    """A gridded function (points, columns), blurred along its points by an error of `sd`.

    Below three quarters of a step a sampled bell misses its variance, so there the
    kernel is the three-point one whose variance is exact.
    """
    if sd < 0.75 * step:
        side = 0.5 * (sd / step) ** 2
        padded = np.concatenate((function[:1], function, function[-1:]))
        near: FloatArray = (1.0 - 2.0 * side) * function + side * (padded[:-2] + padded[2:])
        return near
    blurred: FloatArray = _bell_matrix(function.shape[0], step, sd) @ function
    return blurred


@lru_cache(maxsize=16)
def _bell_matrix(points: int, step: float, sd: float) -> FloatArray:
    apart = step * np.subtract.outer(np.arange(points), np.arange(points))
    matrix = np.exp(-0.5 * (apart / sd) ** 2)
    rows_to_one: FloatArray = matrix / matrix.sum(axis=1, keepdims=True)
    return rows_to_one
