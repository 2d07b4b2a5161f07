"""The values that the rooms of the house hand to one another. Frozen; no behaviour.

Times are seconds since 1970, UTC (`..._s`). Durations of a cure are hours (`..._h`).
Temperatures are Celsius, humidities per cent. `None` means "no value known".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

Kind = Literal["pour", "adhesive", "paint"]
Basis = Literal["label", "default", "learned"]
CureState = Literal["liquid", "gelling", "soft", "firm", "hard_undercured", "cured"]
MarkKind = Literal[
    "still_liquid", "stringy", "tacky", "tack_free", "nail_dents", "hard", "tape_pulled", "note"
]
TapeVerdict = Literal["good", "too_early", "too_late"]
Base = Literal["wood", "silicone", "glass"]
Priority = Literal["urgent", "soon", "note"]
AlarmPhase = Literal[
    "normal",  # nothing wrong, or not yet for long enough
    "unacknowledged",  # wrong, and nobody has said they know
    "acknowledged",  # wrong, and somebody knows
    "returned",  # was wrong, is right again, nobody said they knew
    "shelved",  # hidden by a person until a stated time
    "out_of_service",  # switched off by a person until switched on
    "suppressed",  # meaningless just now, by design
]

STAGES: Mapping[Kind, tuple[str, ...]] = MappingProxyType(
    {
        "pour": (
            "rest_over",
            "working_time_end",
            "tape_window_open",
            "tape_window_close",
            "recoat_window_open",
            "tack_free",
            "recoat_window_close",
            "sandable",
            "demouldable",
            "full_cure",
        ),
        "adhesive": ("working_time_end", "handling_set", "full_cure"),
        "paint": ("touch_dry", "overcoat_ready"),
    }
)


# --- the room -----------------------------------------------------------------


@dataclass(frozen=True)
class RoomSeries:
    """What one sensor measured, in time order, trustworthy values only.

    `at_s`, `temp_c`, `humidity_pct` have one shape (n,). `dropped` counts the readings
    left out, by reason.
    """

    at_s: FloatArray
    temp_c: FloatArray
    humidity_pct: FloatArray
    dropped: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class RoomPaths:
    """An ensemble of futures of the room: `at_s` (m,), the others (paths, m)."""

    at_s: FloatArray
    temp_c: FloatArray
    humidity_pct: FloatArray
    why: str = ""


# --- the resin ----------------------------------------------------------------


@dataclass(frozen=True)
class StageTime:
    """When a stage comes, at the resin's reference temperature and depth."""

    hours: float
    basis: Basis


@dataclass(frozen=True)
class ResinProfile:
    """A resin as its label and data sheet describe it; defaults are common practice."""

    key: str
    name: str
    kind: Kind
    ref_temp_c: float
    stages: Mapping[str, StageTime]
    ea_j_mol: float = 55_000.0
    ea_sd_j_mol: float = 6_000.0
    ratio_by_volume: tuple[float, float] | None = None
    ratio_by_weight: tuple[float, float] | None = None
    density_a_kg_m3: float = 1_130.0
    density_b_kg_m3: float = 1_000.0
    ref_depth_mm: float = 3.0
    max_depth_mm: float | None = None
    min_temp_c: float = 18.0
    max_temp_c: float = 30.0
    max_humidity_pct: float = 80.0
    peak_limit_c: float = 60.0
    warm_limit_c: float = 45.0
    heat_j_g: float = 446.0
    tg0_c: float = -57.0
    tg_inf_c: float = 91.0
    tg_lambda: float = 0.36903
    note: str = ""
    source: str = ""


@dataclass(frozen=True)
class Layer:
    """One layer of a piece, started when its parts met."""

    id: int
    piece_id: int
    name: str
    resin: ResinProfile
    poured_at_s: float
    depth_mm: float | None = None
    area_cm2: float | None = None
    volume_ml: float | None = None
    base: Base = "wood"
    pour_temp_c: float | None = None
    hardener_ratio: float = 1.0
    sensor: str | None = None
    ended_at_s: float | None = None
    batch: str = ""
    probe: str | None = None  # a sensor on the surface itself
    step: int | None = None  # which step of the piece's plan this layer is


