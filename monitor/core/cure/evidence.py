"""Marks of a layer -> one interval for each stage that a finger can feel.

"Tacky at 6 h, tack-free at 9 h" says: tack-free came in between. Repeated touches of one
layer are one interval (last not yet, first reached), not independent data. Which mark
speaks of which stage is common practice, no published source: see `_SPEAKS`. Full cure,
the end of the bubbles' rest and a pour's working time (which is a matter of the cup, not
of the film) cannot be felt on the piece, so no mark speaks of them.

Layers cure at different temperatures, and what a mark's clock time is worth in hours at
the label's temperature depends on the activation energy. So each end of an interval is
an array over a grid of activation energies.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from monitor.core.cure.warming import LabelRoom, clock, depth_mm, label_room, own_rise
from monitor.core.physics.aging import equivalent_age, kelvin
from monitor.core.vocabulary import Basis, FloatArray, Kind, Layer, Mark, ResinProfile

EA_POINTS = 13
EA_SPAN_SD = 3.0
DEEPER_THAN_LABEL = 1.5
EA_LEAST_J_MOL = 5_000.0  # keeps the grid positive under a very wide prior

# stage -> (marks that say "not yet", marks that say "reached")
_Speaks = Mapping[str, tuple[frozenset[str], frozenset[str]]]


def _speaks(**stages: tuple[str, str]) -> _Speaks:
    return MappingProxyType(
        {key: (frozenset(no.split()), frozenset(yes.split())) for key, (no, yes) in stages.items()}
    )


_SPEAKS: Mapping[Kind, _Speaks] = MappingProxyType(
    {
        "pour": _speaks(
            tape_window_open=(
                "still_liquid tape_too_early",
                "stringy tacky tack_free nail_dents hard tape_good tape_too_late",
            ),
            tape_window_close=("still_liquid tape_too_early tape_good", "tape_too_late"),
            recoat_window_open=("still_liquid stringy", "tacky tack_free nail_dents hard"),
            tack_free=("still_liquid stringy tacky tape_too_early", "tack_free nail_dents hard"),
            sandable=("still_liquid stringy tacky tack_free nail_dents tape_too_early", "hard"),
        ),
        "adhesive": _speaks(
            working_time_end=("still_liquid", "stringy tacky tack_free nail_dents hard"),
            # between tacky and firm under the nail, handling set cannot be told
            handling_set=("still_liquid stringy tacky", "nail_dents hard"),
        ),
        "paint": _speaks(),  # dries by evaporation: it has no reaction rate to learn
    }
)


@dataclass(frozen=True)
class Evidence:
    """What one layer's marks say of one stage.

    The stage came after `age_lower_h` (0 where nothing bounds it) and by `age_upper_h`
    (infinity likewise): equivalent hours at the resin's reference temperature, arrays
    (len(ea_grid),). The label puts it at an equivalent age of `label_age_h`; where the
    label's own layer warms itself, its print says `label_h` instead. `at_s` is the latest
    mark used, `mark_ids` all of them.
    `contradictory`: a later mark said "not yet" after an earlier one said "reached".
    """

    layer_id: int
    layer_name: str
    batch: str
    event: str
    basis: Basis
    label_age_h: float
    at_s: float
    age_lower_h: FloatArray
    age_upper_h: FloatArray
    mark_ids: tuple[int, ...] = ()
    contradictory: bool = False
    label_h: float | None = None


@dataclass(frozen=True)
class Felt:
    """One stage of one layer as its marks bound it: after `low_s`, by `high_s` (may be inf).

    `wet` and `dry` are the marks that say "not yet" and "reached", each in order of time.
    """

    event: str
    low_s: float
    high_s: float
    wet: tuple[Mark, ...]
    dry: tuple[Mark, ...]


def felt_between(layer: Layer, marks: Sequence[Mark]) -> tuple[Felt, ...]:
    """When each stage came, as far as the layer's marks tell.

    Marks of other layers, set aside, notes, or made before the pour do not count.
    """
    used = sorted(
        (
            mark
            for mark in marks
            if mark.layer_id == layer.id and not mark.set_aside and mark.at_s > layer.poured_at_s
        ),
        key=lambda mark: mark.at_s,
    )
    found = []
    for event, (not_yet, reached) in _SPEAKS[layer.resin.kind].items():
        if event not in layer.resin.stages:
            continue
        wet = tuple(mark for mark in used if _word(mark) in not_yet)
        dry = tuple(mark for mark in used if _word(mark) in reached)
        if wet or dry:
            found.append(Felt(event, *_interval(layer.poured_at_s, wet, dry), wet, dry))
    return tuple(found)


def ea_grid_of(profile: ResinProfile) -> FloatArray:
    """The grid of activation energies [J/mol] of a resin's belief, (EA_POINTS,)."""
    spread = EA_SPAN_SD * np.linspace(-1.0, 1.0, EA_POINTS) * max(profile.ea_sd_j_mol, 1.0)
    return np.maximum(profile.ea_j_mol + spread, EA_LEAST_J_MOL)


