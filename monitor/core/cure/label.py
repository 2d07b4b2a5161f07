"""The label as physics: where each stage lies on the axis of age, and what it demands.

A stage has come when the clock has come to its place AND the resin is cured as far as the
label's was by then. In a warm room the two are one; in a cold room, where cure levels off,
the second delays or forbids.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from monitor.core.cure.progress import isothermal_hours
from monitor.core.cure.resin import cure_law
from monitor.core.cure.warming import LabelRoom, clock
from monitor.core.physics.aging import ZERO_C_IN_K
from monitor.core.physics.kinetics import (
    CureLaw,
    conversion_at_glass_transition,
    glass_transition_k,
)
from monitor.core.physics.master import master_curve
from monitor.core.vocabulary import FloatArray, ResinProfile

# A piece that is glassy in its room can be sanded and taken out of a mould whatever its
# final cure (physics of vitrification; 0.75 is a proposal, no published source).
HARD_CONVERSION = 0.75
# "Full cure" is the plateau at the label's temperature. Short of it by less glass
# transition than this a hand cannot tell (engineering judgement, no published source).
FULL_CURE_TOLERANCE_K = 5.0
_ROUNDING = 1e-4


@dataclass(frozen=True, eq=False)
class LabelClock:
    """`keys` in order of age; `age_h` and the conversion `needs` of each, shapes (stages,).

    `hours` are the label's own. `plateau` is the degree of cure that the label calls full.
    """

    keys: tuple[str, ...]
    hours: FloatArray
    age_h: FloatArray
    needs: FloatArray
    plateau: float

    def age_of(self, key: str) -> float:
        """Age [h] at which one stage comes."""
        return float(self.age_h[self.keys.index(key)])

    def need_of(self, key: str) -> float:
        """Degree of cure that one stage demands."""
        return float(self.needs[self.keys.index(key)])


def label_clock(profile: ResinProfile, room: LabelRoom) -> LabelClock:
    """Places and demands of the label's stages, from its own room."""
    keys = tuple(sorted(profile.stages, key=lambda key: profile.stages[key].hours))
    hours = np.array([profile.stages[key].hours for key in keys])
    age_h = np.array([clock(room.at_h, room.age_h, hour) for hour in hours])
    law = cure_law(profile, room.scale)
    curve = master_curve(law)
    taken_h = isothermal_hours(law, profile.ref_temp_c + ZERO_C_IN_K)
    reached = np.interp(age_h, taken_h, curve.alpha)
    needs = np.minimum(reached - _ROUNDING, HARD_CONVERSION)
    plateau = float(reached[-1])
    if "full_cure" in keys:
        place = keys.index("full_cure")
        plateau = float(reached[place])
        needs[place] = max(needs[place], _full(law, plateau))
    return LabelClock(keys, hours, age_h, np.maximum.accumulate(np.maximum(needs, 0.0)), plateau)


def held_to_gel(clock: LabelClock, anchor: str, gel: float) -> LabelClock:
    """The same label for a mix that gels at `gel`: nothing sets before its gel point.

    An off-ratio mix gels late, or (`gel` infinite) never.
    """
    from_h = clock.age_h[clock.keys.index(anchor)]
    needs = np.where(clock.age_h >= from_h, np.maximum(clock.needs, gel), clock.needs)
    return replace(clock, needs=needs)


def _full(law: CureLaw, plateau: float) -> float:
    least_k = float(glass_transition_k(law, plateau)) - FULL_CURE_TOLERANCE_K
    return min(float(conversion_at_glass_transition(law, least_k)), plateau - _ROUNDING)
