"""Heat of a pour and of a cup: how warm the resin itself gets, and what follows.

A pour thicker than a film does not follow the room: its own heat warms it, so stages come
sooner, and past some depth it runs away. The heat released follows the cure law without
its diffusion limit: no later, no less heat than true, so errors are on the safe side.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from types import MappingProxyType

import numpy as np

from monitor.core.cure.resin import anchor_hours, cure_law
from monitor.core.physics.aging import (
    GAS_CONSTANT_J_MOL_K,
    ZERO_C_IN_K,
    equivalent_age,
    kelvin,
    rate_factor,
)
from monitor.core.physics.heat import RateLaw, Slab, SlabRun, heat_up
from monitor.core.physics.kinetics import CureLaw
from monitor.core.physics.master import master_curve
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
_FIT_DEEPEST_MM = 200.0
_CELLS = 16
_COARSE_CELLS = 10
_LONGEST_STEP_S = 3600.0
_HALVINGS = 12


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


@dataclass(frozen=True)
class CupHeat:
    """A cup of mixed resin left standing: working time in it, and on the piece [h].

    On the piece means spread at the label's depth. A small cup of a deep casting resin
    stays cooler than that, and keeps longer.
    """

    working_h: float
    on_piece_h: float
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
    _check_depth(depth_mm)
    hours = np.asarray(at_h, dtype=np.float64)
    if hours.ndim != 1 or hours.size < 2 or np.any(np.diff(hours) < 0.0) or not hours[-1] > 0.0:
        raise ValueError("Hours of a pour must be two or more, in rising order, past 0.")
    rooms_k = np.broadcast_to(kelvin(room_c), hours.shape)
    _check_temperatures(rooms_k, pour_temp_c)
    if profile.kind != "pour":
        warmest = int(np.argmax(rooms_k))
        peak_c = float(rooms_k[warmest]) - ZERO_C_IN_K
        return PourHeat(hours, np.zeros(hours.shape), peak_c, float(hours[warmest]), False)
    at_s = hours * 3600.0
    start_k = float(rooms_k[0]) if pour_temp_c is None else pour_temp_c + ZERO_C_IN_K
    run = heat_up(
        _slab(profile, depth_mm, base, _CELLS),
        _rate(law),
        start_k,
        lambda s: float(np.interp(s, at_s, rooms_k)),
        float(at_s[-1]),
        longest_step_s=_LONGEST_STEP_S,
    )
    rise_k = np.interp(at_s, run.at_s, run.mean_k - run.room_k)
    # Hotter than shown changes no stage: the cure is then over in seconds.
    rise_c = np.minimum(rise_k, SHOWN_PEAK_C + ZERO_C_IN_K - rooms_k)
    peak_c, peak_at_h, runaway = _peak(run)
    return PourHeat(hours, rise_c, peak_c, peak_at_h, runaway)


def peak_words(peak_c: float) -> str:
    """A peak in words that no model error can make absurd: at most 'over 150 °C'."""
    if peak_c >= SHOWN_PEAK_C:
        return "over 150 °C: it smokes and cracks"
    return f"about {peak_c:.0f} °C"


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


def anchored_time_scale(profile: ResinProfile) -> float:
    """The `time_scale` of `resin.cure_law` that makes the label true at the label's depth.

    The label was measured on a layer that warmed itself; the law proper is slower by as
    much, so that law and warmth together are tack-free when the label says. At most 1;
    1 for an adhesive, which gives its heat to the parts it joins.
    """
    if profile.kind != "pour":
        return 1.0
    return _anchored(
        cure_law(profile),
        anchor_hours(profile),
        _slab(profile, profile.ref_depth_mm, "wood", _CELLS),
    )


def anchored_law(profile: ResinProfile, hardener_ratio: float = 1.0) -> CureLaw:
    """The law of cure proper, without the warmth of the label's reference layer."""
    return cure_law(profile, anchored_time_scale(profile), hardener_ratio)


def reference_heat(profile: ResinProfile) -> PourHeat:
    """The warmth of the label's own layer: reference depth and temperature, on wood."""
    at_h = _label_grid(anchor_hours(profile))
    return pour_heat(
        profile,
        anchored_law(profile),
        profile.ref_depth_mm,
        "wood",
        at_h,
        profile.ref_temp_c,
    )


def max_depth_mm(profile: ResinProfile, base: Base, room_c: float) -> float:
    """The greatest depth [mm] whose peak stays under the resin's limit in this room.

    Poured at room temperature. 0 where the room itself is at the limit; 200 mm where no
    depth up to that reaches it. Raises ValueError for anything but a pour.
    """
    if profile.kind != "pour":
        raise ValueError(
            f"{profile.name} is no pour ({profile.kind}): a greatest depth is for pours."
        )
    _check_temperatures(kelvin([room_c]), None)
    slab = _slab(profile, 1.0, base, _COARSE_CELLS)
    # Half a kelvin of room moves the depth by less than the model is good to.
    room_k = round(2.0 * room_c) / 2.0 + ZERO_C_IN_K
    return _deepest_mm(anchored_law(profile), slab, room_k, profile.peak_limit_c + ZERO_C_IN_K)


