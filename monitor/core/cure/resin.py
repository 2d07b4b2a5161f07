"""A resin profile: read from a table, checked in words, turned into a law of cure."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields
from functools import lru_cache
from types import MappingProxyType
from typing import cast

from monitor.core.cure.stages import ANCHOR, DEFAULT_ANCHOR_H, DEFAULT_SHARE, IN_ORDER
from monitor.core.physics.aging import ZERO_C_IN_K
from monitor.core.physics.kinetics import (
    SET_A,
    CureLaw,
    glass_transition_loss_k,
    law_at,
    limiting_conversion,
)
from monitor.core.physics.master import master_curve
from monitor.core.vocabulary import STAGES, Basis, Kind, ResinProfile, StageTime

# A film shows no tack from about 60 % conversion on: Coatings 13 (2023) 592,
# DOI 10.3390/coatings13030592 (abstract read). A lower bound; marks teach the rest.
TACK_FREE_CONVERSION = 0.60

LONGEST_STAGE_H = 60.0 * 24.0

# Accepted range of each number, and its unit. Wider than any resin sold, so that what
# falls outside is a slip of the finger.
_RANGES: Mapping[str, tuple[float, float, str]] = {
    "ref_temp_c": (5.0, 45.0, "°C"),
    "ea_j_mol": (20_000.0, 120_000.0, "J/mol"),
    "ea_sd_j_mol": (0.0, 30_000.0, "J/mol"),
    "density_a_kg_m3": (700.0, 2_500.0, "kg/m³"),
    "density_b_kg_m3": (700.0, 2_500.0, "kg/m³"),
    "ref_depth_mm": (0.05, 200.0, "mm"),
    "max_depth_mm": (0.05, 500.0, "mm"),
    "min_temp_c": (-10.0, 40.0, "°C"),
    "max_temp_c": (5.0, 60.0, "°C"),
    "max_humidity_pct": (20.0, 100.0, "%"),
    "peak_limit_c": (30.0, 200.0, "°C"),
    "warm_limit_c": (20.0, 120.0, "°C"),
    "heat_j_g": (0.0, 800.0, "J/g"),
    "tg0_c": (-120.0, 40.0, "°C"),
    "tg_inf_c": (0.0, 250.0, "°C"),
    "tg_lambda": (0.05, 1.0, ""),
}
_TEXTS = ("key", "name", "note", "source")
_RATIOS = ("ratio_by_volume", "ratio_by_weight")


def from_mapping(table: Mapping[str, object]) -> ResinProfile:
    """A profile from a table of a resin file; stages the table omits get their default.

    Stage times are hours at the label's temperature: `stages = { tack_free = 8.0 }`.
    Raises ValueError that lists every fault in words.
    """
    wrong: list[str] = []
    kind = table.get("kind")
    if kind not in STAGES:
        wrong.append(f"kind is {kind!r}; it must be one of {', '.join(STAGES)}")
    for name in ("key", "name", "kind", "ref_temp_c"):
        if name not in table:
            wrong.append(f"{name} is missing; add it")
    known = {field.name for field in fields(ResinProfile)}
    wrong += [
        f"{name} is not a setting; remove it or correct it" for name in table if name not in known
    ]
    values: dict[str, object] = {}
    for name, value in table.items():
        if name in _RANGES:
            values[name] = _number(name, value, wrong)
        elif name in _RATIOS:
            values[name] = _ratio(name, value, wrong)
        elif name in _TEXTS:
            if not isinstance(value, str) or (name in ("key", "name") and not value.strip()):
                wrong.append(f"{name} is {value!r}; it must be text")
            values[name] = value
    stated = _stated(table.get("stages", {}), wrong)
    if wrong:
        raise ValueError("; ".join(wrong))
    values["kind"] = kind
    values["stages"] = with_defaults(cast(Kind, kind), stated)
    profile = ResinProfile(**values)  # type: ignore[arg-type]
    found = faults(profile)
    if found:
        raise ValueError("; ".join(found))
    return profile


def with_defaults(kind: Kind, stated: Mapping[str, StageTime]) -> Mapping[str, StageTime]:
    """Every stage of this kind, those not stated from common practice, in order of key.

    A default follows the resin's own anchor stage and never contradicts a stated time.
    """
    anchor_h = _anchor_h(kind, stated)
    times = dict(stated)
    for key, share in DEFAULT_SHARE[kind].items():
        if key in times:
            continue
        after = [stated[a].hours for a, b in IN_ORDER[kind] if b == key and a in stated]
        before = [stated[b].hours for a, b in IN_ORDER[kind] if a == key and b in stated]
        hours = max([share * anchor_h, *after])
        times[key] = StageTime(min([hours, *before]), "default")
    ordered = {key: times[key] for key in STAGES[kind] if key in times}
    ordered.update({key: time for key, time in times.items() if key not in ordered})
    return MappingProxyType(ordered)


def faults(profile: ResinProfile) -> tuple[str, ...]:
    """What is wrong with a profile, one sentence each, empty where it is sound."""
    found: list[str] = []
    if not profile.key.strip() or not profile.name.strip():
        found.append("key and name must not be empty")
    if profile.kind not in STAGES:
        return (*found, f"kind is {profile.kind!r}; it must be one of {', '.join(STAGES)}")
    for name, (low, high, unit) in _RANGES.items():
        value = getattr(profile, name)
        if value is not None and not low <= value <= high:
            found.append(_outside(name, value, low, high, unit))
    for name in _RATIOS:
        ratio = getattr(profile, name)
        if ratio is not None and not all(math.isfinite(part) and part > 0.0 for part in ratio):
            found.append(f"{name} is {ratio[0]:g}:{ratio[1]:g}; both parts must be above 0")
    if profile.min_temp_c >= profile.max_temp_c:
        found.append(
            f"min_temp_c {profile.min_temp_c:g} °C is not below max_temp_c "
            f"{profile.max_temp_c:g} °C; check both"
        )
    if profile.tg0_c >= profile.tg_inf_c:
        found.append(
            f"tg0_c {profile.tg0_c:g} °C is not below tg_inf_c {profile.tg_inf_c:g} °C; check both"
        )
    return (*found, *_stage_faults(profile))


def anchor_hours(profile: ResinProfile) -> float:
    """Label time [h] of the stage that ties this resin to the kinetic curve."""
    return _anchor_h(profile.kind, profile.stages)


def cure_law(
    profile: ResinProfile, time_scale: float = 1.0, hardener_ratio: float = 1.0
) -> CureLaw:
    """The resin's law of cure, tack-free at its label time at the reference temperature.

    The shape is that of published set A at the reference temperature; its clock is scaled,
    and `time_scale` scales it again (above 1 is faster). `hardener_ratio` is hardener
    used / hardener the label asks for: too little leaves epoxide over (a lower ceiling),
    either error lowers the final glass transition.

    Raises ValueError for a paint, which dries and does not cure, or a ratio not above 0.
    """
    if profile.kind == "paint":
        raise ValueError(f"{profile.name} is a paint: it dries by evaporation, it has no cure law")
    if not (math.isfinite(time_scale) and time_scale > 0.0):
        raise ValueError(f"Time scale {time_scale} is not above 0. 1 is the label's speed.")
    return _law(
        profile.ref_temp_c + ZERO_C_IN_K,
        profile.ea_j_mol,
        profile.tg0_c + ZERO_C_IN_K,
        profile.tg_inf_c + ZERO_C_IN_K,
        profile.tg_lambda,
        anchor_hours(profile) / time_scale,
        hardener_ratio,
    )


@lru_cache(maxsize=128)
def _law(
    ref_k: float,
    ea_j_mol: float,
    tg0_k: float,
    tg_inf_k: float,
    tg_lambda: float,
    tack_free_h: float,
    hardener_ratio: float,
) -> CureLaw:
    shape = law_at(SET_A, ref_k, ea_j_mol, tg0_k, tg_inf_k, tg_lambda)
    scale = float(master_curve(shape).age_at(TACK_FREE_CONVERSION)) / tack_free_h
    softened_k = max(tg_inf_k - glass_transition_loss_k(hardener_ratio), tg0_k + 1.0)
    return CureLaw(
        k1_s=shape.k1_s * scale,
        k2_s=shape.k2_s * scale,
        m=shape.m,
        n=shape.n,
        ea_j_mol=ea_j_mol,
        ref_k=ref_k,
        tg0_k=tg0_k,
        # At the ceiling of a hardener-starved mix the loss is already in the conversion.
        tg_inf_k=softened_k if hardener_ratio > 1.0 else tg_inf_k,
        tg_lambda=tg_lambda,
        alpha_max=limiting_conversion(hardener_ratio),
    )


def _anchor_h(kind: Kind, stages: Mapping[str, StageTime]) -> float:
    anchor = ANCHOR[kind]
    if anchor in stages:
        return stages[anchor].hours
    # A label silent about it: the stated stage nearest to it, by common practice.
    for key in (
        "sandable",
        "demouldable",
        "recoat_window_close",
        "full_cure",
        "overcoat_ready",
        "working_time_end",
    ):
        if key in stages:
            return stages[key].hours / DEFAULT_SHARE[kind][key]
    return DEFAULT_ANCHOR_H[kind]


def _stage_faults(profile: ResinProfile) -> list[str]:
    found = []
    allowed = STAGES[profile.kind]
    sound: dict[str, float] = {}
    for key, time in profile.stages.items():
        if key not in allowed:
            found.append(f"{key} is not a stage of a {profile.kind}; use {', '.join(allowed)}")
        elif not 0.0 < time.hours <= LONGEST_STAGE_H:
            found.append(_outside(key, time.hours, 0.0, LONGEST_STAGE_H, "h"))
        else:
            sound[key] = time.hours
    for earlier, later in IN_ORDER[profile.kind]:
        if earlier in sound and later in sound and sound[earlier] > sound[later]:
            found.append(
                f"{later} ({sound[later]:g} h) comes before {earlier} ({sound[earlier]:g} h); "
                "check both against the label"
            )
    return found


def _stated(table: object, wrong: list[str]) -> dict[str, StageTime]:
    if not isinstance(table, Mapping):
        wrong.append(f"stages is {table!r}; it must be a table of stage = hours")
        return {}
    times: dict[str, StageTime] = {}
    for key, entry in table.items():
        hours = entry.get("hours") if isinstance(entry, Mapping) else entry
        basis = entry.get("basis", "label") if isinstance(entry, Mapping) else "label"
        if basis not in ("label", "default", "learned"):
            wrong.append(f"basis of {key} is {basis!r}; use label, default or learned")
            continue
        number = _number(str(key), hours, wrong)
        if number is not None:
            times[str(key)] = StageTime(number, cast(Basis, basis))
    return times


def _number(name: str, value: object, wrong: list[str]) -> float | None:
    if isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
        return float(value)
    wrong.append(f"{name} is {value!r}; it must be a number")
    return None


def _ratio(name: str, value: object, wrong: list[str]) -> tuple[float, float] | None:
    if isinstance(value, list | tuple) and len(value) == 2:
        parts = [_number(name, part, wrong) for part in value]
        if parts[0] is not None and parts[1] is not None:
            return (parts[0], parts[1])
        return None
    wrong.append(f"{name} is {value!r}; it must be two numbers, such as [2, 1]")
    return None


def _outside(name: str, value: float, low: float, high: float, unit: str) -> str:
    label = f"{name} is {value:g} {unit}".strip()
    return f"{label}; expected {low:g} to {high:g} {unit}".strip() + "; check the label"