@dataclass(frozen=True)
class Piece:
    """A thing being made: its layers in order, and how it ended."""

    id: int
    name: str
    created_at_s: float
    layers: tuple[Layer, ...] = ()
    note: str = ""
    ended_at_s: float | None = None
    outcome: str = ""
    archived_at_s: float | None = None


@dataclass(frozen=True)
class Mark:
    """What a person saw or did; interval evidence about where the layer stands."""

    id: int
    layer_id: int
    kind: MarkKind
    at_s: float
    verdict: TapeVerdict | None = None
    note: str = ""
    set_aside: bool = False


@dataclass(frozen=True)
class RateDraws:
    """A resin's belief as draws: `log_rate` and `ea_j_mol`, each of shape (paths,).

    `log_rate` is ln(true speed / label speed) at the reference temperature.
    """

    log_rate: FloatArray
    ea_j_mol: FloatArray
    layers_learned: int = 0
    why: str = ""


# --- the outlook --------------------------------------------------------------


@dataclass(frozen=True)
class StageOutlook:
    """When one stage comes. `None` for a time says: not within sight, see `why`."""

    key: str
    label_h: float
    basis: Basis
    label_at_s: float
    reached_at_s: float | None
    p10_s: float | None
    p50_s: float | None
    p90_s: float | None
    why: str


@dataclass(frozen=True)
class Remedy:
    """The least warm stretch that finishes a stalled cure."""

    temp_c: float
    hours: float


@dataclass(frozen=True)
class SurfaceRisk:
    """Risk 0..1 (low, medium, high) that the surface turns soft, greasy or cloudy."""

    risk: float
    level: Literal["low", "medium", "high"]
    reasons: tuple[str, ...] = ()
    open_until_s: float | None = None


@dataclass(frozen=True)
class Curve:
    """What a chart of one layer draws: shapes (n,), from the pour to the end of sight."""

    at_s: FloatArray
    degree_of_cure: FloatArray
    glass_transition_c: FloatArray
    resin_c: FloatArray


@dataclass(frozen=True)
class Outlook:
    """All that the program believes of one layer at one moment."""

    layer_id: int
    as_of_s: float
    degree_of_cure: float
    glass_transition_c: float | None
    equivalent_age_h: float
    rate_now: float
    stalled: bool
    remedy: Remedy | None
    state: CureState
    surface: SurfaceRisk
    peak_c: float | None
    peak_at_s: float | None
    stages: tuple[StageOutlook, ...]
    notes: tuple[str, ...] = ()
    knowledge_age_s: float = 0.0
    max_depth_mm: float | None = None
    cup_working_h: float | None = None
    curve: Curve | None = None


# --- alarms -------------------------------------------------------------------


@dataclass(frozen=True)
class AlarmRule:
    """One entry of the alarm list: when it speaks, what it means, what to do."""

    key: str
    priority: Priority
    on_delay_s: float
    off_delay_s: float
    deadband: float
    consequence: str
    act: str
    reason: str


@dataclass(frozen=True)
class Condition:
    """One rule's judgement of one subject at one moment.

    `wrong` is True past the limit, False once back by the deadband, None in between or
    where it cannot be told. `meaningful` is False where the rule is suppressed by design.
    """

    key: str
    subject: str
    at_s: float
    wrong: bool | None
    words: str
    value: float | None = None
    limit: float | None = None
    meaningful: bool = True


@dataclass(frozen=True)
class AlarmState:
    """Where one alarm of one subject stands."""

    key: str
    subject: str
    phase: AlarmPhase = "normal"
    since_s: float = 0.0
    wrong_since_s: float | None = None
    right_since_s: float | None = None
    raised_at_s: float | None = None
    shelved_until_s: float | None = None
    words: str = ""
    value: float | None = None
    repeats: int = 0
    last_noticed_s: float | None = None
    seen_s: float | None = None  # the newest condition taken in


@dataclass(frozen=True)
class AlarmChange:
    """One step of one alarm's life; `notice` says whether to tell people."""

    key: str
    subject: str
    at_s: float
    before: AlarmPhase
    after: AlarmPhase
    words: str
    priority: Priority
    notice: bool
    by: str = "program"
    value: float | None = None
