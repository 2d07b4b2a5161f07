"""Heat of a pour: how warm the resin itself gets over its room, and for how long.

The heat released follows the cure law without its diffusion limit: no later, no less heat
than true, so errors are on the safe side.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np

from monitor.core.physics.aging import GAS_CONSTANT_J_MOL_K, ZERO_C_IN_K, kelvin
from monitor.core.physics.heat import RateLaw, Slab, SlabRun, heat_up
from monitor.core.physics.kinetics import CureLaw
from monitor.core.vocabulary import Base, FloatArray, ResinProfile

# Surface coefficients [W/m2K]. Top: still air and radiation. Bottoms are our proposals:
# a wood panel and a bench shed less than air, a thick silicone mould less still, a glass
# sheet with air under it more. A base's own heat capacity is left out.
TOP_W_M2_K = 10.0
BOTTOM_W_M2_K: Mapping[Base, float] = MappingProxyType({"wood": 4.0, "silicone": 3.0, "glass": 6.0})

RUNAWAY_C = 120.0  # our proposal; between it and a benign peak there is hardly any depth
SHOWN_PEAK_C = 150.0  # above this resin smokes and cracks: no number is worth printing
THINNEST_MM = 0.05
DEEPEST_MM = 300.0
CELLS = 16
LONGEST_STEP_S = 3600.0


@dataclass(frozen=True, eq=False)
class PourHeat:
    """A pour's own heat: `at_h`, `rise_c` (n,) mean resin temperature less the room's.

    `peak_c` is the hottest spot, held at 150 degC: `peak_words` says more.
    """

    at_h: FloatArray
    rise_c: FloatArray
    peak_c: float
    peak_at_h: float
    runaway: bool


def pour_heat(
    profile: ResinProfile,
    law: CureLaw,
    depth_mm: float,
    base: Base,
    at_h: FloatArray,
    room_c: FloatArray | float,
    pour_temp_c: float | None = None,
) -> PourHeat:
    """How much warmer than its room a pour is, at each instant of `at_h`.

    Only a pour: a glue line or a line of paint gives its heat to what it lies on.

    Parameters
    ----------
    at_h
        Hours since the pour, rising, from 0, steps of any length, (n,).
    room_c
        Room temperature: constant, or at each instant, (n,).
    pour_temp_c
        Temperature of the mix when poured; the room's where not given.

    Raises ValueError where depth, base or a temperature is out of sense.
    """
    check_depth(depth_mm)
    hours = np.asarray(at_h, dtype=np.float64)
    if hours.ndim != 1 or hours.size < 2 or np.any(np.diff(hours) < 0.0) or not hours[-1] > 0.0:
        raise ValueError("Hours of a pour must be two or more, in rising order, past 0.")
    rooms_k = np.broadcast_to(kelvin(room_c), hours.shape)
    check_temperatures(rooms_k, pour_temp_c)
    if profile.kind != "pour":
        warmest = int(np.argmax(rooms_k))
        peak_c = float(rooms_k[warmest]) - ZERO_C_IN_K
        return PourHeat(hours, np.zeros(hours.shape), peak_c, float(hours[warmest]), False)
    start_k = float(rooms_k[0]) if pour_temp_c is None else pour_temp_c + ZERO_C_IN_K
    slab = slab_of(profile, depth_mm, base, CELLS)
    return _warmed(slab, law, start_k, hours.tobytes(), rooms_k.tobytes())


# Pieces poured in one sitting from one mix are one sum, not five.
@lru_cache(maxsize=16)
def _warmed(slab: Slab, law: CureLaw, start_k: float, hours: bytes, rooms_k: bytes) -> PourHeat:
    at_h, outside_k = np.frombuffer(hours), np.frombuffer(rooms_k)
    at_s = at_h * 3600.0
    run = heat_up(
        slab,
        rate_of(law),
        start_k,
        lambda s: float(np.interp(s, at_s, outside_k)),
        float(at_s[-1]),
        longest_step_s=LONGEST_STEP_S,
    )
    rise_k = np.interp(at_s, run.at_s, run.mean_k - run.room_k)
    # Hotter than shown changes no stage: the cure is then over in seconds.
    rise_c = np.minimum(rise_k, SHOWN_PEAK_C + ZERO_C_IN_K - outside_k)
    rise_c.flags.writeable = False
    peak_c, peak_at_h, runaway = peak_of(run)
    return PourHeat(at_h, rise_c, peak_c, peak_at_h, runaway)


def peak_words(peak_c: float) -> str:
    """A peak in words that no model error can make absurd: at most 'over 150 °C'."""
    if peak_c >= SHOWN_PEAK_C:
        return "over 150 °C: it smokes and cracks"
    return f"about {peak_c:.0f} °C"


def mixed_density(profile: ResinProfile) -> float:
    """Density of the mix [kg/m3] at the label's ratio, volumes added."""
    if profile.ratio_by_volume is not None:
        part_a, part_b = profile.ratio_by_volume
        mass = part_a * profile.density_a_kg_m3 + part_b * profile.density_b_kg_m3
        return mass / (part_a + part_b)
    if profile.ratio_by_weight is not None:
        part_a, part_b = profile.ratio_by_weight
        volume = part_a / profile.density_a_kg_m3 + part_b / profile.density_b_kg_m3
        return (part_a + part_b) / volume
    return (profile.density_a_kg_m3 + profile.density_b_kg_m3) / 2.0