def lifts(depth_mm: float, max_depth_mm: float) -> tuple[float, ...]:
    """A depth split into the fewest equal lifts of at most `max_depth_mm` [mm]."""
    _check_depth(depth_mm)
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
    _check_temperatures(kelvin([room_c]), pour_temp_c)
    if "working_time_end" not in profile.stages:
        raise ValueError(f"{profile.name} ({profile.kind}) has no working time in a cup.")
    start_k = (room_c if pour_temp_c is None else pour_temp_c) + ZERO_C_IN_K
    density = mixed_density(profile)
    return _cup(
        profile.stages["working_time_end"].hours,
        _working_age_h(profile),
        anchored_law(profile),
        _cup_slab(mass_g / 1000.0, density, profile.heat_j_g * 1000.0),
        room_c + ZERO_C_IN_K,
        start_k,
    )


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


def _rate(law: CureLaw) -> RateLaw:
    """`kinetics.chemical_rate` of one law, without its checks: called twice a step."""
    per_k = law.ea_j_mol / GAS_CONSTANT_J_MOL_K
    offset = per_k / law.ref_k
    k1_s, k2_s, m, n, ceiling = law.k1_s, law.k2_s, law.m, law.n, law.alpha_max

    def rate(alpha: FloatArray, temp_k: FloatArray) -> FloatArray:
        left = np.maximum(ceiling - alpha, 0.0)
        return np.asarray(np.exp(offset - per_k / temp_k) * (k1_s + k2_s * alpha**m) * left**n)

    return rate


def _slab(profile: ResinProfile, depth_mm: float, base: Base, cells: int) -> Slab:
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


def _label_grid(hours: float) -> FloatArray:
    return np.asarray(hours * np.linspace(0.0, 1.0, 161) ** 1.5)


@lru_cache(maxsize=64)
def _anchored(law: CureLaw, label_h: float, slab: Slab) -> float:
    """Solves scale x mean speed-up by own warmth = 1; the product rises with the scale."""
    low, high = 0.01, 1.0
    for _ in range(_HALVINGS):
        scale = math.sqrt(low * high)
        run = heat_up(slab, _rate(_scaled(law, scale)), law.ref_k, law.ref_k, label_h * 3600.0)
        age_h = equivalent_age(run.at_s, run.mean_k, law.ref_k, law.ea_j_mol)[-1]
        if scale * float(age_h) > label_h:
            high = scale
        else:
            low = scale
    return math.sqrt(low * high)


def _scaled(law: CureLaw, scale: float) -> CureLaw:
    return replace(law, k1_s=law.k1_s * scale, k2_s=law.k2_s * scale)


def _working_age_h(profile: ResinProfile) -> float:
    """Equivalent age [h] at which the label's layer, warmed by itself, ends its working time."""
    heat = reference_heat(profile)
    ages_h = equivalent_age(
        heat.at_h * 3600.0,
        kelvin(profile.ref_temp_c + heat.rise_c),
        profile.ref_temp_c + ZERO_C_IN_K,
        profile.ea_j_mol,
    )
    return float(np.interp(profile.stages["working_time_end"].hours, heat.at_h, ages_h))


@lru_cache(maxsize=256)
def _deepest_mm(law: CureLaw, slab: Slab, room_k: float, limit_k: float) -> float:
    if room_k >= limit_k:
        return 0.0
    duration_s = 3.0 * _hours_at(law, room_k, 0.7) * 3600.0

    def too_deep(depth_mm: float) -> bool:
        run = heat_up(
            replace(slab, depth_m=depth_mm / 1000.0),
            _rate(law),
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
    run = heat_up(slab, _rate(law), start_k, room_k, duration_s, stop_at_alpha=0.9)
    ages_h = equivalent_age(run.at_s, run.mean_k, law.ref_k, law.ea_j_mol)
    working_h = float(np.interp(working_age_h, ages_h, run.at_s / 3600.0))
    peak_c, peak_at_h, runaway = _peak(run)
    return CupHeat(working_h, on_piece_h, peak_c, peak_at_h, runaway)


def _peak(run: SlabRun) -> tuple[float, float, bool]:
    peak_k, peak_s, _ = run.peak()
    peak_c = peak_k - ZERO_C_IN_K
    return min(peak_c, SHOWN_PEAK_C), peak_s / 3600.0, peak_c > RUNAWAY_C


def _check_depth(depth_mm: float) -> None:
    if not (math.isfinite(depth_mm) and THINNEST_MM <= depth_mm <= DEEPEST_MM):
        raise ValueError(
            f"Depth is {depth_mm:g} mm; expected {THINNEST_MM:g} to {DEEPEST_MM:g} mm. "
            "Give the depth of this one pour."
        )


def _check_temperatures(rooms_k: FloatArray, pour_temp_c: float | None) -> None:
    coldest, warmest = float(rooms_k.min()) - ZERO_C_IN_K, float(rooms_k.max()) - ZERO_C_IN_K
    if not (coldest >= -30.0 and warmest <= 80.0):
        raise ValueError(
            f"Room temperature runs from {coldest:g} to {warmest:g} °C; expected -30 to 80 °C."
        )
    if pour_temp_c is not None and not -30.0 <= pour_temp_c <= 80.0:
        raise ValueError(f"Temperature of the mix is {pour_temp_c:g} °C; expected -30 to 80 °C.")