def evidence_of(
    layer: Layer,
    marks: Sequence[Mark],
    at_s: FloatArray,
    resin_c: FloatArray,
    ea_grid: FloatArray | None = None,
    label: LabelRoom | None = None,
) -> tuple[Evidence, ...]:
    """One `Evidence` for each stage that the layer's marks speak of.

    Parameters
    ----------
    layer, marks
        Marks of other layers, set aside, notes, or made before the pour do not count.
    at_s, resin_c
        The resin's temperature [C] since the pour, shapes (n,), any spacing. Ends are
        held, gaps bridged; with no finite value at all there is no evidence.
    ea_grid
        Activation energies [J/mol]; `ea_grid_of(layer.resin)` unless given.
    label
        What the label's own layer gains by its warmth; without, its clock is the wall's.
    """
    grid = ea_grid_of(layer.resin) if ea_grid is None else np.asarray(ea_grid, dtype=np.float64)
    known = np.isfinite(at_s) & np.isfinite(resin_c)
    felt = felt_between(layer, marks)
    if not felt or not np.any(known):
        return ()
    ends_s = sorted({end for one in felt for end in (one.low_s, one.high_s) if np.isfinite(end)})
    ages = dict(
        zip(
            ends_s,
            _ages_h(layer, np.array(ends_s), at_s[known], resin_c[known], grid),
            strict=True,
        )
    )
    endless = np.full(grid.shape, np.inf)
    return tuple(
        Evidence(
            layer_id=layer.id,
            layer_name=layer.name,
            batch=layer.batch,
            event=one.event,
            basis=layer.resin.stages[one.event].basis,
            label_age_h=_on_label(label, layer.resin.stages[one.event].hours),
            at_s=max(mark.at_s for mark in (*one.wet, *one.dry)),
            age_lower_h=ages[one.low_s],
            age_upper_h=ages.get(one.high_s, endless),
            mark_ids=tuple(sorted(mark.id for mark in (*one.wet, *one.dry))),
            contradictory=bool(one.wet and one.dry and one.wet[-1].at_s >= one.dry[0].at_s),
            label_h=layer.resin.stages[one.event].hours,
        )
        for one in felt
    )