def slab_of(profile: ResinProfile, depth_mm: float, base: Base, cells: int) -> Slab:
    if base not in BOTTOM_W_M2_K:
        raise ValueError(f"Base is {base!r}; expected one of {', '.join(BOTTOM_W_M2_K)}.")
    return Slab(
        depth_m=depth_mm / 1000.0,
        bottom_w_m2_k=BOTTOM_W_M2_K[base],
        top_w_m2_k=TOP_W_M2_K,
        heat_j_kg=profile.heat_j_g * 1000.0,
        density_kg_m3=mixed_density(profile),
        cells=cells,
    )


def rate_of(law: CureLaw) -> RateLaw:
    """`kinetics.chemical_rate` of one law, without its checks: called twice a step."""
    per_k = law.ea_j_mol / GAS_CONSTANT_J_MOL_K
    offset = per_k / law.ref_k
    k1_s, k2_s, m, n, ceiling = law.k1_s, law.k2_s, law.m, law.n, law.alpha_max

    def rate(alpha: FloatArray, temp_k: FloatArray) -> FloatArray:
        left = np.maximum(ceiling - alpha, 0.0)
        return np.asarray(np.exp(offset - per_k / temp_k) * (k1_s + k2_s * alpha**m) * left**n)

    return rate


def peak_of(run: SlabRun) -> tuple[float, float, bool]:
    peak_k, peak_s, _ = run.peak()
    peak_c = peak_k - ZERO_C_IN_K
    return min(peak_c, SHOWN_PEAK_C), peak_s / 3600.0, peak_c > RUNAWAY_C


def check_depth(depth_mm: float) -> None:
    if not (math.isfinite(depth_mm) and THINNEST_MM <= depth_mm <= DEEPEST_MM):
        raise ValueError(
            f"Depth is {depth_mm:g} mm; expected {THINNEST_MM:g} to {DEEPEST_MM:g} mm. "
            "Give the depth of this one pour."
        )


def check_temperatures(rooms_k: FloatArray, pour_temp_c: float | None) -> None:
    coldest, warmest = float(rooms_k.min()) - ZERO_C_IN_K, float(rooms_k.max()) - ZERO_C_IN_K
    if not (coldest >= -40.0 and warmest <= 80.0):
        raise ValueError(
            f"Room temperature runs from {coldest:g} to {warmest:g} °C; expected -40 to 80 °C."
        )
    if pour_temp_c is not None and not -40.0 <= pour_temp_c <= 80.0:
        raise ValueError(f"Temperature of the mix is {pour_temp_c:g} °C; expected -40 to 80 °C.")
