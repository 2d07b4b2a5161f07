"""Is this a good moment to pour? The room at the pour, the hours after it, and the pour itself.

Each is answered yes, wait or no, with its reasons; the whole is the worst of the three.
limits.py says of what the limits are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from monitor.core.cure.limits import (
    LIKELY,
    SIGHT_S,
    WHILE_OPEN,
    limit_words,
    open_until_s,
    outside,
    stays,
)
from monitor.core.cure.stages import ANCHOR
from monitor.core.cure.surface import DEW_MARGIN_K
from monitor.core.physics.aging import kelvin
from monitor.core.physics.air import dew_margin
from monitor.core.vocabulary import FloatArray, Layer, Outlook, ResinProfile, RoomPaths

Answer = Literal["yes", "wait", "no", "unknown"]
# Worst last: a pour that would smoke is no pour, however fine the room.
_ORDER: tuple[Answer, ...] = ("yes", "unknown", "wait", "no")

FRESH_S = 1800.0  # a reading older than this does not tell the room of this moment
PERHAPS = 0.2


@dataclass(frozen=True)
class Air:
    """The room as last measured; `humidity_pct` is None where nothing measures it."""

    at_s: float
    temp_c: float
    humidity_pct: float | None


@dataclass(frozen=True)
class Verdict:
    """One answer with its reasons; `from_s` is when waiting would help, where that is seen."""

    answer: Answer
    reasons: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    from_s: float | None = None


@dataclass(frozen=True)
class Fitness:
    """The three answers; the hours after the pour end at `until_s`."""

    room: Verdict
    after: Verdict
    pour: Verdict
    until_s: float

    @property
    def answer(self) -> Answer:
        """The worst of the three."""
        given = (self.room.answer, self.after.answer, self.pour.answer)
        return max(given, key=_ORDER.index)


def fitness(
    layer: Layer, air: Air | None, future: RoomPaths, outlook: Outlook, now_s: float
) -> Fitness:
    """Judge a pour at `layer.poured_at_s`, from now on, with its outlook at hand."""
    until_s = _until(layer, outlook)
    return Fitness(
        room=_at_pour(layer, air, future, now_s),
        after=_after(layer, air, future, outlook, until_s),
        pour=_itself(layer, outlook),
        until_s=until_s,
    )


def _until(layer: Layer, outlook: Outlook) -> float:
    """When the surface is closed, but the first night at least and a day at most."""
    anchor = next((s for s in outlook.stages if s.key == ANCHOR[layer.resin.kind]), None)
    closed_s = layer.poured_at_s if anchor is None or anchor.p50_s is None else anchor.p50_s
    return open_until_s(layer.resin.kind, layer.poured_at_s, closed_s)


def _at_pour(layer: Layer, air: Air | None, future: RoomPaths, now_s: float) -> Verdict:
    profile, at_s = layer.resin, layer.poured_at_s
    humidity = None if air is None else air.humidity_pct
    if at_s - now_s <= FRESH_S:
        if air is None:
            return Verdict("unknown", ("Nothing is measured in this room yet.",))
        if now_s - air.at_s > FRESH_S:
            words = f"The last reading is of {_moment(air.at_s)}: the room now is not known."
            return Verdict("unknown", (words,))
        temp_c = air.temp_c
    elif air is None or not future.at_s.size or at_s > future.at_s[-1]:
        return Verdict("unknown", ("The room of that hour is not known.",))
    else:
        temp_c = float(np.interp(at_s, future.at_s, np.median(future.temp_c, axis=0)))
        if humidity is not None:
            humidity = float(np.interp(at_s, future.at_s, np.median(future.humidity_pct, axis=0)))
    wrong = _wrong(profile, temp_c, humidity)
    if not wrong:
        words = f"{temp_c:.1f} °C"
        words += "" if humidity is None else f" and {humidity:.0f} % RH"
        limits = f"{profile.min_temp_c:g} °C to {profile.max_temp_c:g} °C"
        if profile.kind != "adhesive":
            limits += f", at most {profile.max_humidity_pct:g} % RH"
        return Verdict("yes", (f"{words}, as this resin wants it: {limits}.",))
    better_s = _right_from(profile, future, at_s, 3600.0, air)
    if better_s is None:
        wrong.append("It is not expected to come right by itself within a day.")
    return Verdict("no" if better_s is None else "wait", tuple(wrong), from_s=better_s)


def _wrong(profile: ResinProfile, temp_c: float, humidity_pct: float | None) -> list[str]:
    found = []
    damp = None if humidity_pct is None else np.array([humidity_pct])
    past = outside(profile, np.array([temp_c]), damp)
    if past["cold"][0]:
        found.append(f"{temp_c:.1f} °C; this resin wants at least {profile.min_temp_c:g} °C.")
    if past["warm"][0]:
        found.append(f"{temp_c:.1f} °C; this resin bears at most {profile.max_temp_c:g} °C.")
    if humidity_pct is None or "damp" not in past:
        return found
    if past["damp"][0]:
        found.append(
            f"{humidity_pct:.0f} % RH; this resin bears at most {profile.max_humidity_pct:g} % RH."
        )
    if past["dew"][0]:
        margin_k = float(dew_margin(kelvin(temp_c), humidity_pct, kelvin(temp_c)))
        found.append(
            f"A surface as warm as the air is {margin_k:.1f} °C above the dew point; "
            f"painting practice keeps {DEW_MARGIN_K:.0f} °C."
        )
    return found


def _after(
    layer: Layer, air: Air | None, future: RoomPaths, outlook: Outlook, until_s: float
) -> Verdict:
    profile = layer.resin
    within = (future.at_s >= layer.poured_at_s) & (future.at_s <= until_s)
    # A forecast of a room that was never measured is the label's assumption.
    if air is None or not within.any():
        return Verdict("unknown", ("The room of those hours is not known.",))
    at_s = future.at_s[within]
    temp_c, humidity = future.temp_c[:, within], future.humidity_pct[:, within]
    middle_c = np.median(temp_c, 0)
    extremes = {
        "cold": f", down to {middle_c.min():.1f} °C",
        "warm": f", up to {middle_c.max():.1f} °C",
    }
    judged = outside(profile, temp_c, None if air.humidity_pct is None else humidity)
    reasons, cautions = [], []
    for limit in WHILE_OPEN:
        if limit not in judged:
            continue
        past, words, extreme = judged[limit], limit_words(profile, limit), extremes.get(limit, "")
        share = float(stays(past).any(axis=1).mean())
        if share >= LIKELY:
            reasons.append(f"Likely {words} {_stretch(at_s, past)}{extreme}.")
        elif share >= PERHAPS:
            cautions.append(f"Perhaps {words}: a chance of about {10 * round(10 * share)} %.")
    if outlook.surface.level == "high":
        reasons += ["The surface would be at high risk.", *outlook.surface.reasons]
    elif outlook.surface.level == "medium":
        cautions += ["The surface would be at some risk.", *outlook.surface.reasons]
    if outlook.stalled and outlook.remedy is None:
        # With a remedy the outlook's own notes say how little it takes.
        reasons.append(
            "The cure would level off short of full in this room, and no warmth within this "
            "resin's limit finishes it."
        )
    if not reasons:
        words = "The room is expected to stay within this resin's limits."
        return Verdict("yes", (words,), tuple(cautions))
    open_s = until_s - layer.poured_at_s
    better_s = _right_from(profile, future, layer.poured_at_s, open_s, air)
    if better_s == layer.poured_at_s:
        better_s = None  # its limits hold: the risk is not one that waiting is known to end
    answer: Answer = "wait"
    if better_s is None and outlook.surface.level != "high":
        reasons.append("No better stretch is in sight: keep it warm and dry, or pour elsewhere.")
        answer = "no"
    return Verdict(answer, tuple(reasons), tuple(cautions), better_s)


def _itself(layer: Layer, outlook: Outlook) -> Verdict:
    """The pour's own depth and heat."""
    profile, peak_c, deepest = layer.resin, outlook.peak_c, outlook.max_depth_mm
    depth_mm = layer.depth_mm
    if depth_mm is None and layer.volume_ml and layer.area_cm2:
        depth_mm = layer.volume_ml / layer.area_cm2 * 10.0
    if profile.kind != "pour" or depth_mm is None:
        return Verdict("yes", ())
    reasons = []
    if profile.max_depth_mm is not None and depth_mm > profile.max_depth_mm:
        reasons.append(
            f"{depth_mm:g} mm at once; the label allows at most {profile.max_depth_mm:g} mm."
        )
    if peak_c is not None and peak_c > profile.peak_limit_c:
        reasons.append(f"It would heat itself past its limit of {profile.peak_limit_c:g} °C.")
    if not reasons:
        return Verdict("yes", (f"{depth_mm:g} mm at once stays cool enough in this room.",))
    if deepest is not None and deepest < depth_mm:
        reasons.append(f"Pour at most {deepest:.0f} mm at a time.")
    return Verdict("no", tuple(reasons))


