"""Is a layer fit to be thought about: its own numbers, its room's, and its resin's speed."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from monitor.core.cure.pourheat import DEEPEST_MM, THINNEST_MM
from monitor.core.cure.resin import faults, with_defaults
from monitor.core.cure.warming import depth_mm
from monitor.core.vocabulary import STAGES, FloatArray, Layer, RateDraws, RoomPaths, RoomSeries

COLDEST_C, HOTTEST_C = -40.0, 80.0  # what a room sensor can measure
MOST_LOG_RATE = 4.0  # fifty times the label's speed, or a fiftieth
HIGHEST_ENERGY_J_MOL = 300_000.0


def completed(layer: Layer) -> Layer:
    """The layer with every stage its kind has: what a profile omits is common practice."""
    profile = layer.resin
    if all(key in profile.stages for key in STAGES[profile.kind]):
        return layer
    stages = with_defaults(profile.kind, profile.stages)
    return replace(layer, resin=replace(profile, stages=stages))


def check(layer: Layer) -> None:
    """Raise ValueError that lists every number of the layer that makes no sense."""
    wrong = []
    for name, unit in (
        ("depth_mm", "mm"),
        ("area_cm2", "cm²"),
        ("volume_ml", "ml"),
        ("hardener_ratio", ""),
    ):
        value = getattr(layer, name)
        if value is not None and not (math.isfinite(value) and value > 0.0):
            wrong.append(f"{name} is {value:g} {unit}".rstrip() + "; it must be above 0")
    if layer.pour_temp_c is not None and not -10.0 <= layer.pour_temp_c <= 80.0:
        wrong.append(f"pour_temp_c is {layer.pour_temp_c:g} °C; expected -10 to 80 °C")
    if not math.isfinite(layer.poured_at_s):
        wrong.append("poured_at_s is not a time")
    if not wrong and layer.resin.kind == "pour":
        deep_mm = depth_mm(layer)
        if not THINNEST_MM <= deep_mm <= DEEPEST_MM:
            wrong.append(
                f"the depth comes to {deep_mm:.3g} mm; expected {THINNEST_MM:g} to "
                f"{DEEPEST_MM:g} mm: check depth, volume and area"
            )
    wrong += [f"resin {layer.resin.name}: {fault}" for fault in faults(layer.resin)]
    if wrong:
        raise ValueError(f"Layer {layer.name}: " + "; ".join(wrong) + ".")


def believable(past: RoomSeries) -> RoomSeries:
    """The readings that a room can have given; a humidity that it cannot counts as unknown.

    What is left out is a gap, and widens the answer as any gap does.
    """
    kept = np.isfinite(past.at_s) & (past.temp_c >= COLDEST_C) & (past.temp_c <= HOTTEST_C)
    damp = past.humidity_pct[kept]
    damp = np.where((damp >= 0.0) & (damp <= 100.0), damp, np.nan)
    return RoomSeries(past.at_s[kept], past.temp_c[kept], damp, past.dropped)


def check_forecast(future: RoomPaths) -> None:
    """Raise ValueError where a forecast holds what no room can be."""
    for name, values, low, high, unit in (
        ("temperature", future.temp_c, COLDEST_C, HOTTEST_C, "°C"),
        ("humidity", future.humidity_pct, 0.0, 100.0, "%"),
    ):
        if values.size and not _within(values, low, high):
            raise ValueError(
                f"The room forecast's {name} runs from {values.min():g} to {values.max():g} "
                f"{unit}; expected numbers from {low:g} to {high:g} {unit}. Make it again."
            )


def check_draws(draws: RateDraws) -> None:
    """Raise ValueError where the draws of a resin's speed are none, unpaired or absurd."""
    if not draws.log_rate.size or draws.log_rate.shape != draws.ea_j_mol.shape:
        raise ValueError(
            f"Draws of the resin's speed: {draws.log_rate.size} rates and {draws.ea_j_mol.size} "
            "energies; give at least one, and as many of each."
        )
    if not _within(draws.log_rate, -MOST_LOG_RATE, MOST_LOG_RATE):
        raise ValueError(
            f"Draws of the resin's speed run from {draws.log_rate.min():g} to "
            f"{draws.log_rate.max():g} in logarithm; expected within {MOST_LOG_RATE:g} of 0."
        )
    if not _within(draws.ea_j_mol, 0.0, HIGHEST_ENERGY_J_MOL):
        raise ValueError(
            f"Draws of the activation energy run from {draws.ea_j_mol.min():g} to "
            f"{draws.ea_j_mol.max():g} J/mol; expected 0 to {HIGHEST_ENERGY_J_MOL:g} J/mol."
        )


def _within(values: FloatArray, low: float, high: float) -> bool:
    """False too where a value is not a number."""
    return bool(np.all((values >= low) & (values <= high)))
