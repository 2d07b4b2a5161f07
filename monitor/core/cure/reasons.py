"""The why of an outlook, in plain words: what moves a stage, and what to know besides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.core.cure.bands import Band
from monitor.core.cure.label import LabelClock
from monitor.core.cure.remedy import Stall
from monitor.core.cure.roomline import HOUR_S, RoomLine
from monitor.core.cure.stages import ANCHOR, Span
from monitor.core.cure.states_of_cure import hard_undercured_words, still_soft_words
from monitor.core.cure.surface import AFTERCARE
from monitor.core.physics.kinetics import CureLaw
from monitor.core.physics.network import gel_conversion, glass_transition_loss_k
from monitor.core.vocabulary import (
    CureState,
    FloatArray,
    Layer,
    RateDraws,
    StageOutlook,
    SurfaceRisk,
)

RATIO_NOTED = 0.03  # mixing tolerance of the trade, common practice, no published source
RATIO_LOST = 0.20
_WORTH_SAYING_K = 0.5
_JUST_BELOW_K = 0.5  # the sensor's own uncertainty
_SELF_HEAT_WORTH_SAYING_K = 1.0


@dataclass(frozen=True, eq=False)
class Told:
    """What the words draw on; `resin_c` per interval of the middle path."""

    layer: Layer
    clock: LabelClock
    line: RoomLine
    resin_c: FloatArray
    draws: RateDraws
    room_c: float
    stopped: Stall | None
    law: CureLaw | None
    observed: tuple[Span, ...]


def stage_why(told: Told, key: str, band: Band) -> str:
    """Why this stage comes when it does, or does not."""
    profile = told.layer.resin
    words = []
    if profile.stages[key].basis == "default":
        words.append("Default from common practice: the label is silent.")
    if any(span.stage == key for span in told.observed):
        words.append("Held to what you saw.")
    if band.p50_s is None:
        words.append(_not_in_sight(told, key))
    else:
        if told.stopped is not None and key == "full_cure":
            words.append(_stall_words(told, told.stopped))
        words.append(_room_words(told, band.p50_s))
    # It holds for all stages and is said once, at the one that marks speak of most.
    if told.draws.why and key == ANCHOR[profile.kind]:
        words.append(told.draws.why)
    return " ".join(words)


def notes(
    told: Told,
    state: CureState,
    tg_c: float | None,
    surface: SurfaceRisk,
    now_s: float,
    stages: Sequence[StageOutlook],
) -> tuple[str, ...]:
    """What a person should know beside the stage times."""
    layer, profile = told.layer, told.layer.resin
    found = list(told.line.notes)
    off_ratio = abs(layer.hardener_ratio - 1.0) > RATIO_NOTED
    if state == "soft" and profile.kind != "paint":
        anchor = next(stage for stage in stages if stage.key == ANCHOR[profile.kind])
        felt_late = any(
            span.stage == anchor.key and (span.not_before_s or 0.0) > anchor.label_at_s
            for span in told.observed
        )
        # Past its likely time it is for a touch to say, and an alarm asks for one.
        if felt_late or anchor.p50_s is None or now_s < anchor.p50_s:
            found.append(still_soft_words(told.room_c, profile.ref_temp_c, felt_late, off_ratio))
    if state == "hard_undercured" and tg_c is not None:
        found.append(hard_undercured_words(tg_c, told.stopped.remedy if told.stopped else None))
    elif told.stopped is not None:
        found.append(_stall_words(told, told.stopped))
    if off_ratio and profile.kind != "paint":
        found.append(ratio_words(layer.hardener_ratio))
    if (
        profile.kind == "pour"
        and layer.depth_mm is None
        and (layer.volume_ml is None or layer.area_cm2 is None)
    ):
        found.append(
            f"Depth not given: taken as the label's {profile.ref_depth_mm:g} mm for its own heat."
        )
    if told.room_c <= profile.min_temp_c - _JUST_BELOW_K:
        found.append(
            f"The room ahead averages {told.room_c:.1f} °C; this resin wants at least "
            f"{profile.min_temp_c:g} °C."
        )
    elif told.room_c < profile.min_temp_c:
        found.append(
            f"The room ahead averages just under the {profile.min_temp_c:g} °C that this resin "
            "wants at least."
        )
    if surface.level != "low":
        found.append(AFTERCARE)
    return tuple(found)


def ratio_words(hardener_ratio: float) -> str:
    """What an error of the mixing ratio costs, and when to start again."""
    error_pct = 100.0 * (hardener_ratio - 1.0)
    side = "too much" if error_pct > 0.0 else "too little"
    words = f"{abs(error_pct):.0f} % {side} hardener: "
    if gel_conversion(hardener_ratio) is None:
        return words + "this mix never sets. Scrape it off and start again."
    loss_k = glass_transition_loss_k(hardener_ratio)
    words += f"it will soften about {loss_k:.0f} °C sooner when warm (give or take a third)."
    if abs(hardener_ratio - 1.0) >= RATIO_LOST:
        return words + " It stays soft or greasy: scrape it off and start again."
    return words


def _not_in_sight(told: Told, key: str) -> str:
    law = told.law
    if law is not None and gel_conversion(told.layer.hardener_ratio) is None:
        return "Not within sight. " + ratio_words(told.layer.hardener_ratio)
    if law is not None and told.clock.need_of(key) >= law.alpha_max:
        return (
            f"Not within sight: hardener is at {100.0 * told.layer.hardener_ratio:.0f} % of the "
            "label's, so part of the resin has nothing to react with."
        )
    if told.stopped is not None and key == "full_cure":
        return _stall_words(told, told.stopped)
    if told.layer.resin.kind == "paint":
        return "Not within sight: the air is too damp to take up the water."
    return (
        f"Not within the next two weeks: the room ahead averages {told.room_c:.1f} °C, the label "
        f"assumes {told.layer.resin.ref_temp_c:g} °C."
    )


def _stall_words(told: Told, stopped: Stall) -> str:
    words = (
        f"Cure levels off in this cold: about {100.0 * stopped.alpha:.0f} % will react, full "
        f"cure is at {100.0 * told.clock.need_of('full_cure'):.0f} %."
    )
    if stopped.remedy is None:
        return words + " No warmth within this resin's limit finishes it."
    return words + f" {stopped.remedy.hours:.0f} h at {stopped.remedy.temp_c:.0f} °C finish it."


def _room_words(told: Told, until_s: float) -> str:
    profile = told.layer.resin
    used = told.line.at_s[1:] <= max(until_s, float(told.line.at_s[1]))
    span = told.line.span_h[used]
    room_c = float(np.average(told.line.temp_c[-1, used], weights=span))
    if profile.kind == "paint":
        humidity = float(np.average(told.line.humidity_pct[-1, used], weights=span))
        return (
            f"The room averages {room_c:.1f} °C and {humidity:.0f} % RH; the label assumes "
            f"{profile.ref_temp_c:g} °C and 50 % RH."
        )
    own_k = float(np.average(told.resin_c[used] - told.line.temp_c[-1, used], weights=span))
    near = abs(room_c - profile.ref_temp_c) < _WORTH_SAYING_K
    words = (
        f"The room averages {room_c:.1f} °C, as the label assumes."
        if near
        else f"The room averages {room_c:.1f} °C; the label assumes {profile.ref_temp_c:g} °C."
    )
    if own_k >= _SELF_HEAT_WORTH_SAYING_K:
        words += f" The resin's own heat adds {own_k:.0f} °C."
    gone_h = (until_s - told.layer.poured_at_s) / HOUR_S
    if told.line.knowledge_age_s > HOUR_S and gone_h > 0.0:
        words += f" The last reading is {told.line.knowledge_age_s / HOUR_S:.0f} h old."
    return words
