"""What a piece will bear: hands, wrapping, a hot cup; and what is missing for it.

Judged from stage, degree of cure and glass transition of every layer; the weakest decides.
The thresholds are common practice, no published source, save that a glass softens at its
glass transition (textbook polymer physics, from memory). The label always goes first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from monitor.core.cure.progress import isothermal_hours
from monitor.core.cure.resin import cure_law
from monitor.core.physics.aging import ZERO_C_IN_K
from monitor.core.physics.kinetics import glass_transition_k
from monitor.core.physics.master import master_curve
from monitor.core.vocabulary import Layer, Outlook, StageOutlook

Use = Literal["handled", "wrapped", "hot_cup"]
USES: tuple[Use, ...] = ("handled", "wrapped", "hot_cup")

# All common practice, no published source.
HANDLED_MARGIN_K = 10.0  # glassy by this much: no dent from a nail, no print from a thumb
WRAPPED_MARGIN_K = 15.0  # days of light pressure from a wrap, where a thumb lasts a second
CUP_MARGIN_K = 15.0  # stiffness begins to fall about this far below the glass transition
WRAP_C = 25.0  # a parcel indoors
PARCEL_C = 45.0  # a parcel in the sun
CUP_C = 80.0  # under a mug just filled
WARM_DAYS = 3.0  # as long as a person keeps a piece in a warm cupboard

LABEL_FIRST = "An estimate from the room's readings: the resin's label and data sheet go first."
FOOD = (
    "Contact with food or drink: only what the label states about food contact counts; "
    "no degree of cure stands in for it."
)

# The stage that a layer must have behind it.
_STAGE = {
    "handled": {"pour": "sandable", "adhesive": "handling_set", "paint": "touch_dry"},
    "wrapped": {"pour": "full_cure", "adhesive": "full_cure", "paint": "overcoat_ready"},
    "hot_cup": {"pour": "full_cure", "adhesive": "full_cure", "paint": "overcoat_ready"},
}
_MARGIN_K = {
    "handled": HANDLED_MARGIN_K,
    "wrapped": WRAPPED_MARGIN_K,
    "hot_cup": CUP_MARGIN_K,
}
_MAY = {
    "handled": "be handled with clean, dry hands",
    "wrapped": "be wrapped",
    "hot_cup": "take a hot cup",
}


@dataclass(frozen=True)
class Missing:
    """One thing that a layer still lacks. `have` None: not known or not reached.

    `key` is "stage" (`have` and `need` are times [s], `need` when it is likely there) or
    "glass_transition" [C]. `never` says that no waiting and no allowed warmth brings it.
    """

    key: Literal["stage", "glass_transition"]
    layer: str
    have: float | None
    need: float | None
    words: str
    never: bool = False


@dataclass(frozen=True)
class Verdict:
    """Whether a piece may be put to a use, why, and what is missing.

    `likely_from_s` is when nine in ten futures have the stages it lacks, None where they
    are not in sight, or more than time is missing.
    """

    use: Use
    allowed: bool
    words: str
    reasons: tuple[str, ...]
    missing: tuple[Missing, ...]
    likely_from_s: float | None
    caution: str


def verdicts(
    layers: Sequence[tuple[Layer, Outlook]], room_c: float, cup_c: float = CUP_C
) -> tuple[Verdict, ...]:
    """What a piece of these layers may be put to now: handled, wrapped, a hot cup.

    `room_c` is where it lies [C], `cup_c` the temperature under the cup [C]. Raises
    ValueError without layers, or where a temperature is not one.
    """
    if not layers:
        raise ValueError("No layer to judge: give each layer of the piece with its outlook.")
    for name, value, low, high in (("room_c", room_c, -40, 60), ("cup_c", cup_c, 30, 110)):
        if not low <= value <= high:
            raise ValueError(f"{name} is {value:g} °C; expected {low} to {high} °C")
    return tuple(_verdict(use, layers, room_c, cup_c) for use in USES)


def glass_transition_ceiling_c(layer: Layer) -> float | None:
    """The highest glass transition [C] that this mix can come to; None for a paint."""
    if layer.resin.kind == "paint":
        return None
    law = cure_law(layer.resin, 1.0, layer.hardener_ratio)
    return float(glass_transition_k(law, law.alpha_max)) - ZERO_C_IN_K


def warmed_glass_transition_c(layer: Layer) -> float | None:
    """Glass transition [C] after three days at the warmest the resin allows; None: a paint."""
    if layer.resin.kind == "paint":
        return None
    law = cure_law(layer.resin, 1.0, layer.hardener_ratio)
    curve = master_curve(law)
    hours = isothermal_hours(law, layer.resin.warm_limit_c + ZERO_C_IN_K)
    age_h = float(np.interp(24.0 * WARM_DAYS, hours, curve.age_h))
    return float(glass_transition_k(law, curve.alpha_at(age_h))) - ZERO_C_IN_K


def _verdict(
    use: Use, layers: Sequence[tuple[Layer, Outlook]], room_c: float, cup_c: float
) -> Verdict:
    missing: list[Missing] = []
    reasons: list[str] = []
    load_c = {"handled": room_c, "wrapped": max(room_c, WRAP_C), "hot_cup": cup_c}[use]
    for layer, outlook in layers:
        lacks = [
            *_lacking_stage(use, layer, outlook),
            *_lacking_tg(use, layer, outlook, load_c),
        ]
        missing += lacks
        if not lacks:
            reasons.append(_fit(layer, outlook))
        if use != "handled":
            reasons += _beside(use, layer, outlook)
    if use == "hot_cup" and all(layer.resin.kind != "pour" for layer, _ in layers):
        name = layers[0][0].name
        words = f"{name}: there is no coat of resin on it; nothing here says that it bears heat."
        missing.append(Missing("glass_transition", name, None, cup_c + CUP_MARGIN_K, words))
    allowed = not missing
    never = any(lack.never for lack in missing)
    words = f"May {_MAY[use]}."
    if not allowed:
        words = f"May not {_MAY[use]}" + (", and will not by waiting." if never else " yet.")
    waits = [lack for lack in missing if lack.key == "stage"]
    likely_s: float | None = None
    if waits and len(waits) == len(missing) and all(lack.need is not None for lack in waits):
        likely_s = max(lack.need for lack in waits if lack.need is not None)
    caution = LABEL_FIRST if use != "hot_cup" else f"{LABEL_FIRST} {FOOD}"
    return Verdict(use, allowed, words, tuple(reasons), tuple(missing), likely_s, caution)


def _lacking_stage(use: Use, layer: Layer, outlook: Outlook) -> list[Missing]:
    wanted = _STAGE[use][layer.resin.kind]
    stage = next((stage for stage in outlook.stages if stage.key == wanted), None)
    if stage is None or _behind(stage, outlook.as_of_s):
        return []
    if use == "handled" and outlook.state in ("hard_undercured", "cured"):
        return []
    name = wanted.replace("_", " ")
    when = "not within sight in this room" if stage.p90_s is None else "still to come"
    words = f"{layer.name}: {name} is {when}."
    if outlook.stalled and outlook.remedy is not None:
        remedy = outlook.remedy
        words += f" {remedy.hours:.0f} h at {remedy.temp_c:.0f} °C finish it."
    return [Missing("stage", layer.name, None, stage.p90_s, words)]


def _lacking_tg(use: Use, layer: Layer, outlook: Outlook, load_c: float) -> list[Missing]:
    """A glass transition too low for the load, and whether anything brings it there."""
    if layer.resin.kind == "paint":
        return []
    have_c = outlook.glass_transition_c
    need_c = load_c + _MARGIN_K[use]
    if have_c is not None and have_c >= need_c:
        return []
    ceiling_c, warmed_c = glass_transition_ceiling_c(layer), warmed_glass_transition_c(layer)
    stands = "is not known" if have_c is None else f"is about {math.floor(have_c)} °C"
    words = f"{layer.name}: it softens from its glass transition, which {stands}; "
    words += f"{need_c:.0f} °C is wanted ({load_c:.0f} °C and a margin)."
    never = False
    if ceiling_c is not None and ceiling_c < need_c:
        never = True
        words += (
            f" By its profile this resin never comes to that, however long or warm it cures: "
            f"it ends at about {ceiling_c:.0f} °C. Use a heat-resistant resin, or a trivet."
        )
    elif warmed_c is not None and warmed_c < need_c:
        never = True
        words += (
            f" It does not come to that at room temperature, like most resins that cure in "
            f"a room: even {WARM_DAYS:.0f} days at {layer.resin.warm_limit_c:.0f} °C, the "
            f"warmest it allows, take it to about {warmed_c:.0f} °C."
        )
    elif use == "hot_cup":
        words += (
            f" Warmth brings it: {WARM_DAYS:.0f} days at {layer.resin.warm_limit_c:.0f} °C "
            f"take it to about {warmed_c:.0f} °C."
        )
    return [Missing("glass_transition", layer.name, have_c, need_c, words, never)]


def _behind(stage: StageOutlook, now_s: float) -> bool:
    if stage.reached_at_s is not None:
        return stage.reached_at_s <= now_s
    return stage.p90_s is not None and stage.p90_s <= now_s


def _fit(layer: Layer, outlook: Outlook) -> str:
    if layer.resin.kind == "paint":
        return f"{layer.name}: dry."
    cured = 100.0 * outlook.degree_of_cure
    if outlook.glass_transition_c is None or not math.isfinite(outlook.glass_transition_c):
        return f"{layer.name}: cured to {cured:.0f} %."
    return (
        f"{layer.name}: cured to {cured:.0f} %, softens from about "
        f"{outlook.glass_transition_c:.0f} °C."
    )


def _beside(use: Use, layer: Layer, outlook: Outlook) -> list[str]:
    """What to know of a layer beside what is missing."""
    found = []
    if layer.resin.kind == "pour" and outlook.surface.level == "high":
        found.append(f"{layer.name}: its surface may be greasy; wash it with soap and water first.")
    tg_c = outlook.glass_transition_c
    if use == "wrapped" and tg_c is not None and tg_c < PARCEL_C + WRAPPED_MARGIN_K:
        found.append(
            f"{layer.name}: a parcel in the sun comes to {PARCEL_C:.0f} °C, where it may take "
            "prints: nothing with a pattern against it, no weight on it."
        )
    return found
