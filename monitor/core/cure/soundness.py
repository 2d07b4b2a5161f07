"""Is a layer fit to be thought about: its own numbers, and every stage its kind has."""

from __future__ import annotations

import math
from dataclasses import replace

from monitor.core.cure.resin import faults, with_defaults
from monitor.core.cure.selfheat import DEEPEST_MM
from monitor.core.cure.warming import depth_mm
from monitor.core.vocabulary import STAGES, Layer


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
    if not wrong and layer.resin.kind == "pour" and depth_mm(layer) > DEEPEST_MM:
        wrong.append(f"the depth comes to {depth_mm(layer):.0f} mm; check volume and area")
    wrong += [f"resin {layer.resin.name}: {fault}" for fault in faults(layer.resin)]
    if wrong:
        raise ValueError(f"Layer {layer.name}: " + "; ".join(wrong) + ".")