def _right_from(
    profile: ResinProfile, future: RoomPaths, from_s: float, for_s: float, air: Air
) -> float | None:
    """The first moment within a day from which the likely room stays right for so long."""
    if not future.at_s.size:
        return None
    humidity = None if air.humidity_pct is None else np.median(future.humidity_pct, axis=0)
    past = outside(profile, np.median(future.temp_c, axis=0), humidity)
    right = ~np.logical_or.reduce(list(past.values()))
    for place in np.flatnonzero((future.at_s >= from_s) & (future.at_s <= from_s + SIGHT_S)):
        start_s = float(future.at_s[place])
        span = (future.at_s >= start_s) & (future.at_s <= start_s + for_s)
        if start_s + for_s <= future.at_s[-1] and right[span].all():
            # The forecast's first point is the present one.
            return from_s if place == 0 or future.at_s[place - 1] < from_s else start_s
    return None


def _stretch(at_s: FloatArray, past: np.typing.NDArray[np.bool_]) -> str:
    """From when to when at least half of the paths are past the limit, in words."""
    often = past.mean(axis=0) >= LIKELY
    if not often.any():
        return "for a while"
    first, last = np.flatnonzero(often)[[0, -1]]
    start = "at once" if first == 0 else f"from {_moment(float(at_s[first]))}"
    if last == often.size - 1:
        return start if start == "at once" else f"{start} on"
    return f"{'' if first == 0 else start + ' '}until {_moment(float(at_s[last]))}"


def _moment(at_s: float) -> str:
    """A moment for the page to word in local time."""
    return f"⟦{round(at_s)}⟧"
