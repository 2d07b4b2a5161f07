"""What rooms and weather do next in general: a small net taught by other places' years.

It knows what linear signs of one log cannot: how a cold spell ends, how far a warm day
carries in a mild or a harsh place. It was taught by weather of places far from here and by
invented rooms under that weather (climate_weights.py), by no record that judges it.
"""

from __future__ import annotations

import numpy as np

from monitor.core.room.climate_signs import inputs
from monitor.core.room.climate_weights import HIDDEN, OFFSET, OUT, STRAIGHT
from monitor.core.room.signs import History, Rows
from monitor.core.vocabulary import FloatArray


def foretold(of: History, other: History, rows: Rows) -> FloatArray:
    """Change of temperature (rows, leads) from each of `rows`; `other` is the dew point."""
    seen, usual_c = inputs(of, other, rows)
    bent = np.tanh(seen @ HIDDEN + OFFSET)
    return np.asarray((bent @ OUT + seen @ STRAIGHT) * usual_c[:, None])
