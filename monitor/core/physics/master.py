"""One resin's degree of cure on the axis of equivalent age, as a table.

With one activation energy and no diffusion limit, degree of cure is a function of
equivalent age alone. So the rate equation is integrated once per resin, by quadrature
(dt = da / rate), and every room's cure is read off this one curve.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from monitor.core.physics.kinetics import CureLaw, glass_transition_k, room_left, speed
from monitor.core.vocabulary import FloatArray

_EVEN_NODES = 1500
_TAIL_NODES = 500
_TAIL_FROM = 0.97  # of the ceiling; beyond it nodes close up on the ceiling
_TAIL_LEFT = 1e-6
_GAUSS = np.polynomial.legendre.leggauss(4)


@dataclass(frozen=True, eq=False)
class MasterCurve:
    """Shapes (n,), rising: `age_h` at the reference temperature, `alpha` [-], `tg_k` [K].

    `log_speed` is ln(k1 + k2 a^m) with rates in 1/s.
    """

    age_h: FloatArray
    alpha: FloatArray
    tg_k: FloatArray
    log_speed: FloatArray

    def alpha_at(self, age_h: FloatArray | float) -> FloatArray:
        """Degree of cure at an equivalent age [h], any shape."""
        return np.asarray(np.interp(age_h, self.age_h, self.alpha))

    def age_at(self, alpha: FloatArray | float) -> FloatArray:
        """Equivalent age [h] at which the degree of cure is `alpha`; held at the table's end."""
        return np.asarray(np.interp(alpha, self.alpha, self.age_h))


@lru_cache(maxsize=64)
def master_curve(law: CureLaw) -> MasterCurve:
    """The table of one law, good to 1e-6 in degree of cure.

    a = s^(1/m) takes out the root at a = 0, which a polynomial rule would see badly.
    """
    even = _TAIL_FROM * np.linspace(0.0, 1.0, _EVEN_NODES) ** 1.5
    left = np.geomspace(1.0 - _TAIL_FROM, _TAIL_LEFT, _TAIL_NODES)
    alpha = law.alpha_max * np.concatenate((even, 1.0 - left[1:]))
    power = 1.0 / min(law.m, 1.0)
    edges = alpha ** (1.0 / power)
    points, weights = _GAUSS
    half = np.diff(edges)[:, None] / 2.0
    inside = (edges[:-1, None] + edges[1:, None]) / 2.0 + half * points
    at = inside**power
    pace_s = power * inside ** (power - 1.0) / (speed(law, at) * room_left(law, at))
    steps_h = np.sum(pace_s * weights * half, axis=1) / 3600.0
    return MasterCurve(
        age_h=np.concatenate(([0.0], np.cumsum(steps_h))),
        alpha=alpha,
        tg_k=glass_transition_k(law, alpha),
        log_speed=np.log(speed(law, alpha)),
    )
