"""What a plan is made of: acts with their windows and chances, reasons, alternatives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from monitor.core.cure.bands import Band
from monitor.core.cure.recipe import MomentKind

ActKind = Literal["pour", "work", "pull_tape", "demould"]
Wish = Literal[
    "waking_hours",
    "days_off",
    "deadline",
    "probability",
    "full_cure",
    "recoat_without_sanding",
    "room_limits",
]


@dataclass(frozen=True)
class Done:
    """A step already done: begun at `at_s`; which of its moments are done too.

    `reached` holds stages of its layer known to have come, and when [s].
    """

    step: str
    at_s: float
    moments: tuple[MomentKind, ...] = ()
    reached: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Reason:
    """One why: a key, its values (times end in `_s`), and words.

    In the words each moment stands as a mark of seconds in white square brackets, the same
    that the alarms' words carry, which the edge turns into local time.
    """

    key: str
    words: str
    values: Mapping[str, float | str] = field(default_factory=dict)


@dataclass(frozen=True)
class ActWindow:
    """The window an act has to meet: which stages bound it and when they come."""

    opens_with: str
    closes_with: str | None
    of_step: str
    opens: Band
    closes: Band | None


@dataclass(frozen=True)
class PlannedAct:
    """One hands-on act of the plan.

    `chance` is the share of futures in which an act begun at `at_s` meets the window (1 where
    there is no window). `good_from_s` to `good_until_s` is the stretch around `at_s` in
    which it may begin as well: hands free, order kept, chance as wished. `room_chance` is
    the share of futures in which the room suits a pour until its surface is closed, None
    for other work; `warning` says what of the room does not, where that was given up.
    """

    step: str
    what: ActKind
    name: str
    at_s: float
    until_s: float
    window: ActWindow | None
    chance: float
    hands_free: bool
    good_from_s: float
    good_until_s: float
    room_c: float
    reasons: tuple[Reason, ...] = ()
    room_chance: float | None = None
    warning: str = ""


@dataclass(frozen=True)
class Alternative:
    """Something else that could be done, and what it gains.

    `key` is "warm_nights" or "warm_room" (`temp_c` says how warm) or "give_up" (`wish` says
    which). `gain_s` is how much sooner the piece is done, None where there was no plan.
    """

    key: Literal["warm_nights", "warm_room", "give_up"]
    words: str
    finish_s: float
    gain_s: float | None
    first_act_s: float
    wish: Wish | None = None
    temp_c: float | None = None
    probability: float | None = None


@dataclass(frozen=True)
class Plan:
    """The acts in order, when the piece is done, and why so.

    `finish_s` is when the piece is done at the wished probability; `finish` the band over
    all futures, and `chance` the share of futures in which every act meets its window.
    Without a plan (`found` False) `acts` is empty, `reasons` say what stands in
    the way, and `give_up` is the one wish that brings a plan back soonest, None where no
    single one does. `content_with` is the lesser probability that this plan keeps, where
    none keeps the wished one; `reasons` then say why none does.
    """

    found: bool
    made_at_s: float
    acts: tuple[PlannedAct, ...]
    finish_s: float | None
    finish: Band
    reasons: tuple[Reason, ...]
    alternatives: tuple[Alternative, ...] = ()
    give_up: Alternative | None = None
    notes: tuple[str, ...] = ()
    chance: float | None = None
    content_with: float | None = None