def evidence_in_room(
    layer: Layer,
    marks: Sequence[Mark],
    at_s: FloatArray,
    room_c: FloatArray,
    ea_grid: FloatArray | None = None,
) -> tuple[Evidence, ...]:
    """`evidence_of` a layer in a room, with the warmth that a deep pour makes itself.

    A layer about as deep as the label assumes warms about as the label's did, which the
    label's times hold already; a deeper one would pass for a faster resin.
    """
    since = at_s >= layer.poured_at_s
    at_h = (at_s[since] - layer.poured_at_s) / 3600.0
    if depth_mm(layer) <= DEEPER_THAN_LABEL * layer.resin.ref_depth_mm or at_h.size < 2:
        return evidence_of(layer, marks, at_s, room_c, ea_grid)
    label = label_room(layer.resin)
    rise = own_rise(layer, label.scale, 1.0, at_h, room_c[since])
    if rise is None:
        return evidence_of(layer, marks, at_s, room_c, ea_grid)
    resin_c = room_c[since] + np.interp(at_h, rise.at_h, rise.rise_c, right=0.0)
    return evidence_of(layer, marks, at_s[since], resin_c, ea_grid, label)


def _on_label(label: LabelRoom | None, hours: float) -> float:
    return hours if label is None else clock(label.at_h, label.age_h, hours)


def beyond_label(item: Evidence) -> tuple[FloatArray, FloatArray]:
    """Both ends as ln(age / label's age), over the activation energies; may be infinite."""
    with np.errstate(divide="ignore"):
        low = np.log(item.age_lower_h / item.label_age_h)
        high = np.log(item.age_upper_h / item.label_age_h)
    return low, high


def _word(mark: Mark) -> str:
    return f"tape_{mark.verdict}" if mark.kind == "tape_pulled" else mark.kind


def _interval(poured_at_s: float, wet: Sequence[Mark], dry: Sequence[Mark]) -> tuple[float, float]:
    """Last not yet, first reached. Where they contradict, the widest reading holds:

    one of them is wrong and nobody knows which, so the stage lies anywhere between the
    last "not yet" before any "reached", and the first "reached" after any "not yet".
    """
    first_dry = dry[0].at_s if dry else np.inf
    last_wet = wet[-1].at_s if wet else poured_at_s
    low = max((mark.at_s for mark in wet if mark.at_s < first_dry), default=poured_at_s)
    high = min((mark.at_s for mark in dry if mark.at_s > last_wet), default=np.inf)
    return low, high


def _ages_h(
    layer: Layer, ends_s: FloatArray, at_s: FloatArray, resin_c: FloatArray, ea_grid: FloatArray
) -> FloatArray:
    """Equivalent age [h] at each of `ends_s` for each activation energy: (ends, grid).

    The log of an age is a very smooth function of the activation energy, so the history
    is summed at five energies only, and a quartic through them gives the rest (error
    below 1e-5 of the age for rooms between 5 and 40 C).
    """
    order = np.argsort(at_s, kind="stable")
    clock_s = np.unique(np.concatenate(([layer.poured_at_s], at_s, ends_s)))
    clock_s = clock_s[(clock_s >= layer.poured_at_s) & (clock_s <= ends_s[-1])]
    temp_k = kelvin(np.interp(clock_s, at_s[order], resin_c[order]))
    ref_k = float(kelvin(layer.resin.ref_temp_c))
    nodes = np.linspace(ea_grid[0], ea_grid[-1], 5) if ea_grid.size > 5 else ea_grid
    summed = equivalent_age(clock_s, temp_k, ref_k, nodes[:, None])
    at_ends = summed[:, np.searchsorted(clock_s, ends_s)]
    if nodes.size == ea_grid.size:
        return at_ends.T
    with np.errstate(divide="ignore"):
        log_age = np.where(at_ends > 0.0, np.log(at_ends), 0.0)
    ages: FloatArray = np.exp(_lagrange(nodes, ea_grid) @ log_age)
    ages[:, ends_s <= layer.poured_at_s] = 0.0
    return ages.T


def _lagrange(nodes: FloatArray, wanted: FloatArray) -> FloatArray:
    """Matrix (wanted, nodes) of polynomial interpolation through all nodes."""
    columns = []
    for index, node in enumerate(nodes):
        others = np.delete(nodes, index)
        columns.append(np.prod((wanted[:, None] - others) / (node - others), axis=1))
    return np.stack(columns, axis=1)
