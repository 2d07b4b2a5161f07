"""What a pour's own heat does to its clock, and the label's with it.

A label's times were taken in a layer that warmed itself. So the resin's own speed is set
such that it meets the label's tack-free in the label's room at the label's depth.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np

from monitor.core.cure import selfheat
from monitor.core.cure.resin import anchor_hours, cure_law
from monitor.core.physics.aging import HOURS_TO_S, equivalent_age, kelvin
from monitor.core.vocabulary import FloatArray, Layer, ResinProfile

_LABEL_STEPS = 240
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
    """The label's room, from a given rise at its reference depth or from the heat model."""
    if ref_rise is not None:
        return _room(profile, np.asarray(ref_rise.at_h), np.asarray(ref_rise.rise_c))
    return _modelled(_ByValue(profile))


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
    law = cure_law(layer.resin, scale * pace, layer.hardener_ratio)
    return selfheat.pour_heat(
        layer.resin, law, depth_mm(layer), layer.base, at_h[warm], room_c[warm], layer.pour_temp_c
    )


def depth_mm(layer: Layer) -> float:
    """Depth of a layer [mm]: stated, or from volume and area, or the label's own."""
    if layer.depth_mm is not None:
        return layer.depth_mm
    if layer.volume_ml is not None and layer.area_cm2 is not None:
        return 10.0 * layer.volume_ml / layer.area_cm2
    return layer.resin.ref_depth_mm


class _ByValue:
    """A profile as a cache key: a frozen dataclass that holds a mapping has no hash."""

    def __init__(self, profile: ResinProfile) -> None:
        self.profile = profile
        self._text = repr(profile)

    def __hash__(self) -> int:
        return hash(self._text)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _ByValue) and self._text == other._text


@lru_cache(maxsize=64)
def _modelled(key: _ByValue) -> LabelRoom:
    profile = key.profile
    longest_h = max(time.hours for time in profile.stages.values())
    at_h = longest_h * np.linspace(0.0, 1.0, _LABEL_STEPS) ** 2
    if profile.kind != "pour":
        return LabelRoom(at_h, at_h, 1.0)
    scale = selfheat.anchored_time_scale(profile)
    heat = selfheat.pour_heat(
        profile,
        cure_law(profile, scale),
        profile.ref_depth_mm,
        "wood",
        at_h,
        profile.ref_temp_c,
    )
    # Its own grid is coarser than the one the scale was found on: meet the label exactly.
    return _room(profile, at_h, heat.rise_c)


def _room(profile: ResinProfile, at_h: FloatArray, rise_c: FloatArray) -> LabelRoom:
    ref_k = float(kelvin(profile.ref_temp_c))
    age_h = equivalent_age(at_h * HOURS_TO_S, ref_k + rise_c, ref_k, profile.ea_j_mol)
    anchor_h = anchor_hours(profile)
    return LabelRoom(at_h, age_h, anchor_h / clock(at_h, age_h, anchor_h))


def clock(at_h: FloatArray, age_h: FloatArray, hours: float) -> float:
    """Age by an hour; beyond the table the label's room has cooled and runs at speed 1."""
    beyond = max(hours - float(at_h[-1]), 0.0)
    return float(np.interp(hours, at_h, age_h)) + beyond
