"""A piece as an ordered list of steps: what each is made of, and what it needs below it.

A recipe is a maker's own template: plain values, to and from a plain dictionary, checked
in words. It holds no times; the planner finds those.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, cast, get_args

from monitor.core.vocabulary import STAGES, Kind

StepKind = Literal[
    "base_pour",
    "inlay",
    "casting",
    "adhesive_dam",
    "painted_lines",
    "tape",
    "flood_coat",
    "sand",
    "finish",
]
Need = Literal[
    "none",
    "recoat_window",
    "sanded",
    "recoat_or_sanded",
    "tack_free",
    "handling_set",
    "overcoat_ready",
    "demouldable",
    "full_cure",
]
MomentKind = Literal["pull_tape", "demould"]

STEP_KINDS: tuple[str, ...] = get_args(StepKind)
NEEDS: tuple[str, ...] = get_args(Need)
MOMENT_KINDS: tuple[str, ...] = get_args(MomentKind)

# Which steps are made of something that cures or dries; the others are work alone.
MADE_OF: Mapping[str, tuple[Kind, ...]] = MappingProxyType(
    {
        "base_pour": ("pour",),
        "inlay": ("pour", "adhesive"),
        "casting": ("pour",),
        "adhesive_dam": ("adhesive",),
        "painted_lines": ("paint",),
        "tape": (),
        "flood_coat": ("pour",),
        "sand": (),
        "finish": (),
    }
)

# A need as a window of the layer below: (opens with, closes with). Two windows: either.
NEED_WINDOWS: Mapping[str, tuple[tuple[str, str | None], ...]] = MappingProxyType(
    {
        "none": (),
        "recoat_window": (("recoat_window_open", "recoat_window_close"),),
        "sanded": (("sandable", None),),
        "recoat_or_sanded": (("recoat_window_open", "recoat_window_close"), ("sandable", None)),
        "tack_free": (("tack_free", None),),
        "handling_set": (("handling_set", None),),
        "overcoat_ready": (("overcoat_ready", None),),
        "demouldable": (("demouldable", None),),
        "full_cure": (("full_cure", None),),
    }
)

# A moment as a window of its own layer. Off paint and glue the tape comes once they hold:
# common practice, no published source.
MOMENT_WINDOWS: Mapping[tuple[str, Kind], tuple[str, str | None]] = MappingProxyType(
    {
        ("pull_tape", "pour"): ("tape_window_open", "tape_window_close"),
        ("pull_tape", "adhesive"): ("handling_set", None),
        ("pull_tape", "paint"): ("touch_dry", None),
        ("demould", "pour"): ("demouldable", None),
    }
)

USUAL_HANDS_ON_MIN = 15.0
LONGEST_HANDS_ON_MIN = 600.0
MOST_STEPS = 30


@dataclass(frozen=True)
class Moment:
    """Hands-on work that a layer asks for later: pulling tape, taking it out of the mould."""

    kind: MomentKind
    hands_on_min: float = USUAL_HANDS_ON_MIN


@dataclass(frozen=True)
class Step:
    """One step. `needs` speaks of the nearest earlier step with a resin, the one below.

    `resin` is a resin's key, None for work alone (laying tape, sanding, finishing).
    The moments of work alone belong to the next layer: tape laid before a flood coat is
    pulled in the flood coat's tape window.
    """

    key: str
    kind: StepKind
    name: str
    resin: str | None = None
    needs: Need = "none"
    hands_on_min: float = USUAL_HANDS_ON_MIN
    area_cm2: float | None = None
    depth_mm: float | None = None
    volume_ml: float | None = None
    moments: tuple[Moment, ...] = ()


@dataclass(frozen=True)
class Recipe:
    """An ordered list of steps, done one after the other."""

    key: str
    name: str
    steps: tuple[Step, ...]
    note: str = ""


def from_dict(table: Mapping[str, object]) -> Recipe:
    """A recipe from plain values, as `to_dict` writes it or a table of a recipe file.

    A moment may be its name alone. Raises ValueError that lists every fault in words.
    """
    wrong: list[str] = []
    _unknown(table, ("key", "name", "note", "steps"), "the recipe", wrong)
    key = _text(table, "key", "the recipe", wrong)
    name = _text(table, "name", "the recipe", wrong)
    note = table.get("note", "")
    if not isinstance(note, str):
        wrong.append(f"note of the recipe is {note!r}; it must be text")
    listed = table.get("steps")
    if not isinstance(listed, Sequence) or isinstance(listed, str) or not listed:
        wrong.append("steps is missing or empty; list at least one step")
        listed = ()
    steps = tuple(
        _step(entry, f"step {place}", wrong)
        if isinstance(entry, Mapping)
        else _not_a_step(entry, place, wrong)
        for place, entry in enumerate(listed, start=1)
    )
    recipe = Recipe(key, name, steps, str(note))
    if not wrong:
        wrong += faults(recipe)
    if wrong:
        raise ValueError("; ".join(wrong))
    return recipe


def to_dict(recipe: Recipe) -> dict[str, object]:
    """Plain values for a file or a page; what is at its default is left out."""
    steps: list[dict[str, object]] = []
    for step in recipe.steps:
        entry: dict[str, object] = {"key": step.key, "kind": step.kind, "name": step.name}
        if step.resin is not None:
            entry["resin"] = step.resin
        entry["needs"] = step.needs
        entry["hands_on_min"] = step.hands_on_min
        for field in _SIZES:
            value = getattr(step, field)
            if value is not None:
                entry[field] = value
        if step.moments:
            entry["moments"] = [
                {"kind": moment.kind, "hands_on_min": moment.hands_on_min}
                for moment in step.moments
            ]
        steps.append(entry)
    table: dict[str, object] = {"key": recipe.key, "name": recipe.name, "steps": steps}
    if recipe.note:
        table["note"] = recipe.note
    return table


def faults(recipe: Recipe, kinds: Mapping[str, Kind] | None = None) -> tuple[str, ...]:
    """What is wrong with a recipe, one sentence each, empty where it is sound.

    `kinds` gives the kind of each known resin by key; without it resins are not looked up.
    """
    found: list[str] = []
    if not recipe.key.strip() or not recipe.name.strip():
        found.append("key and name of the recipe must not be empty")
    if not recipe.steps:
        found.append("the recipe has no steps; add at least one")
    if len(recipe.steps) > MOST_STEPS:
        found.append(f"the recipe has {len(recipe.steps)} steps; at most {MOST_STEPS} are planned")
    seen: set[str] = set()
    below: Step | None = None
    for place, step in enumerate(recipe.steps):
        if not step.key.strip() or not step.name.strip():
            found.append(f"key and name of step {place + 1} must not be empty")
        if step.key in seen:
            found.append(f"two steps have the key {step.key!r}; give each its own")
        seen.add(step.key)
        found += _own_faults(step)
        found += _resin_faults(step, kinds)
        found += _need_faults(step, below, kinds)
        found += _moment_faults(recipe, place, kinds)
        if step.resin is not None:
            below = step
    return tuple(found)


def layer_of(recipe: Recipe, place: int) -> Step | None:
    """The step whose layer the moments of a step belong to: itself, or the next with a resin."""
    return next((step for step in recipe.steps[place:] if step.resin is not None), None)


_SIZES = ("area_cm2", "depth_mm", "volume_ml")
_STEP_FIELDS = ("key", "kind", "name", "resin", "needs", "hands_on_min", *_SIZES, "moments")


def _own_faults(step: Step) -> list[str]:
    found = []
    if step.kind not in STEP_KINDS:
        found.append(f"kind of {step.name} is {step.kind!r}; use one of {', '.join(STEP_KINDS)}")
    if step.needs not in NEEDS:
        found.append(f"needs of {step.name} is {step.needs!r}; use one of {', '.join(NEEDS)}")
    if not 0.0 <= step.hands_on_min <= LONGEST_HANDS_ON_MIN:
        found.append(_minutes_fault(step.name, step.hands_on_min))
    for field in _SIZES:
        value = getattr(step, field)
        if value is not None and not (math.isfinite(value) and value > 0.0):
            found.append(f"{field} of {step.name} is {value:g}; it must be above 0")
    return found


def _resin_faults(step: Step, kinds: Mapping[str, Kind] | None) -> list[str]:
    wanted = MADE_OF.get(step.kind)
    if wanted is None:
        return []
    if not wanted:
        return [] if step.resin is None else [f"{step.name} is work alone; leave its resin out"]
    if step.resin is None:
        return [f"{step.name} has no resin; name one ({' or '.join(wanted)})"]
    if kinds is None:
        return []
    if step.resin not in kinds:
        return [f"resin {step.resin!r} of {step.name} is not on the shelf; add it or choose one"]
    if kinds[step.resin] not in wanted:
        return [
            f"resin {step.resin!r} of {step.name} is a {kinds[step.resin]}; "
            f"it must be a {' or '.join(wanted)}"
        ]
    return []


def _need_faults(step: Step, below: Step | None, kinds: Mapping[str, Kind] | None) -> list[str]:
    if step.needs == "none" or step.needs not in NEEDS:
        return []
    if below is None:
        return [f"{step.name} needs {step.needs}, but there is no layer below it; use none"]
    possible = _possible_kinds(below, kinds)
    stages = {stage for window in NEED_WINDOWS[step.needs] for stage in window if stage}
    if possible and not any(stages <= set(STAGES[kind]) for kind in possible):
        return [
            f"{step.name} needs {step.needs} of {below.name}, which is a {possible[0]} "
            "and has no such stage; choose another need"
        ]
    return []


def _moment_faults(recipe: Recipe, place: int, kinds: Mapping[str, Kind] | None) -> list[str]:
    step = recipe.steps[place]
    found = []
    for moment in step.moments:
        if moment.kind not in MOMENT_KINDS:
            found.append(
                f"moment {moment.kind!r} of {step.name} is not one of {', '.join(MOMENT_KINDS)}"
            )
            continue
        if not 0.0 <= moment.hands_on_min <= LONGEST_HANDS_ON_MIN:
            found.append(_minutes_fault(f"{moment.kind} of {step.name}", moment.hands_on_min))
        layer = layer_of(recipe, place)
        if layer is None:
            found.append(f"{moment.kind} of {step.name} has no layer after it; move it to one")
            continue
        possible = _possible_kinds(layer, kinds)
        if possible and not any((moment.kind, kind) in MOMENT_WINDOWS for kind in possible):
            found.append(f"{moment.kind} makes no sense for {layer.name}, a {possible[0]}")
    return found


def _possible_kinds(step: Step, kinds: Mapping[str, Kind] | None) -> tuple[Kind, ...]:
    if kinds is not None and step.resin is not None and step.resin in kinds:
        return (kinds[step.resin],)
    return MADE_OF.get(step.kind, ())


def _minutes_fault(name: str, minutes: float) -> str:
    return f"hands_on_min of {name} is {minutes:g} min; expected 0 to {LONGEST_HANDS_ON_MIN:g} min"


def _step(table: Mapping[str, object], name: str, wrong: list[str]) -> Step:
    _unknown(table, _STEP_FIELDS, name, wrong)
    resin = table.get("resin")
    if resin is not None and not (isinstance(resin, str) and resin.strip()):
        wrong.append(f"resin of {name} is {resin!r}; it must be a resin's key")
    key = _text(table, "key", name, wrong)
    titled = _text(table, "name", name, wrong) if "name" in table else key.replace("_", " ")
    listed = table.get("moments", ())
    if not isinstance(listed, Sequence) or isinstance(listed, str):
        wrong.append(f"moments of {name} is {listed!r}; it must be a list")
        listed = ()
    sizes = {field: _number(table, field, name, wrong) for field in _SIZES if field in table}
    return Step(
        key=key,
        kind=cast(StepKind, _text(table, "kind", name, wrong)),
        name=titled,
        resin=cast("str | None", resin),
        needs=cast(Need, table.get("needs", "none")),
        hands_on_min=_minutes(table, name, wrong),
        moments=tuple(_moment(entry, name, wrong) for entry in listed),
        **sizes,
    )


def _not_a_step(entry: object, place: int, wrong: list[str]) -> Step:
    wrong.append(f"step {place} is {entry!r}; it must be a table with key, kind and name")
    return Step("", "finish", "")


def _moment(entry: object, name: str, wrong: list[str]) -> Moment:
    if isinstance(entry, str):
        return Moment(cast(MomentKind, entry))
    if not isinstance(entry, Mapping):
        wrong.append(f"a moment of {name} is {entry!r}; give its kind, such as 'pull_tape'")
        return Moment("pull_tape")
    _unknown(entry, ("kind", "hands_on_min"), f"a moment of {name}", wrong)
    kind = _text(entry, "kind", f"a moment of {name}", wrong)
    return Moment(cast(MomentKind, kind), _minutes(entry, f"a moment of {name}", wrong))


def _minutes(table: Mapping[str, object], name: str, wrong: list[str]) -> float:
    minutes = _number(table, "hands_on_min", name, wrong) if "hands_on_min" in table else None
    return USUAL_HANDS_ON_MIN if minutes is None else minutes


def _text(table: Mapping[str, object], field: str, name: str, wrong: list[str]) -> str:
    value = table.get(field)
    if isinstance(value, str) and value.strip():
        return value
    wrong.append(f"{field} of {name} is {value!r}; it must be text")
    return ""


def _number(table: Mapping[str, object], field: str, name: str, wrong: list[str]) -> float | None:
    value = table.get(field)
    if value is None:
        return None
    if isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
        return float(value)
    wrong.append(f"{field} of {name} is {value!r}; it must be a number")
    return None


def _unknown(
    table: Mapping[str, object], known: Sequence[str], name: str, wrong: list[str]
) -> None:
    wrong += [
        f"{field} is not a setting of {name}; remove it or correct it"
        for field in table
        if field not in known
    ]
