"""What a piece will bear, or bore when it was finished: hands, wrapping, a hot cup.

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

# The stage that a layer must have behind it: nine futures in ten have it. Before that it is
# only probable, and said so.
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
_STAGE_WORDS = {
    "sandable": "sandable",
    "handling_set": "set for handling",
    "touch_dry": "dry to the touch",
    "full_cure": "full cure",
    "overcoat_ready": "dry enough to be coated over",
}
_MAY = {
    "handled": "be handled with bare hands",
    "wrapped": "be wrapped",
    "hot_cup": "take a hot cup",
}
_LOAD_WORDS = {"handled": "Handling", "wrapped": "Wrapping", "hot_cup": "A hot cup"}


@dataclass(frozen=True)
class Missing:
    """One thing that a layer still lacks. `have` None: not known or not reached.

    `key` is "stage" (`have` and `need` are times [s], `need` when it is likely there) or
    "glass_transition" [C]. `never` says that no waiting and no allowed warmth brings it,
    `probable` that it is more likely there than not.
    """

    key: Literal["stage", "glass_transition"]
    layer: str
    have: float | None
    need: float | None
    words: str
    never: bool = False
    probable: bool = False


@dataclass(frozen=True)
class Verdict:
    """Whether a piece may be put to a use, why, and what is missing.

    `likely_from_s` is when nine in ten futures have the stages it lacks, None where they
    are not in sight, or more than time is missing. `probable`: not allowed for certain, but
    all that it lacks is probably there.
    """

    use: Use
    allowed: bool
    words: str
    reasons: tuple[str, ...]
    missing: tuple[Missing, ...]
    likely_from_s: float | None
    caution: str
    probable: bool = False


def verdicts(
    layers: Sequence[tuple[Layer, Outlook]],
    room_c: float,
    cup_c: float = CUP_C,
    over: bool = False,
) -> tuple[Verdict, ...]:
    """What a piece of these layers may be put to now: handled, wrapped, a hot cup.

    `room_c` is where it lies [C], `cup_c` the temperature under the cup [C]. `over`: the
    piece is finished, and the outlooks are those of its end; the words are in the past.
    Raises ValueError without layers, or where a temperature is not one.
    """
    if not layers:
        raise ValueError("No layer to judge: give each layer of the piece with its outlook.")
    for name, value, low, high in (("room_c", room_c, -40, 60), ("cup_c", cup_c, 30, 110)):
        if not low <= value <= high:
            raise ValueError(f"{name} is {value:g} °C; expected {low} to {high} °C")
    return tuple(_verdict(use, layers, room_c, cup_c, over) for use in USES)


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
    use: Use,
    layers: Sequence[tuple[Layer, Outlook]],
    room_c: float,
    cup_c: float,
    over: bool,
) -> Verdict:
    missing: list[Missing] = []
    reasons: list[str] = []
    load_c = {"handled": room_c, "wrapped": max(room_c, WRAP_C), "hot_cup": cup_c}[use]
    soft = [_lacking_tg(use, layer, outlook, room_c, load_c, over) for layer, outlook in layers]
    # Where hardness is missing too no one moment is told of the whole: each layer tells its own.
    never = any(lack.never for softness in soft for lack in softness)
    timed = any(soft) and not never and not over
    for (layer, outlook), softness in zip(layers, soft, strict=True):
        lacks = [*_lacking_stage(use, layer, outlook, over, timed), *softness]
        missing += lacks
        if not lacks:
            reasons.append(_fit(layer, outlook, room_c, over))
        if use != "handled":
            reasons += _beside(use, layer, outlook)
    if use == "hot_cup" and all(layer.resin.kind != "pour" for layer, _ in layers):
        name = layers[0][0].name
        words = f"{name}: there is no coat of resin on it; nothing here says that it bears heat."
        missing.append(Missing("glass_transition", name, None, cup_c + CUP_MARGIN_K, words))
    missing.sort(key=_last_first)
    allowed = not missing
    probable = not allowed and all(lack.probable for lack in missing)
    words = _summed_up(use, allowed, probable, any(lack.never for lack in missing), over)
    waits = [lack for lack in missing if lack.key == "stage"]
    likely_s: float | None = None
    needs_s = [lack.need for lack in waits if lack.need is not None]
    if waits and not probable and len(needs_s) == len(missing):
        likely_s = max(needs_s)
    caution = LABEL_FIRST if use != "hot_cup" else f"{LABEL_FIRST} {FOOD}"
    return Verdict(use, allowed, words, tuple(reasons), tuple(missing), likely_s, caution, probable)


def _last_first(lack: Missing) -> tuple[bool, bool, float]:
    """What keeps a piece waiting longest stands first; what is probably there, last."""
    if lack.key != "stage":
        return lack.probable, True, 0.0
    return lack.probable, False, -math.inf if lack.need is None else -lack.need


def _summed_up(use: Use, allowed: bool, probable: bool, never: bool, over: bool) -> str:
    may = _MAY[use]
    if over:
        if allowed:
            return f"Could {may}."
        if probable:
            return f"Could probably {may}."
        return f"Could not {may}, and will not by waiting." if never else f"Could not {may} yet."
    if allowed:
        return f"May {may}."
    if probable:
        return f"May probably {may}: try a nail in a hidden place first."
    if never:
        return f"May not {may}, and will not by waiting."
    return f"May not {may} yet: wear gloves." if use == "handled" else f"May not {may} yet."


def _lacking_stage(
    use: Use, layer: Layer, outlook: Outlook, over: bool, timed: bool
) -> list[Missing]:
    wanted = _STAGE[use][layer.resin.kind]
    stage = next((stage for stage in outlook.stages if stage.key == wanted), None)
    if stage is None or _behind(stage, outlook.as_of_s):
        return []
    if use == "handled" and outlook.state in ("hard_undercured", "cured"):
        return []
    name, be = _STAGE_WORDS[wanted], "was" if over else "is"
    words = f"{layer.name}: {name} {be} still to come."
    probable = stage.p50_s is not None and stage.p50_s <= outlook.as_of_s
    if probable:
        words = f"{layer.name}: {name} probably since {_moment(stage.p50_s)}."
        if stage.p90_s is not None:
            words = (
                f"{layer.name}: {name} probably since {_moment(stage.p50_s)}, very likely by "
                f"{_moment(stage.p90_s)}."
            )
    elif stage.p90_s is None:
        words = f"{layer.name}: {name} {be} not within sight in this room."
    elif timed:
        words = f"{layer.name}: {name} is still to come, very likely by {_moment(stage.p90_s)}."
    if outlook.stalled and outlook.remedy is not None:
        remedy = outlook.remedy
        words += f" {remedy.hours:.0f} h at {remedy.temp_c:.0f} °C finish it."
    return [Missing("stage", layer.name, None, stage.p90_s, words, probable=probable)]


def _lacking_tg(
    use: Use, layer: Layer, outlook: Outlook, room_c: float, load_c: float, over: bool
) -> list[Missing]:
    """A glass transition too low for the load, and whether anything brings it there."""
    if layer.resin.kind == "paint":
        return []
    have_c = outlook.glass_transition_c
    need_c = load_c + _MARGIN_K[use]
    if have_c is not None and have_c >= need_c:
        return []
    ceiling_c, warmed_c = glass_transition_ceiling_c(layer), warmed_glass_transition_c(layer)
    # Before it is a glass in its own room it has no softening that a maker could meet.
    if have_c is None or have_c < room_c:
        words = f"{layer.name}: not hard then." if over else f"{layer.name}: not hard yet."
        told = use == "hot_cup"
    else:
        softens = "softened" if over else "softens"
        words = f"{layer.name}: {softens} from about {math.floor(have_c)} °C."
        told = True
    never = (ceiling_c is not None and ceiling_c < need_c) or (
        warmed_c is not None and warmed_c < need_c
    )
    if told or never:
        words += (
            f" {_LOAD_WORDS[use]} wants it hard up to {need_c:.0f} °C ({load_c:.0f} °C and a "
            "margin)."
        )
    if ceiling_c is not None and ceiling_c < need_c:
        words += (
            " This resin never gets that hard, however long or warm it cures: "
            f"it ends at about {ceiling_c:.0f} °C. Use a heat-resistant resin, or a trivet."
        )
    elif warmed_c is not None and warmed_c < need_c:
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


def _moment(at_s: float | None) -> str:
    return "" if at_s is None else f"⟦{round(at_s)}⟧"


def _fit(layer: Layer, outlook: Outlook, room_c: float, over: bool) -> str:
    if layer.resin.kind == "paint":
        return f"{layer.name}: dry."
    full = next((stage for stage in outlook.stages if stage.key == "full_cure"), None)
    far = f"{100.0 * outlook.degree_of_cure:.0f} % reacted"
    if full is not None and _behind(full, outlook.as_of_s):
        far = "fully cured"
    tg_c = outlook.glass_transition_c
    if tg_c is None or not math.isfinite(tg_c) or tg_c < room_c:
        return f"{layer.name}: {far}."
    softens = "softened" if over else "softens"
    return f"{layer.name}: {far}, {softens} from about {math.floor(tg_c)} °C."


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
