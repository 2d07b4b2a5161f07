"""What went wrong with a layer, from the data: the room through its cure, heat, mix, marks.

Sentences with their moments marked for the page to word in local time. An empty answer says
that nothing here speaks against the piece, which is no proof that all was well.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from monitor.core.cure.durations import spoken_hours
from monitor.core.cure.evidence import ea_grid_of, evidence_in_room, felt_between
from monitor.core.cure.reasons import RATIO_NOTED, ratio_words
from monitor.core.cure.selfheat import peak_words
from monitor.core.cure.stages import ANCHOR
from monitor.core.cure.surface import DEW_MARGIN_K
from monitor.core.physics.aging import kelvin
from monitor.core.physics.air import dew_margin
from monitor.core.vocabulary import FloatArray, Layer, Mark, MarkKind, Outlook, RoomSeries

HOUR_S = 3600.0
# What is worth a sentence; proposals of ours.
LEAST_H = 0.5
GAP_H = 2.0
LATE_SHARE = 1.3

# As the page names the marks, and a stage within a sentence.
_MARK_WORDS: Mapping[MarkKind, str] = {
    "still_liquid": "still liquid",
    "stringy": "pulls strings",
    "tacky": "tacky",
    "tack_free": "tack-free",
    "nail_dents": "nail dents it",
    "hard": "hard",
    "tape_pulled": "tape pulled",
    "note": "note",
}
_DRY_WORDS: Mapping[str, str] = {
    "tack_free": "tack-free",
    "handling_set": "set for handling",
    "touch_dry": "dry to the touch",
}


@dataclass(frozen=True)
class Finding:
    """One thing that went wrong, under a key, in words."""

    key: str
    words: str


def findings(
    layer: Layer, room: RoomSeries, outlook: Outlook | None, marks: Sequence[Mark], end_s: float
) -> tuple[Finding, ...]:
    """Judge a layer from its pour to `end_s` by what was measured, `room` in time order."""
    found = _mix(layer) + _heat(layer, outlook)
    found += _room(layer, room, outlook, end_s)
    if outlook is not None and outlook.stalled:
        found.append(Finding("stalled", _stalled(outlook)))
    return tuple(found + _marks(layer, room, marks))


def _room(layer: Layer, room: RoomSeries, outlook: Outlook | None, end_s: float) -> list[Finding]:
    profile = layer.resin
    within = (room.at_s >= layer.poured_at_s) & (room.at_s <= end_s)
    at_s, temp_c, humidity = room.at_s[within], room.temp_c[within], room.humidity_pct[within]
    found = _gaps(layer, at_s, end_s)
    if not at_s.size:
        return found
    held_s = _held_s(at_s, end_s)
    for key, past, limit, extreme in (
        ("cold", temp_c < profile.min_temp_c, f"below {profile.min_temp_c:g} °C",
         f"down to {_tenths(temp_c.min())} °C"),
        ("hot", temp_c > profile.max_temp_c, f"above {profile.max_temp_c:g} °C",
         f"up to {_tenths(temp_c.max())} °C"),
    ):  # fmt: skip
        words = _for_so_long(at_s, held_s, past)
        if words:
            found.append(Finding(key, f"Too {key}: {words} {limit}, {extreme}."))
    closed_s = _closed_s(layer, outlook, end_s)
    if profile.kind != "adhesive":
        margin_k = dew_margin(kelvin(temp_c), humidity, kelvin(temp_c))
        damp = (humidity > profile.max_humidity_pct) | (margin_k < DEW_MARGIN_K)
        words = _for_so_long(at_s, held_s, damp & (at_s < closed_s))
        if words:
            found.append(
                Finding(
                    "damp",
                    f"Damp while the surface was open: {words} above "
                    f"{profile.max_humidity_pct:g} % RH or within {DEW_MARGIN_K:.0f} °C of the "
                    "dew point.",
                )
            )
    return found


def _held_s(at_s: FloatArray, end_s: float) -> FloatArray:
    """How long each reading stands for: to the next one, but not across a gap."""
    gaps = np.diff(np.append(at_s, max(end_s, float(at_s[-1]))))
    return np.asarray(np.minimum(gaps, HOUR_S))


def _for_so_long(at_s: FloatArray, held_s: FloatArray, past: npt.NDArray[np.bool_]) -> str:
    """'9 h in all, the longest from .. to ..', or '' where it is too short to matter."""
    hours = float(held_s[past].sum()) / HOUR_S
    if hours < LEAST_H:
        return ""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], past.astype(int), [0]))))
    runs = [
        (float(at_s[start]), float(at_s[end - 1] + held_s[end - 1]))
        for start, end in zip(edges[::2], edges[1::2], strict=True)
    ]
    long = [run for run in runs if run[1] - run[0] >= LEAST_H * HOUR_S]
    first_s, last_s = max(runs, key=lambda run: run[1] - run[0])
    when = f"from {_moment(first_s)} to {_moment(last_s)}"
    return (
        f"{_hours(hours)} in all, the longest {when},"
        if len(long) > 1
        else f"{_hours(hours)} {when}"
    )


def _hours(hours: float) -> str:
    return f"{hours:.0f} h" if hours >= 3.0 else spoken_hours(hours)


def _tenths(value: float) -> str:
    """No '.0' beside a limit that is a whole number."""
    return f"{round(float(value), 1):g}"


def _gaps(layer: Layer, at_s: FloatArray, end_s: float) -> list[Finding]:
    ends = np.concatenate(([layer.poured_at_s], at_s, [end_s]))
    spans_h = np.diff(ends) / HOUR_S
    unknown = spans_h > GAP_H
    if not unknown.any():
        return []
    longest = int(np.argmax(spans_h))
    words = (
        f"Not known: {spans_h[unknown].sum():.0f} h without a reading, the longest from "
        f"{_moment(float(ends[longest]))} to {_moment(float(ends[longest + 1]))}. "
        "What the room did then is a guess."
    )
    return [Finding("unknown", words)]


def _closed_s(layer: Layer, outlook: Outlook | None, end_s: float) -> float:
    if outlook is None:
        return end_s
    if outlook.surface.open_until_s is not None:
        return outlook.surface.open_until_s
    anchor = next((s for s in outlook.stages if s.key == ANCHOR[layer.resin.kind]), None)
    if anchor is None:
        return end_s
    return anchor.reached_at_s or anchor.p50_s or end_s


def _mix(layer: Layer) -> list[Finding]:
    off = abs(layer.hardener_ratio - 1.0) > RATIO_NOTED
    if layer.resin.kind == "paint" or not off:
        return []
    return [Finding("ratio", f"Off its ratio: {ratio_words(layer.hardener_ratio)}")]


def _heat(layer: Layer, outlook: Outlook | None) -> list[Finding]:
    profile = layer.resin
    found = []
    if profile.max_depth_mm is not None and (layer.depth_mm or 0.0) > profile.max_depth_mm:
        found.append(
            Finding(
                "deep",
                f"Too deep for one pour: {layer.depth_mm:g} mm; the label allows "
                f"{profile.max_depth_mm:g} mm.",
            )
        )
    peak_c = None if outlook is None else outlook.peak_c
    if peak_c is not None and peak_c > profile.peak_limit_c:
        found.append(
            Finding(
                "heat",
                f"It heated itself to {peak_words(peak_c)}; its limit is "
                f"{profile.peak_limit_c:g} °C. Look for cracks, bubbles and yellowing.",
            )
        )
    return found


def _stalled(outlook: Outlook) -> str:
    words = "The cure levels off short of full in this room."
    if outlook.remedy is None:
        return words + " No warmth within this resin's limit finishes it."
    return words + f" {outlook.remedy.hours:.0f} h at {outlook.remedy.temp_c:.0f} °C finish it."


def _marks(layer: Layer, room: RoomSeries, marks: Sequence[Mark]) -> list[Finding]:
    found = []
    for felt in felt_between(layer, marks):
        late = [mark for mark in felt.wet if felt.dry and mark.at_s > felt.dry[0].at_s]
        if late:
            found.append(
                Finding(
                    "marks",
                    f"The marks contradict one another: '{_said(felt.dry[0])}' at "
                    f"{_moment(felt.dry[0].at_s)}, then '{_said(late[-1])}' at "
                    f"{_moment(late[-1].at_s)}. Do not count the wrong one.",
                )
            )
            break
    anchor = ANCHOR[layer.resin.kind]
    for item in evidence_in_room(layer, marks, room.at_s, room.temp_c, ea_grid_of(layer.resin)):
        share = float(item.age_lower_h[item.age_lower_h.size // 2]) / item.label_age_h
        if item.event == anchor and not item.contradictory and share >= LATE_SHARE:
            found.append(
                Finding(
                    "late",
                    f"Slow even for this room: with its temperature counted in, the resin was "
                    f"not {_DRY_WORDS[anchor]} after {share:.1f} times the label's hours. "
                    "Likely: parts not mixed through, off their ratio, or old.",
                )
            )
    return found


def _said(mark: Mark) -> str:
    return _MARK_WORDS[mark.kind]


def _moment(at_s: float) -> str:
    return f"⟦{round(at_s)}⟧"
