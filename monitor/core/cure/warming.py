"""What a pour's own heat does to its clock, and the label's with it.

A label's times were taken in a layer that warmed itself. So the resin's own speed is set
such that it meets the label's tack-free in the label's room at the label's depth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Protocol

import numpy as np

from monitor.core.cure.pourheat import (
    CELLS,
    LONGEST_STEP_S,
    SHOWN_PEAK_C,
    pour_heat,
    rate_of,
    slab_of,
)
from monitor.core.cure.resin import anchor_hours, cure_law
from monitor.core.physics.aging import HOURS_TO_S, ZERO_C_IN_K, equivalent_age, kelvin
from monitor.core.physics.heat import Slab, heat_up
from monitor.core.physics.kinetics import CureLaw
from monitor.core.vocabulary import FloatArray, Layer, ResinProfile

_HALVINGS = 12
_LONGEST_WARM_H = 72.0  # a pour of any sensible depth has cooled to its room by then


class Rise(Protocol):
    """A pour's own heat: `rise_c` above the room at hours `at_h` since the pour, (n,)."""

    @property
    def at_h(self) -> FloatArray: ...

    @property
    def rise_c(self) -> FloatArray: ...

    @property
    def peak_c(self) -> float: ...

    @property
    def peak_at_h(self) -> float: ...


@dataclass(frozen=True, eq=False)
class LabelRoom:
    """The label's conditions: `age_h` (n,) that its clock gains by clock hour `at_h` (n,).

    `scale` is the resin's isothermal speed against one that needs no warmth of its own
    to meet the label; 1 for a thin film.
    """

    at_h: FloatArray
    age_h: FloatArray
    scale: float


def label_room(profile: ResinProfile, ref_rise: Rise | None = None) -> LabelRoom:
    """The label's room, from a given rise at its reference depth or from the heat model.

    Thin films and all but pours give their heat away: their clock is the wall's.
    """
    anchor_h = anchor_hours(profile)
    if ref_rise is not None:
        at_h, ref_k = np.asarray(ref_rise.at_h), float(kelvin(profile.ref_temp_c))
        resin_k = ref_k + np.asarray(ref_rise.rise_c)
        return _met(
            at_h, equivalent_age(at_h * HOURS_TO_S, resin_k, ref_k, profile.ea_j_mol), anchor_h
        )
    longest_h = max(anchor_h, *(time.hours for time in profile.stages.values()))
    if profile.kind != "pour":
        at_h = np.array([0.0, longest_h])
        return LabelRoom(at_h, at_h, 1.0)
    slab = slab_of(profile, profile.ref_depth_mm, "wood", CELLS)
    return _anchored(cure_law(profile), anchor_h, longest_h, slab)


def anchored_law(profile: ResinProfile, hardener_ratio: float = 1.0) -> CureLaw:
    """The law of cure proper, without the warmth of the label's reference layer.

    Law and warmth together are tack-free when the label says, at the label's depth.
    """
    return cure_law(profile, label_room(profile).scale, hardener_ratio)


def own_rise(
    layer: Layer, scale: float, pace: float, at_h: FloatArray, room_c: FloatArray
) -> Rise | None:
    """The layer's own heat on one room history; None where it has none worth the name.

    `pace` is the resin's learned speed. Only a pour warms itself; one of unknown depth is
    taken to be as deep as the label assumes.
    """
    if layer.resin.kind != "pour":
        return None
    warm = at_h <= max(_LONGEST_WARM_H, 3.0 * anchor_hours(layer.resin))
    if np.count_nonzero(warm) < 2:
        return None  # poured years ago: one interval of its line outlasts its warmth
    law = cure_law(layer.resin, scale * pace, layer.hardener_ratio)
    return pour_heat(
        layer.resin, law, depth_mm(layer), layer.base, at_h[warm], room_c[warm], layer.pour_temp_c
    )


def depth_mm(layer: Layer) -> float:
    """Depth of a layer [mm]: stated, or from volume and area, or the label's own."""
    if layer.depth_mm is not None:
        return layer.depth_mm
    if layer.volume_ml is not None and layer.area_cm2 is not None:
        return 10.0 * layer.volume_ml / layer.area_cm2
    return layer.resin.ref_depth_mm


@lru_cache(maxsize=64)
def _anchored(law: CureLaw, anchor_h: float, longest_h: float, slab: Slab) -> LabelRoom:
    """Solves scale x mean speed-up by own warmth = 1; the product rises with the scale."""

    def aged(scale: float, duration_h: float) -> tuple[FloatArray, FloatArray]:
        run = heat_up(
            slab,
            rate_of(replace(law, k1_s=law.k1_s * scale, k2_s=law.k2_s * scale)),
            law.ref_k,
            law.ref_k,
            duration_h * HOURS_TO_S,
            longest_step_s=LONGEST_STEP_S,
        )
        resin_k = np.minimum(run.mean_k, SHOWN_PEAK_C + ZERO_C_IN_K)
        return run.at_s / HOURS_TO_S, equivalent_age(run.at_s, resin_k, law.ref_k, law.ea_j_mol)

    low, high = 0.01, 1.0
    for _ in range(_HALVINGS):
        scale = math.sqrt(low * high)
        if scale * float(aged(scale, anchor_h)[1][-1]) > anchor_h:
            high = scale
        else:
            low = scale
    return _met(*aged(math.sqrt(low * high), longest_h), anchor_h)


def _met(at_h: FloatArray, age_h: FloatArray, anchor_h: float) -> LabelRoom:
    """The room whose clock meets the label at its anchor stage to the last place."""
    return LabelRoom(at_h, age_h, anchor_h / clock(at_h, age_h, anchor_h))


def clock(at_h: FloatArray, age_h: FloatArray, hours: float) -> float:
    """Age by an hour; beyond the table the label's room has cooled and runs at speed 1."""
    beyond = max(hours - float(at_h[-1]), 0.0)
    return float(np.interp(hours, at_h, age_h)) + beyond
