"""The stages of a layer in the trade's words: what each means, what a person may do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from monitor.core.vocabulary import STAGES, FloatArray, Kind, Mark

# The stage that ties a label to the kinetic curve: tack-free conversion.
ANCHOR: Mapping[Kind, str] = MappingProxyType(
    {"pour": "tack_free", "adhesive": "handling_set", "paint": "touch_dry"}
)

# "a must not come after b" on any sound label.
IN_ORDER: Mapping[Kind, tuple[tuple[str, str], ...]] = MappingProxyType(
    {
        "pour": (
            ("rest_over", "working_time_end"),
            ("working_time_end", "tape_window_open"),
            ("tape_window_open", "tape_window_close"),
            ("working_time_end", "recoat_window_open"),
            ("recoat_window_open", "recoat_window_close"),
            ("working_time_end", "tack_free"),
            ("tack_free", "sandable"),
            ("tack_free", "demouldable"),
            ("sandable", "full_cure"),
            ("demouldable", "full_cure"),
        ),
        "adhesive": (("working_time_end", "handling_set"), ("handling_set", "full_cure")),
        "paint": (("touch_dry", "overcoat_ready"),),
    }
)

# Where a label is silent: hours as a multiple of the anchor stage.
# Common practice, no published source (an eight-hour tack-free coating resin).
DEFAULT_SHARE: Mapping[Kind, Mapping[str, float]] = MappingProxyType(
    {
        "pour": {
            "rest_over": 0.006,
            "working_time_end": 0.09,
            "tape_window_open": 0.25,
            "tape_window_close": 0.5,
            "recoat_window_open": 0.5,
            "tack_free": 1.0,
            "recoat_window_close": 1.25,
            "sandable": 3.0,
            "demouldable": 3.0,
            "full_cure": 9.0,
        },
        "adhesive": {"working_time_end": 1.0 / 6.0, "handling_set": 1.0, "full_cure": 16.0},
        "paint": {"touch_dry": 1.0, "overcoat_ready": 4.0},
    }
)
DEFAULT_ANCHOR_H: Mapping[Kind, float] = MappingProxyType(
    {"pour": 8.0, "adhesive": 0.5, "paint": 0.5}
)

MEANING: Mapping[str, str] = MappingProxyType(
    {
        "rest_over": "the bubbles are out of the cup; pour",
        "working_time_end": "stop spreading; leave the film alone",
        "tape_window_open": "the film no longer runs but still levels; pull the tape",
        "tape_window_close": "too firm to level; warm the edge before pulling tape",
        "recoat_window_open": "the next layer bonds chemically, without sanding",
        "tack_free": "dust no longer sticks; do not load it",
        "recoat_window_close": "no chemical bond any more; wait until sandable",
        "sandable": "sand dry or wet for a mechanical key, then wipe",
        "demouldable": "take it out of the mould, support it flat",
        "full_cure": "wrap, ship, use",
        "handling_set": "it holds by itself; no load yet",
        "touch_dry": "dry to the touch",
        "overcoat_ready": "resin may go over it",
    }
)


@dataclass(frozen=True)
class Span:
    """What a mark says of one stage: it came after `not_before_s`, and by `by_s`."""

    stage: str
    not_before_s: float | None = None
    by_s: float | None = None


def spans(kind: Kind, marks: Sequence[Mark], poured_at_s: float, now_s: float) -> tuple[Span, ...]:
    """What this layer's own marks fix about its stages, in order of time.

    Each touch either shows a stage reached or shows it not yet reached; a contradiction
    ("tacky" after "tack-free") is settled by the later mark.
    """
    found: dict[tuple[str, str], Span] = {}
    for mark in sorted(marks, key=lambda mark: mark.at_s):
        if mark.set_aside or not poured_at_s < mark.at_s <= now_s:
            continue
        word = f"tape_{mark.verdict}" if mark.kind == "tape_pulled" else mark.kind
        for stage in _NOT_YET.get(word, ()):
            if stage in STAGES[kind]:
                found[stage, "no"] = Span(stage, not_before_s=mark.at_s)
                found.pop((stage, "yes"), None)
        for stage in _REACHED.get(word, ()):
            if stage in STAGES[kind] and (stage, "yes") not in found:
                found[stage, "yes"] = Span(stage, by_s=mark.at_s)
    return tuple(found.values())


def hold_to_marks(
    times_s: FloatArray, order: Sequence[str], observed: Sequence[Span]
) -> FloatArray:
    """Stage times (paths, stages) in rising order, held to what was seen.

    A stage not yet there at a touch, and every later one, comes after it; a stage that
    was there, and every earlier one, came by it.
    """
    held = times_s.copy()
    for span in observed:
        if span.stage not in order:
            continue
        place = order.index(span.stage)
        if span.not_before_s is not None:
            held[:, place:] = np.maximum(held[:, place:], span.not_before_s)
        if span.by_s is not None:
            held[:, : place + 1] = np.minimum(held[:, : place + 1], span.by_s)
    return held


_NOT_YET: Mapping[str, tuple[str, ...]] = {
    "still_liquid": ("tape_window_open", "handling_set"),
    "stringy": ("tack_free", "handling_set"),
    "tacky": ("tack_free", "handling_set"),
    "nail_dents": ("sandable",),
    "tape_too_early": ("tape_window_open",),
}
_REACHED: Mapping[str, tuple[str, ...]] = {
    "stringy": ("working_time_end",),
    "tack_free": ("tack_free",),
    "nail_dents": ("tack_free", "handling_set"),
    "hard": ("sandable", "handling_set"),
    "tape_good": ("tape_window_open",),
    "tape_too_late": ("tape_window_close",),
}
