"""Two cures on one axis: hours since the pour, or hours at the label's temperature."""

from __future__ import annotations

from dataclasses import dataclass

from monitor.core.physics.aging import ZERO_C_IN_K, equivalent_age
from monitor.core.vocabulary import FloatArray, Layer, Outlook


@dataclass(frozen=True)
class CureRun:
    """One layer's cure, all (n,): hours since the pour, equivalent hours, per cent, Celsius."""

    since_h: FloatArray
    age_h: FloatArray
    cured_pct: FloatArray
    resin_c: FloatArray


def cure_run(layer: Layer, outlook: Outlook) -> CureRun | None:
    """The curve of one layer from its pour on; None where it has none (paint)."""
    curve = outlook.curve
    if curve is None or len(curve.at_s) < 2:
        return None
    age_h = equivalent_age(
        curve.at_s,
        curve.resin_c + ZERO_C_IN_K,
        layer.resin.ref_temp_c + ZERO_C_IN_K,
        layer.resin.ea_j_mol,
    )
    return CureRun(
        since_h=(curve.at_s - layer.poured_at_s) / 3600.0,
        age_h=age_h,
        cured_pct=curve.degree_of_cure * 100.0,
        resin_c=curve.resin_c,
    )
