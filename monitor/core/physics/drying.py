"""Water-borne paint lines: drying limited by evaporation.

Model: a thin film gives off water in proportion to the vapour-pressure deficit of the air
over it (Dalton, still air), so its clock runs at deficit / deficit at label conditions.
Once touch dry, coalescence takes over; label times carry that, no separate law here.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from monitor.core.physics.air import vapour_pressure_deficit
from monitor.core.vocabulary import FloatArray

LABEL_HUMIDITY_PCT = 50.0  # what labels assume: normal air 23 degC, 50 %RH (ISO 554)


def drying_factor(
    temp_k: npt.ArrayLike,
    humidity_pct: npt.ArrayLike,
    ref_k: float,
    ref_humidity_pct: float = LABEL_HUMIDITY_PCT,
) -> FloatArray:
    """Drying speed relative to label conditions [-], >= 0; shapes broadcast."""
    reference = float(vapour_pressure_deficit(ref_k, ref_humidity_pct))
    return np.asarray(vapour_pressure_deficit(temp_k, humidity_pct) / reference)
