"""How the stage bands did: what was said at the pour, held against marks and the room.

Two judges, kept apart. A person's marks bound when a stage truly came: they judge all of
it. The clock run again over the measured room judges only the room's forecast.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from monitor.core.cure.evidence import felt_between
from monitor.core.vocabulary import Layer, Mark, Outlook

# The first outlook this soon after the pour is what was "said at the pour".
SOON_S = 3600.0
Verdict = Literal["inside", "early", "late", "open"]


@dataclass(frozen=True)
class StageScore:
    """One stage of one layer: the band said at the pour, and what became of it.

    `felt` by the marks, None where none speaks of this stage: `early` and `late` say that
    the stage surely came before or after the band, `open` that the marks leave it open.
    `ran_s` is when the clock, run over the measured room, reached the stage.
    """

    layer_id: int
    key: str
    p10_s: float
    p50_s: float
    p90_s: float
    felt: Verdict | None
    ran_s: float | None

    @property
    def ran_inside(self) -> bool | None:
        """Whether the room kept the clock within the band; None before it got there."""
        return None if self.ran_s is None else self.p10_s <= self.ran_s <= self.p90_s


def score(
    layer: Layer, history: Sequence[Outlook], marks: Sequence[Mark]
) -> tuple[StageScore, ...]:
    """Scores of one layer from its outlooks in order of time; empty where none was early."""
    first = next((one for one in history if one.as_of_s >= layer.poured_at_s), None)
    if first is None or first.as_of_s > layer.poured_at_s + SOON_S:
        return ()
    reached = {stage.key: stage.reached_at_s for stage in history[-1].stages}
    felt = {one.event: (one.low_s, one.high_s) for one in felt_between(layer, marks)}
    found = []
    for stage in first.stages:
        if stage.reached_at_s is not None:
            continue
        if stage.p10_s is None or stage.p50_s is None or stage.p90_s is None:
            continue
        verdict = None
        if stage.key in felt:
            verdict = _verdict(stage.p10_s, stage.p90_s, *felt[stage.key])
        ran_s = reached.get(stage.key)
        if verdict is None and ran_s is None:
            continue
        found.append(
            StageScore(layer.id, stage.key, stage.p10_s, stage.p50_s, stage.p90_s, verdict, ran_s)
        )
    return tuple(found)


def _verdict(p10_s: float, p90_s: float, low_s: float, high_s: float) -> Verdict:
    if high_s < p10_s:
        return "early"
    if low_s > p90_s:
        return "late"
    return "inside" if p10_s <= low_s and high_s <= p90_s else "open"
