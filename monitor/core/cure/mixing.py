"""How much to mix, in what ratio, in how many cups; and what a wrong ratio costs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from monitor.core.cure.selfheat import cup, mixed_density
from monitor.core.physics.network import (
    gel_conversion,
    glass_transition_loss_k,
    limiting_conversion,
    network,
)
from monitor.core.vocabulary import ResinProfile

Unit = Literal["ml", "g"]
Verdict = Literal["fine", "soft", "scrape off and start again"]

# Where a wrong ratio starts to show, and where the piece is lost: our proposals, since
# the loss of glass transition itself is good to 30 % only.
FINE_LOSS_K = 8.0
LOST_LOSS_K = 40.0
LOST_SOL = 0.05

CUP_SHARE = 0.80  # of the working time on the piece that a cup must keep; our proposal
LARGEST_CUP_ML = 1_000.0  # what a hand stirs well; common practice, no published source
SMALLEST_CUP_ML = 20.0
MOST_CUPS = 200


@dataclass(frozen=True)
class Amounts:
    """What to measure out of the two parts: resin (A) and hardener (B)."""

    part_a_ml: float
    part_b_ml: float
    part_a_g: float
    part_b_g: float

    @property
    def total_ml(self) -> float:
        """Both parts together [ml], volumes added."""
        return self.part_a_ml + self.part_b_ml

    @property
    def total_g(self) -> float:
        """Both parts together [g]."""
        return self.part_a_g + self.part_b_g


@dataclass(frozen=True)
class OffRatio:
    """What a wrong ratio costs: final glass transition, ceiling of cure, unbound share."""

    final_tg_loss_c: float
    ceiling: float
    sol_fraction: float
    verdict: Verdict
    words: str


@dataclass(frozen=True)
class Cups:
    """Equal cups of `each_ml`, and the working time in one of them [h]."""

    count: int
    each_ml: float
    working_h: float
    on_piece_h: float


def rectangle_cm2(length_cm: float, width_cm: float) -> float:
    """Area of a rectangle."""
    return _above_zero("Length", length_cm, "cm") * _above_zero("Width", width_cm, "cm")


def circle_cm2(diameter_cm: float) -> float:
    """Area of a circle."""
    return math.pi / 4.0 * _above_zero("Diameter", diameter_cm, "cm") ** 2


def ring_cm2(outer_cm: float, inner_cm: float) -> float:
    """Area between two circles, by their diameters."""
    _above_zero("Inner diameter", inner_cm, "cm")
    if not outer_cm > inner_cm:
        raise ValueError(
            f"Outer diameter {outer_cm:g} cm is not above the inner {inner_cm:g} cm; swap them."
        )
    return circle_cm2(outer_cm) - circle_cm2(inner_cm)


def pour_volume_ml(area_cm2: float, depth_mm: float, waste: float = 0.0) -> float:
    """Volume to mix for an area and a depth; `waste` is the share left in cups (0.1 = 10 %)."""
    area = _above_zero("Area", area_cm2, "cm²")
    return with_waste(area * _above_zero("Depth", depth_mm, "mm") / 10.0, waste)


def with_waste(volume_ml: float, waste: float) -> float:
    """Volume to mix so that `volume_ml` remains after a share `waste` stays in the cups."""
    if not 0.0 <= waste < 0.9:
        raise ValueError(f"Waste is {waste:g}; expected a share from 0 to 0.9 (0.1 is 10 %).")
    return _above_zero("Volume", volume_ml, "ml") / (1.0 - waste)


def amounts(profile: ResinProfile, total_ml: float, by: Unit | None = None) -> Amounts:
    """The two parts of `total_ml` of mix, by the label's ratio.

    `by` says which of the label's ratios to keep, by volume ("ml") or by weight ("g");
    by volume where the label gives both and nothing is said. Volumes are added.
    """
    _above_zero("Volume", total_ml, "ml")
    part_a, part_b = _volume_ratio(profile, by)
    a_ml, b_ml = total_ml * part_a / (part_a + part_b), total_ml * part_b / (part_a + part_b)
    return Amounts(
        a_ml,
        b_ml,
        a_ml * profile.density_a_kg_m3 / 1000.0,
        b_ml * profile.density_b_kg_m3 / 1000.0,
    )


def ratio_error(profile: ResinProfile, part_a: float, part_b: float, unit: Unit) -> float:
    """Hardener used over hardener the label asks for, 1 is right.

    `part_a`, `part_b` as measured, in `unit`; judged by the label's ratio in that unit,
    or by the other one and the densities where the label gives no such ratio.
    """
    name = "Volume" if unit == "ml" else "Weight"
    _above_zero(f"{name} of part A", part_a, unit)
    _above_zero(f"{name} of part B", part_b, unit)
    label_a, label_b = _label_ratio(profile, unit)
    return (part_b / part_a) / (label_b / label_a)


def ratio_spread(
    profile: ResinProfile, part_a: float, part_b: float, unit: Unit, error: float
) -> tuple[float, float]:
    """Lowest and highest ratio error if each part is off by up to `error` (a scale's step)."""
    if not 0.0 <= error < min(part_a, part_b):
        raise ValueError(
            f"Measuring error is {error:g} {unit}; expected 0 up to less than the smaller part, "
            f"{min(part_a, part_b):g} {unit}. Use a finer scale or mix more."
        )
    return (
        ratio_error(profile, part_a + error, part_b - error, unit),
        ratio_error(profile, part_a - error, part_b + error, unit),
    )


def off_ratio(ratio: float) -> OffRatio:
    """What a hardener ratio of `ratio` times the label's costs, and what to do.

    Flory-Stockmayer and Macosko-Miller network, A4 + B2, the label's ratio taken as
    balanced. Raises ValueError where the ratio is not above 0.
    """
    ceiling = limiting_conversion(ratio)
    sol = network(ratio, ceiling).sol
    loss_k = glass_transition_loss_k(ratio)
    missing = "hardener" if ratio < 1.0 else "resin"
    if gel_conversion(ratio) is None:
        words = f"It never sets: far too little {missing}. Scrape it off and start again."
        return OffRatio(loss_k, ceiling, sol, "scrape off and start again", words)
    if loss_k > LOST_LOSS_K or sol > LOST_SOL:
        words = f"It stays soft or sticky: much too little {missing}. Scrape off and start again."
        return OffRatio(loss_k, ceiling, sol, "scrape off and start again", words)
    if loss_k > FINE_LOSS_K:
        words = (
            f"It sets, but softens about {loss_k:.0f} °C sooner in the warm: too little {missing}."
        )
        return OffRatio(loss_k, ceiling, sol, "soft", words)
    return OffRatio(loss_k, ceiling, sol, "fine", "Close enough to the label's ratio.")


def cups(profile: ResinProfile, total_ml: float, room_c: float, share: float = CUP_SHARE) -> Cups:
    """Equal cups, as few as may be, none of which heats itself past its working time.

    A cup is small enough while it keeps `share` of the working time on the piece. Mixed
    at room temperature; the smallest cup is 20 ml, warm room or not.
    """
    _above_zero("Volume", total_ml, "ml")
    if not 0.0 < share <= 1.0:
        raise ValueError(f"Share of the working time is {share:g}; expected above 0, up to 1.")
    density_g_ml = mixed_density(profile) / 1000.0

    def keeps(volume_ml: float) -> bool:
        heat = cup(profile, volume_ml * density_g_ml, room_c)
        return heat.working_h >= share * heat.on_piece_h

    low, high = SMALLEST_CUP_ML, min(LARGEST_CUP_ML, max(total_ml, SMALLEST_CUP_ML))
    if keeps(high):
        low = high
    while high / low > 1.05:
        middle = math.sqrt(low * high)
        if keeps(middle):
            low = middle
        else:
            high = middle
    count = math.ceil(total_ml / low - 1e-9)
    if count > MOST_CUPS:
        raise ValueError(
            f"{total_ml:g} ml would take {count} cups; expected at most {MOST_CUPS}. "
            "Pour it in several lifts."
        )
    heat = cup(profile, total_ml / count * density_g_ml, room_c)
    return Cups(count, total_ml / count, heat.working_h, heat.on_piece_h)


def _volume_ratio(profile: ResinProfile, by: Unit | None) -> tuple[float, float]:
    if by is None:
        by = "ml" if profile.ratio_by_volume is not None else "g"
    part_a, part_b = _label_ratio(profile, by)
    if by == "g":
        return part_a / profile.density_a_kg_m3, part_b / profile.density_b_kg_m3
    return part_a, part_b


def _label_ratio(profile: ResinProfile, unit: Unit) -> tuple[float, float]:
    """The label's ratio in this unit, carried over by the densities where it is not stated."""
    if unit not in ("ml", "g"):
        raise ValueError(f"Unit is {unit!r}; expected 'ml' or 'g'.")
    dense_a, dense_b = profile.density_a_kg_m3, profile.density_b_kg_m3
    _above_zero("Density of part A", dense_a, "kg/m³")
    _above_zero("Density of part B", dense_b, "kg/m³")
    volume, weight = profile.ratio_by_volume, profile.ratio_by_weight
    if unit == "ml":
        ratio = volume or (weight and (weight[0] / dense_a, weight[1] / dense_b))
    else:
        ratio = weight or (volume and (volume[0] * dense_a, volume[1] * dense_b))
    if not ratio:
        raise ValueError(f"{profile.name} states no mixing ratio; enter the one on its label.")
    if not all(math.isfinite(part) and part > 0.0 for part in ratio):
        raise ValueError(
            f"Mixing ratio {ratio[0]:g}:{ratio[1]:g} of {profile.name} is not above 0 in both "
            "parts; correct it against the label."
        )
    return ratio


def _above_zero(name: str, value: float, unit: str) -> float:
    if not (math.isfinite(value) and value > 0.0):
        raise ValueError(f"{name} is {value:g} {unit}; expected above 0.")
    return value
