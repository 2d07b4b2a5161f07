"""What a resin's own heat allows: the greatest depth of a pour, and the time in a cup.

A pour thicker than a film does not follow the room: its own heat warms it, so stages come
sooner, and past some depth it runs away.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from monitor.core.cure.pourheat import DEEPEST_MM as DEEPEST_MM
from monitor.core.cure.pourheat import SHOWN_PEAK_C as SHOWN_PEAK_C
from monitor.core.cure.pourheat import (
    THINNEST_MM,
    TOP_W_M2_K,
    PourHeat,
    check_depth,
    check_temperatures,
    peak_of,
    rate_of,
    slab_of,
)
from monitor.core.cure.pourheat import mixed_density as mixed_density
from monitor.core.cure.pourheat import peak_words as peak_words
from monitor.core.cure.warming import anchored_law, clock, label_room
from monitor.core.physics.aging import ZERO_C_IN_K, equivalent_age, kelvin, rate_factor
from monitor.core.physics.heat import Slab, heat_up
from monitor.core.physics.kinetics import CureLaw
from monitor.core.physics.master import master_curve
from monitor.core.vocabulary import Base, FloatArray, ResinProfile

_FIT_DEEPEST_MM = 200.0
_COARSE_CELLS = 10


@dataclass(frozen=True)
class CupHeat:
    """A cup of mixed resin left standing: working time in it, and on the piece [h].

    On the piece means spread at the label's depth. A small cup of a deep casting resin
    stays cooler than that; it is not promised a longer time for it.
    """

    working_h: float
    on_piece_h: float
    peak_c: float
    peak_at_h: float
    runaway: bool


def sooner_h(law: CureLaw, heat: PourHeat, room_c: FloatArray | float, conversion: float) -> float:
    """How many hours sooner than at room temperature a degree of cure comes, >= 0.

    Where the room alone does not reach it within `heat.at_h`, the gain within sight.
    """
    needed_h = float(master_curve(law).age_at(conversion))
    rooms_k = np.broadcast_to(kelvin(room_c), heat.at_h.shape)
    at_s = heat.at_h * 3600.0
    plain_h = equivalent_age(at_s, rooms_k, law.ref_k, law.ea_j_mol)
    warm_h = equivalent_age(at_s, rooms_k + heat.rise_c, law.ref_k, law.ea_j_mol)
    gain_h = np.interp(needed_h, plain_h, heat.at_h) - np.interp(needed_h, warm_h, heat.at_h)
    return max(float(gain_h), 0.0)


def max_depth_mm(profile: ResinProfile, base: Base, room_c: float) -> float:
    """The greatest depth [mm] whose peak stays under the resin's limit in this room.

    Poured at room temperature. 0 where the room itself is at the limit; 200 mm where no
    depth up to that reaches it. Raises ValueError for anything but a pour.
    """
    if profile.kind != "pour":
        raise ValueError(
            f"{profile.name} is no pour ({profile.kind}): a greatest depth is for pours."
        )
    check_temperatures(kelvin([room_c]), None)
    slab = slab_of(profile, 1.0, base, _COARSE_CELLS)
    # Half a kelvin of room moves the depth by less than the model is good to.
    room_k = round(2.0 * room_c) / 2.0 + ZERO_C_IN_K
    return _deepest_mm(anchored_law(profile), slab, room_k, profile.peak_limit_c + ZERO_C_IN_K)


def lifts(depth_mm: float, max_depth_mm: float) -> tuple[float, ...]:
    """A depth split into the fewest equal lifts of at most `max_depth_mm` [mm]."""
    check_depth(depth_mm)
    if not max_depth_mm > 0.0:
        raise ValueError(
            f"Greatest depth of a lift is {max_depth_mm:g} mm; expected above 0. "
            "In this room no depth is safe: cool it first."
        )
    count = max(math.ceil(depth_mm / max_depth_mm - 1e-9), 1)
    return (depth_mm / count,) * count


def cup(
    profile: ResinProfile, mass_g: float, room_c: float, pour_temp_c: float | None = None
) -> CupHeat:
    """Working time of `mass_g` left standing in its cup, against that on the piece [h].

    Raises ValueError for a mass not above 0, a temperature out of sense, or a paint.
    """
    if not (math.isfinite(mass_g) and 0.0 < mass_g <= 50_000.0):
        raise ValueError(f"Mass in the cup is {mass_g:g} g; expected above 0, up to 50000 g.")
    check_temperatures(kelvin([room_c]), pour_temp_c)
    if "working_time_end" not in profile.stages:
        raise ValueError(f"{profile.name} ({profile.kind}) has no working time in a cup.")
    start_k = (room_c if pour_temp_c is None else pour_temp_c) + ZERO_C_IN_K
    density = mixed_density(profile)
    working_h = profile.stages["working_time_end"].hours
    room = label_room(profile)
    return _cup(
        working_h,
        clock(room.at_h, room.age_h, working_h),
        anchored_law(profile),
        _cup_slab(mass_g / 1000.0, density, profile.heat_j_g * 1000.0),
        room_c + ZERO_C_IN_K,
        start_k,
    )


def _cup_slab(mass_kg: float, density_kg_m3: float, heat_j_kg: float) -> Slab:
    """A cup as high as wide (our proposal), standing on a bench that takes no heat.

    The resin's own resistance from its mean to the wall is radius / (4 k), that of a
    cylinder heated evenly.
    """
    volume_m3 = mass_kg / density_kg_m3
    width_m = (4.0 * volume_m3 / math.pi) ** (1.0 / 3.0)
    area_m2 = math.pi * width_m**2 * (1.0 + 0.25)
    plain = Slab(volume_m3 / area_m2, 0.0, 0.0, heat_j_kg, density_kg_m3)
    inside = width_m / 2.0 / (4.0 * plain.conductivity_w_m_k)
    return Slab(
        depth_m=plain.depth_m,
        bottom_w_m2_k=1.0 / (1.0 / TOP_W_M2_K + inside),
        top_w_m2_k=0.0,
        heat_j_kg=heat_j_kg,
        density_kg_m3=density_kg_m3,
        conductivity_w_m_k=math.inf,
        cells=1,
    )


@lru_cache(maxsize=256)
def _deepest_mm(law: CureLaw, slab: Slab, room_k: float, limit_k: float) -> float:
    if room_k >= limit_k:
        return 0.0
    duration_s = 3.0 * _hours_at(law, room_k, 0.7) * 3600.0

    def too_deep(depth_mm: float) -> bool:
        run = heat_up(
            replace(slab, depth_m=depth_mm / 1000.0),
            rate_of(law),
            room_k,
            room_k,
            duration_s,
            tolerance_k=0.06,
            stop_above_k=limit_k,
            stop_at_alpha=0.8,
        )
        return float(run.temp_k.max()) > limit_k

    low, high = math.log(THINNEST_MM), math.log(_FIT_DEEPEST_MM)
    if not too_deep(_FIT_DEEPEST_MM):
        return _FIT_DEEPEST_MM
    while high - low > 0.01:
        middle = (low + high) / 2.0
        if too_deep(math.exp(middle)):
            high = middle
        else:
            low = middle
    return math.exp(low)


def _hours_at(law: CureLaw, temp_k: float, conversion: float) -> float:
    age_h = float(master_curve(law).age_at(conversion))
    return age_h / float(rate_factor(temp_k, law.ref_k, law.ea_j_mol))


@lru_cache(maxsize=512)
def _cup(
    label_h: float, working_age_h: float, law: CureLaw, slab: Slab, room_k: float, start_k: float
) -> CupHeat:
    on_piece_h = label_h / float(rate_factor(room_k, law.ref_k, law.ea_j_mol))
    duration_s = 3.0 * _hours_at(law, min(room_k, start_k), 0.7) * 3600.0
    run = heat_up(slab, rate_of(law), start_k, room_k, duration_s, stop_at_alpha=0.9)
    ages_h = equivalent_age(run.at_s, run.mean_k, law.ref_k, law.ea_j_mol)
    working_h = min(float(np.interp(working_age_h, ages_h, run.at_s / 3600.0)), on_piece_h)
    peak_c, peak_at_h, runaway = peak_of(run)
    return CupHeat(working_h, on_piece_h, peak_c, peak_at_h, runaway)
