"""What to measure out, in how many cups, and what that leaves in the bottles."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

from monitor.answers import beliefs
from monitor.core.cure import cost, mixing, shapes
from monitor.core.vocabulary import Layer, ResinProfile
from monitor.store import bottles, readings
from monitor.store.bottles import Bottle

GROUNDS = tuple(shapes.ABSORBED_ML_CM2)
SHAPES = ("rectangle", "circle", "ring", "area", "water")


@dataclass(frozen=True)
class Sketch:
    """One shape as a person gives it: `first` and `second` in cm, cm² or g of water."""

    kind: str
    first: float
    second: float | None = None
    count: int = 1


@dataclass(frozen=True)
class Mix:
    """A mix, where it goes, its parts, its cups, and its draws from the bottles."""

    need: shapes.Need
    depth_mm: float | None
    dam_holds: bool
    too_deep_mm: float | None  # the label's deepest pour, where this is deeper
    parts: mixing.Amounts
    cups: mixing.Cups
    drawn: cost.Drawn
    stocked: bool
    room_c: float


def mix(
    con: sqlite3.Connection,
    resin: ResinProfile,
    sketches: Sequence[Sketch],
    *,
    depth_mm: float | None,
    dam_mm: float | None = None,
    ground: str = "sealed",
    displaced_ml: float = 0.0,
    waste: float = 0.1,
    chosen: Sequence[int] = (),
) -> Mix:
    """The whole sheet of amounts. Raises ValueError, in words, for sizes that make no sense."""
    flat = any(sketch.kind != "water" for sketch in sketches)
    held = shapes.held_depth_mm(depth_mm, dam_mm) if flat else None
    wanted = shapes.need(
        [_place(sketch, held) for sketch in sketches],
        ground=cast(shapes.Ground, ground),
        displaced_ml=displaced_ml,
        waste=waste,
    )
    parts = mixing.amounts(resin, wanted.total_ml)
    deepest_mm = resin.max_depth_mm
    room_c = _room_c(con, resin)
    stock = stock_of(con, resin.key)
    return Mix(
        need=wanted,
        depth_mm=held,
        dam_holds=not (flat and depth_mm and dam_mm and depth_mm > dam_mm),
        too_deep_mm=deepest_mm if held and deepest_mm and held > deepest_mm else None,
        parts=parts,
        cups=mixing.cups(resin, wanted.total_ml, room_c),
        drawn=cost.draw_mix(parts.part_a_ml, parts.part_b_ml, stock, chosen),
        stocked=bool(stock),
        room_c=room_c,
    )


def parts_ml(resin: ResinProfile, total_ml: float) -> tuple[float, float]:
    """Both parts of a mix by volume. Raises ValueError where the label gives no ratio."""
    parts = mixing.amounts(resin, total_ml)
    return parts.part_a_ml, parts.part_b_ml


def grams_to_ml(resin: ResinProfile, part_a_g: float, part_b_g: float) -> tuple[float, float]:
    """Weights of both parts as volumes, by the densities."""
    return part_a_g * 1000.0 / resin.density_a_kg_m3, part_b_g * 1000.0 / resin.density_b_kg_m3


def take_from_bottles(
    con: sqlite3.Connection,
    resin_key: str,
    layer_id: int,
    a_ml: float,
    b_ml: float,
    chosen: Sequence[int],
    now_s: float,
) -> cost.Drawn:
    """Write what a started layer took. Call within a transaction."""
    drawn = cost.draw_mix(a_ml, b_ml, stock_of(con, resin_key), chosen)
    for one in drawn.draws:
        bottles.take(con, one.bottle, layer_id, one.ml, now_s)
    return drawn


def follow_size(con: sqlite3.Connection, before: Layer, after: Layer | None) -> None:
    """What a layer took from its bottles grows or shrinks as its size was corrected.

    The share left in the cups stays what it was. Nothing is touched where a size is unknown.
    Call within a transaction.
    """
    was_ml, is_ml = _size_ml(before), None if after is None else _size_ml(after)
    if was_ml is None or is_ml is None or was_ml == is_ml:
        return
    for use in bottles.uses(con, before.id):
        bottles.take(
            con, use.bottle_id, before.id, use.ml * is_ml / was_ml, before.poured_at_s
        )  # fmt: skip


def _size_ml(layer: Layer) -> float | None:
    if layer.area_cm2 and layer.depth_mm:
        return layer.area_cm2 * layer.depth_mm / 10.0
    return layer.volume_ml or None


def stock_of(con: sqlite3.Connection, resin_key: str) -> list[cost.Stock]:
    """The bottles in use of one resin, as the core counts them."""
    return [
        cost.Stock(one.id, one.part, one.held_ml, one.left_ml, one.price, one.opened_at_s)
        for one in bottles.bottles(con, resin_key, emptied=False)
    ]


def is_old(bottle: Bottle, now_s: float) -> bool:
    """Whether this bottle's hardener has been open for so long that it may have slowed."""
    return bottle.emptied_at_s is None and cost.hardener_is_old(
        bottle.part, bottle.opened_at_s, now_s
    )


def bottle_ml(resin: ResinProfile, part: str, size: float, unit: str) -> float:
    """What a bottle holds by volume, where its label may say grams. Raises ValueError."""
    if unit == "ml":
        return size
    if part == "kit":
        parts = mixing.amounts(resin, 1.0)
        return size / parts.total_g
    dense = resin.density_a_kg_m3 if part == "A" else resin.density_b_kg_m3
    return size * 1000.0 / dense


def _place(sketch: Sketch, depth_mm: float | None) -> shapes.Place:
    if sketch.kind == "water":
        return shapes.water_place(sketch.first, sketch.count)
    second = sketch.second
    if sketch.kind in ("rectangle", "ring") and second is None:
        raise ValueError(f"A {sketch.kind} needs two sizes; give the second as well.")
    if sketch.kind == "rectangle":
        area = mixing.rectangle_cm2(sketch.first, second or 0.0)
    elif sketch.kind == "ring":
        area = mixing.ring_cm2(sketch.first, second or 0.0)
    elif sketch.kind == "circle":
        area = mixing.circle_cm2(sketch.first)
    elif sketch.kind == "area":
        area = sketch.first
    else:
        raise ValueError(f"Shape is {sketch.kind!r}; expected one of {', '.join(SHAPES)}.")
    return shapes.flat_place(area, depth_mm or 0.0, sketch.count)


def _room_c(con: sqlite3.Connection, resin: ResinProfile) -> float:
    key = beliefs.first_sensor(con)
    known = {sensor.key: sensor.last_temp_c for sensor in readings.sensors(con)}
    return next(
        (temp for k, temp in known.items() if k == key and temp is not None), resin.ref_temp_c
    )
