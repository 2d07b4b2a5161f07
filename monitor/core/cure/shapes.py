"""How much a layer takes: areas and depths, a dam, inlays, what the ground drinks, the waste."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from monitor.core.cure.mixing import with_waste

Ground = Literal["sealed", "bare", "thirsty"]

# Drunk by the surface under the first layer [ml/cm²]. Common practice, no published
# source: a first coat on planed wood disappears as if it were a tenth of a millimetre
# thinner, on end grain or open, soft wood about three times that.
ABSORBED_ML_CM2: Mapping[Ground, float] = MappingProxyType(
    {"sealed": 0.0, "bare": 0.010, "thirsty": 0.030}
)
WATER_G_ML = 0.9982  # density of water at 20 °C, tabulated (CRC Handbook; PTB)
MOST_PLACES = 500


@dataclass(frozen=True)
class Place:
    """`count` equal places to fill, each of `volume_ml`; area 0 where only volume is known."""

    volume_ml: float
    area_cm2: float = 0.0
    count: int = 1


@dataclass(frozen=True)
class Need:
    """What to mix and where it goes [ml]; `depth_mm` is the mean over the area."""

    area_cm2: float
    fill_ml: float
    absorbed_ml: float
    wasted_ml: float

    @property
    def total_ml(self) -> float:
        """What to mix."""
        return self.fill_ml + self.absorbed_ml + self.wasted_ml

    @property
    def depth_mm(self) -> float | None:
        """Mean depth of the fill, None without an area."""
        return self.fill_ml / self.area_cm2 * 10.0 if self.area_cm2 > 0.0 else None


def held_depth_mm(depth_mm: float | None, dam_mm: float | None) -> float:
    """The depth that stays on: the one wished for, at most the dam's height.

    The dam's height where no depth is wished for. Raises ValueError where neither is given.
    """
    known = [
        _above_zero(name, value, "mm")
        for name, value in (("Depth", depth_mm), ("Dam height", dam_mm))
        if value is not None
    ]
    if not known:
        raise ValueError("Depth and dam height are both empty; give one of them in mm.")
    return min(known)


def flat_place(area_cm2: float, depth_mm: float, count: int = 1) -> Place:
    """Places of even depth."""
    area = _above_zero("Area", area_cm2, "cm²")
    return Place(area * _above_zero("Depth", depth_mm, "mm") / 10.0, area, _counted(count))


def water_place(water_g: float, count: int = 1, area_cm2: float = 0.0) -> Place:
    """A place of any form, by the water [g, at room temperature] that fills it."""
    volume_ml = _above_zero("Weight of the water", water_g, "g") / WATER_G_ML
    return Place(volume_ml, area_cm2, _counted(count))


def need(
    places: Sequence[Place],
    *,
    ground: Ground = "sealed",
    displaced_ml: float = 0.0,
    waste: float = 0.0,
) -> Need:
    """What to mix for these places.

    Parameters
    ----------
    ground
        What lies under the layer, and so what it drinks per area.
    displaced_ml
        Volume of all inlays that stand in the resin [ml], taken off the fill.
    waste
        Share of the mix left in cups and on sticks (0.1 is 10 %).

    Raises ValueError, in words, for sizes that make no sense.
    """
    if not places:
        raise ValueError("There is nothing to fill; give at least one shape.")
    area = math.fsum(place.area_cm2 * place.count for place in places)
    gross = math.fsum(place.volume_ml * place.count for place in places)
    if not (math.isfinite(displaced_ml) and 0.0 <= displaced_ml < gross):
        raise ValueError(
            f"Inlays displace {displaced_ml:g} ml; expected 0 up to less than the "
            f"{gross:.1f} ml of the place itself."
        )
    if ground not in ABSORBED_ML_CM2:
        raise ValueError(f"Ground is {ground!r}; expected one of {', '.join(ABSORBED_ML_CM2)}.")
    fill, absorbed = gross - displaced_ml, area * ABSORBED_ML_CM2[ground]
    return Need(area, fill, absorbed, with_waste(fill + absorbed, waste) - fill - absorbed)


def _counted(count: int) -> int:
    if not 1 <= count <= MOST_PLACES:
        raise ValueError(f"Number of pieces is {count}; expected 1 to {MOST_PLACES}.")
    return count


def _above_zero(name: str, value: float, unit: str) -> float:
    if not (math.isfinite(value) and value > 0.0):
        raise ValueError(f"{name} is {value:g} {unit}; expected above 0.")
    return value
