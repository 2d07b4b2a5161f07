"""Least absolute errors with a lean: weights learnt from a room, starting from other rooms'."""

from __future__ import annotations

import numpy as np

from monitor.core.vocabulary import FloatArray

ROUNDS = 3
SOFT = 0.2  # of the median error: below it an error counts by its square, so no division by 0


def fit(
    signs: FloatArray,
    target: FloatArray,
    weight: FloatArray,
    start: FloatArray,
    lean: FloatArray,
    rounds: int = ROUNDS,
) -> FloatArray:
    """Coefficients (k,) minimising sum w |target - signs b| + (b - start)' lean (b - start).

    By iteratively reweighted least squares. Shapes: signs (n, k), target and weight (n,),
    start (k,), lean (k, k) positive definite.
    """
    b = start
    for _ in range(rounds):
        error = np.abs(target - signs @ b)
        floor = SOFT * float(np.median(error)) + 1e-6
        scaled = signs * (weight / np.maximum(error, floor))[:, None]
        b = np.asarray(
            np.linalg.solve(scaled.T @ signs + lean, scaled.T @ target + lean @ start),
            dtype=np.float64,
        )
    return b
