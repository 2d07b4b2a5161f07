"""One layer's outlook, judged: what harms it, and what a person may or must do now.

An act is a stretch of time: `wrong` is True while it is due, False before and after. The
moments are those of the outlook, so page and alarm cannot disagree.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from monitor.core.alarms.rule_list import HEAT_DEADBAND_C
from monitor.core.alarms.words import moment
from monitor.core.vocabulary import Condition, Layer, Mark, MarkKind, Outlook, StageOutlook

NEARLY_UP_S = 600.0  # time to spread what is on the piece and put the cup down
NEARLY_UP_SHARE = 0.25  # a five-minute glue gets its last quarter, not ten minutes
CLOSING_S = 1800.0  # time to come to the bench and work round the piece
CLOSING_SHARE = 0.25
TEST_WANTED_S = 48 * 3600.0  # after two days a touch tells nothing about tack-free
REST_NEWS_S = 600.0  # later the pour is under way, or was forgotten: no news either way
FULL_CURE_NEWS_S = 24 * 3600.0
TACK_FREE_NEWS_S = 6 * 3600.0

_TOUCHES: frozenset[MarkKind] = frozenset({"tacky", "tack_free", "nail_dents", "hard"})
_WET: frozenset[MarkKind] = frozenset({"still_liquid", "stringy", "tacky"})
_DRY: frozenset[MarkKind] = frozenset({"tack_free", "nail_dents", "hard"})
_TACK_FREE_STAGE = {"pour": "tack_free", "adhesive": "handling_set", "paint": "touch_dry"}


def layer_now(
    layer: Layer,
    outlook: Outlook,
    marks: Sequence[Mark],
    now_s: float,
    *,
    recoated: bool = False,
) -> tuple[Condition, ...]:
    """Judge one layer at `now_s`: its surface, its heat, whether it finishes, and its acts.

    `marks` are this layer's; those set aside are ignored. `recoated`: a later layer lies on
    it, so its surface and its recoat window are nobody's business any more. Rules without
    meaning for this layer (its kind, its end) come with `meaningful=False`.
    """
    stages = {stage.key: stage for stage in outlook.stages}
    seen = [mark for mark in marks if not mark.set_aside and mark.at_s <= now_s]
    over = layer.ended_at_s is not None and now_s >= layer.ended_at_s
    judged = (
        _surface(layer, outlook, stages, now_s, recoated),
        _heat(layer, outlook, now_s),
        _finish(layer, outlook, stages, now_s),
        _rest(layer, stages, now_s),
        _working(layer, stages, now_s),
        *_tape(layer, stages, seen, now_s),
        *_recoat(layer, stages, now_s, recoated),
        _tack_free(layer, stages, seen, now_s),
        _full_cure(layer, stages, now_s),
        _touch_test(layer, stages, seen, now_s),
    )
    if not over:
        return judged
    words = f"{layer.name} has ended."
    return tuple(_meaningless(c.key, layer, now_s, words) for c in judged)


def _surface(
    layer: Layer, outlook: Outlook, stages: dict[str, StageOutlook], now_s: float, recoated: bool
) -> Condition:
    key = "surface_at_risk"
    closes_s = outlook.surface.open_until_s
    if closes_s is None:
        closes_s = _when(stages.get(_TACK_FREE_STAGE[layer.resin.kind]))
    closed = closes_s is not None and now_s >= closes_s
    if closed or recoated or layer.resin.kind == "adhesive":
        return _meaningless(key, layer, now_s, f"{layer.name} has no open surface.")
    level = outlook.surface.level
    why = " ".join(outlook.surface.reasons)
    words = f"Risk to the surface of {layer.name}: {level}. {why}".strip()
    wrong = {"low": False, "medium": None, "high": True}[level]
    return Condition(key, _subject(layer), now_s, wrong, words, outlook.surface.risk)


def _heat(layer: Layer, outlook: Outlook, now_s: float) -> Condition:
    key = "overheating"
    peak_c, peak_at_s = outlook.peak_c, outlook.peak_at_s
    if peak_c is None:
        return _meaningless(key, layer, now_s, f"{layer.name} does not heat itself.")
    if peak_at_s is not None and now_s > peak_at_s:
        return _meaningless(key, layer, now_s, f"The heat of {layer.name} has passed its peak.")
    limit_c = layer.resin.peak_limit_c
    at = "" if peak_at_s is None else f" at {moment(peak_at_s)}"
    words = f"{layer.name} heats itself to {peak_c:.0f} °C{at}; its limit is {limit_c:.0f} °C."
    wrong: bool | None = None
    if peak_c > limit_c:
        wrong = True
    elif peak_c <= limit_c - HEAT_DEADBAND_C:
        wrong = False
    return Condition(key, _subject(layer), now_s, wrong, words, peak_c, limit_c)


def _finish(
    layer: Layer, outlook: Outlook, stages: dict[str, StageOutlook], now_s: float
) -> Condition:
    key = "will_not_finish"
    full = stages.get("full_cure")
    if full is None or full.reached_at_s is not None:
        return _meaningless(key, layer, now_s, f"The cure of {layer.name} is not in question.")
    words = f"{layer.name} is on its way to full cure."
    if outlook.stalled:
        words = f"{layer.name} will not cure fully in this room."
        if outlook.remedy is not None:
            words += f" It needs {outlook.remedy.hours:.0f} h at {outlook.remedy.temp_c:.0f} °C."
    value = outlook.degree_of_cure
    return Condition(key, _subject(layer), now_s, outlook.stalled, words, value)


def _rest(layer: Layer, stages: dict[str, StageOutlook], now_s: float) -> Condition:
    words = f"{layer.name} has rested: pour it."
    from_s, ends_s = _when(stages.get("rest_over")), _when(stages.get("working_time_end"))
    until_s = None if from_s is None else min(from_s + REST_NEWS_S, ends_s or math.inf)
    return _act("rest_over", layer, now_s, from_s, until_s, words)


def _working(layer: Layer, stages: dict[str, StageOutlook], now_s: float) -> Condition:
    key = "working_time_nearly_up"
    end = stages.get("working_time_end")
    until_s = _when(end)
    if end is None or until_s is None:
        return _act(key, layer, now_s, None, None, "")
    early_s = until_s
    if end.reached_at_s is None and end.p10_s is not None:
        early_s = min(end.p10_s, until_s)  # it may be over as early as this
    lead_s = min(NEARLY_UP_S, NEARLY_UP_SHARE * max(0.0, early_s - layer.poured_at_s))
    words = f"The working time of {layer.name} ends about {moment(until_s)}."
    return _act(key, layer, now_s, early_s - lead_s, until_s, words)


def _tape(
    layer: Layer, stages: dict[str, StageOutlook], marks: Sequence[Mark], now_s: float
) -> tuple[Condition, Condition]:
    opens_s = _when(stages.get("tape_window_open"))
    closes_s = _when(stages.get("tape_window_close"))
    if any(mark.kind == "tape_pulled" for mark in marks):
        words = f"The tape of {layer.name} has been pulled."
        return (
            _meaningless("tape_window_open", layer, now_s, words),
            _meaningless("tape_window_closing", layer, now_s, words),
        )
    before = "" if closes_s is None else f", before {moment(closes_s)}"
    return (
        _act(
            "tape_window_open",
            layer,
            now_s,
            opens_s,
            closes_s,
            f"Pull the tape of {layer.name}{before}.",
        ),
        _act(
            "tape_window_closing",
            layer,
            now_s,
            _closing(opens_s, closes_s),
            closes_s,
            f"Pull the tape of {layer.name} now{before}.",
        ),
    )


def _recoat(
    layer: Layer, stages: dict[str, StageOutlook], now_s: float, recoated: bool
) -> tuple[Condition, Condition]:
    if recoated:
        words = f"{layer.name} has its next layer."
        return (
            _meaningless("recoat_window_open", layer, now_s, words),
            _meaningless("recoat_window_closing", layer, now_s, words),
        )
    opens_key = "overcoat_ready" if layer.resin.kind == "paint" else "recoat_window_open"
    opens_s = _when(stages.get(opens_key))
    closes_s = _when(stages.get("recoat_window_close"))
    before = "" if closes_s is None else f", before {moment(closes_s)}"
    words = f"{layer.name} takes its next layer without sanding{before}."
    if layer.resin.kind == "paint":
        words = f"{layer.name} is dry enough to be coated over."
    return (
        _act("recoat_window_open", layer, now_s, opens_s, closes_s, words),
        _act(
            "recoat_window_closing",
            layer,
            now_s,
            _closing(opens_s, closes_s),
            closes_s,
            f"The recoat window of {layer.name} closes about {moment(closes_s or now_s)}.",
        ),
    )


def _tack_free(
    layer: Layer, stages: dict[str, StageOutlook], marks: Sequence[Mark], now_s: float
) -> Condition:
    from_s = _when(stages.get(_TACK_FREE_STAGE[layer.resin.kind]))
    until_s = None if from_s is None else from_s + TACK_FREE_NEWS_S
    words = {
        "pour": f"{layer.name} should be tack-free about now: touch a hidden place.",
        "adhesive": f"{layer.name} should bear careful handling about now.",
        "paint": f"{layer.name} should be dry to the touch about now.",
    }[layer.resin.kind]
    if any(mark.kind in _DRY for mark in marks):  # they know: they said so
        return _meaningless("tack_free", layer, now_s, f"{layer.name} was felt to be dry.")
    if any(mark.kind in _WET and mark.at_s >= (from_s or now_s) for mark in marks):
        return _meaningless("tack_free", layer, now_s, f"{layer.name} was felt to be sticky.")
    return _act("tack_free", layer, now_s, from_s, until_s, words)


def _full_cure(layer: Layer, stages: dict[str, StageOutlook], now_s: float) -> Condition:
    # Once nine futures in ten have it: as the stage gets its tick and the piece may be wrapped.
    full = stages.get("full_cure")
    from_s = None if full is None else full.p90_s
    until_s = None if from_s is None else from_s + FULL_CURE_NEWS_S
    words = f"{layer.name} should be fully cured."
    return _act("full_cure", layer, now_s, from_s, until_s, words)


def _touch_test(
    layer: Layer, stages: dict[str, StageOutlook], marks: Sequence[Mark], now_s: float
) -> Condition:
    key = "touch_test_wanted"
    stage = stages.get("tack_free")
    words = f"{layer.name} should be tack-free, and nobody has touched it. Is it?"
    if stage is None or stage.p90_s is None:
        return _act(key, layer, now_s, None, None, words)
    early_s = stage.p10_s if stage.p10_s is not None else stage.p90_s
    if any(mark.kind in _TOUCHES and mark.at_s >= early_s for mark in marks):
        return _meaningless(key, layer, now_s, f"{layer.name} has been touched.")
    # The news of it asks for a touch as well: one after the other, never both.
    from_s = max(stage.p90_s, (_when(stage) or stage.p90_s) + TACK_FREE_NEWS_S)
    return _act(key, layer, now_s, from_s, stage.p90_s + TEST_WANTED_S, words)


def _act(
    key: str,
    layer: Layer,
    now_s: float,
    from_s: float | None,
    until_s: float | None,
    words: str,
) -> Condition:
    """Due from `from_s` (closed) until `until_s` (open); without a beginning, no such act."""
    if from_s is None:
        return _meaningless(key, layer, now_s, f"Not within sight for {layer.name}.")
    due = now_s >= from_s and (until_s is None or now_s < until_s)
    return Condition(key, _subject(layer), now_s, due, words)


def _closing(opens_s: float | None, closes_s: float | None) -> float | None:
    if opens_s is None or closes_s is None or closes_s <= opens_s:
        return None
    return closes_s - min(CLOSING_S, CLOSING_SHARE * (closes_s - opens_s))


def _when(stage: StageOutlook | None) -> float | None:
    if stage is None:
        return None
    return stage.reached_at_s if stage.reached_at_s is not None else stage.p50_s


def _meaningless(key: str, layer: Layer, now_s: float, words: str) -> Condition:
    return Condition(key, _subject(layer), now_s, None, words, meaningful=False)


def _subject(layer: Layer) -> str:
    return f"layer:{layer.id}"
