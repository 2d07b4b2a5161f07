"""What a person does next, worded from the outlook's own moments."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dashboard import wording
from dashboard.wording import Local
from monitor.core.vocabulary import Layer, Mark, Outlook, Piece

# A window opens: what closes it, and what a person does within.
_WINDOWS: Mapping[str, tuple[str, str]] = {
    "tape_window_open": ("tape_window_close", "Pull the tape"),
    "recoat_window_open": ("recoat_window_close", "Recoat without sanding"),
}


def next_act(
    outlook: Outlook, local: Local, done: frozenset[str] = frozenset()
) -> tuple[str, str, str]:
    """What comes next, when, and what it means: the soonest stage that is not reached.

    `done` names stages whose act a person has carried out.
    """
    stages = {stage.key: stage for stage in outlook.stages if stage.key not in done}
    now_s = local.now_s

    def at(key: str) -> float | None:
        stage = stages.get(key)
        return None if stage is None else (stage.reached_at_s or stage.p50_s)

    for opens, (closes, words) in _WINDOWS.items():
        start, end = at(opens), at(closes)
        if start is not None and end is not None and start <= now_s < end:
            return words, f"now, before {local.till(now_s, end)}", wording.STAGE_MEANS[opens]
    for stage in stages.values():
        if stage.reached_at_s is not None or (stage.p50_s is not None and stage.p50_s <= now_s):
            continue
        name = wording.STAGE_NAMES.get(stage.key, stage.key)
        means = wording.STAGE_MEANS.get(stage.key, "")
        if stage.p50_s is None:
            return name, "not in sight", local.spoken(stage.why)
        if stage.key in _WINDOWS:
            closes, act = _WINDOWS[stage.key]
            end = at(closes)
            until = "" if end is None else f", before {local.till(stage.p50_s, end)}"
            return act, f"from {local.clock(stage.p50_s)}{until}", means
        left = f"{local.clock(stage.p50_s)}, in {wording.about(stage.p50_s - now_s)}"
        if stage.key in wording.STAGE_ACTS:
            words, when, then = wording.STAGE_ACTS[stage.key]
            return words, f"{when} {left}", then
        return name, f"about {left}", means
    last = stages.get("full_cure")
    if last is not None and last.reached_at_s is None and (last.p90_s or now_s) > now_s:
        then = wording.STAGE_ACTS["full_cure"][2]
        return "Probably cured", f"very likely by {local.clock(last.p90_s)}", then
    return "Nothing more to wait for", "", "Check the label before use; then end the layer."


def acts_done(piece: Piece, layer: Layer, seen: Sequence[Mark]) -> frozenset[str]:
    """Stages that ask for nothing, or no more: no mould, the tape is off, the next layer on."""
    done = {"demouldable"} if layer.base == "wood" else set()
    if any(mark.kind == "tape_pulled" for mark in seen):
        done |= {"tape_window_open", "tape_window_close"}
    if any(other.poured_at_s > layer.poured_at_s for other in piece.layers):
        done |= {"recoat_window_open", "recoat_window_close"}
    return frozenset(done)
