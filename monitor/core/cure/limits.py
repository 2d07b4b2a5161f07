"""What air a resin bears, and for how long after its pour that matters.

The limits are the resin's own; 3 K above the dew point is painting practice (ISO 8502-4
guidance, borrowed here for resin). What counts as likely is a proposal of ours. The verdict
on a pour and the plan of a piece both judge by these, so that they cannot disagree.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np
import numpy.typing as npt

from monitor.core.cure.surface import DEW_MARGIN_K
from monitor.core.physics.aging import kelvin
from monitor.core.physics.air import dew_margin
from monitor.core.vocabulary import FloatArray, Kind, ResinProfile

BoolArray = npt.NDArray[np.bool_]
Limit = Literal["cold", "warm", "damp", "dew"]

HOUR_S = 3600.0
NIGHT_S = 12 * 3600.0  # the hours after a pour that decide its surface, night or day
SIGHT_S = 24 * 3600.0
LIKELY = 0.5  # a share of futures past a limit from which a pour is spoken against
# Dew settles before the layer is poured; under an open surface the room's damp counts.
WHILE_OPEN: tuple[Limit, ...] = ("cold", "warm", "damp")


def least_open_s(kind: Kind) -> float:
    """How long a layer's surface counts as open at least [s]; glue and paint are soon past it."""
    return NIGHT_S if kind == "pour" else HOUR_S


def open_until_s(kind: Kind, poured_at_s: float, closed_s: float) -> float:
    """Until when the room matters: the surface's closing, the first night, a day at most [s]."""
    return min(max(closed_s, poured_at_s + least_open_s(kind)), poured_at_s + SIGHT_S)


# Air this dry is more than DEW_MARGIN_K from its dew point down to -50 degC (Magnus).
FAR_FROM_DEW_PCT = 70.0


def outside(
    profile: ResinProfile, temp_c: FloatArray, humidity_pct: FloatArray | None
) -> Mapping[Limit, BoolArray]:
    """Where air is past each limit, in the shape given; humidity is left out where None."""
    found: dict[Limit, BoolArray] = {
        "cold": np.asarray(temp_c < profile.min_temp_c),
        "warm": np.asarray(temp_c > profile.max_temp_c),
    }
    if humidity_pct is None or profile.kind == "adhesive":
        return found
    found["damp"] = np.asarray(humidity_pct > profile.max_humidity_pct)
    found["dew"] = np.zeros(np.shape(temp_c), dtype=np.bool_)
    near = humidity_pct > FAR_FROM_DEW_PCT
    if near.any():
        air_k, humid = kelvin(temp_c[near]), humidity_pct[near]
        found["dew"][near] = dew_margin(air_k, humid, air_k) < DEW_MARGIN_K
    return found


def stays(past: BoolArray) -> BoolArray:
    """Where each path is past a limit at this point and the next, (paths, m).

    A door that stands open for a moment spoils nothing.
    """
    if past.shape[1] < 2:
        return past
    kept = past.copy()
    kept[:, :-1] &= past[:, 1:]
    kept[:, -1] = False
    return kept


def limit_words(profile: ResinProfile, limit: Limit) -> str:
    """'below 18 °C', and alike for each limit."""
    return {
        "cold": f"below {profile.min_temp_c:g} °C",
        "warm": f"above {profile.max_temp_c:g} °C",
        "damp": f"above {profile.max_humidity_pct:g} % RH",
        "dew": f"within {DEW_MARGIN_K:.0f} °C of its dew point",
    }[limit]
