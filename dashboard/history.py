"""Pieces on the bench and before: search, filters, and two cures compared on one axis."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass

from flask import render_template, request

from dashboard import views, wording
from dashboard.db import reader
from dashboard.drawing import Chart, Line, picture
from dashboard.forms import whole
from dashboard.views import local, numbered
from dashboard.wording import Local
from monitor.answers.comparing import CureRun, cure_run
from monitor.core.vocabulary import FloatArray, Layer, Outlook, Piece
from monitor.store import outlooks, pieces

WHERE: Mapping[str, str] = {
    "all": "all",
    "bench": "on the bench",
    "finished": "finished",
    "away": "put away",
}
AXES: Mapping[str, str] = {
    "since": "hours since the pour",
    "age": "hours at the label's temperature (equivalent age)",
}
STYLES = ("ink", "second")
# A stage, and for each side the label's time and what it took.
Row = tuple[str, list[tuple[str, str]]]


def history() -> str:
    """Pieces with a search, by where they are and by resin."""
    con = reader()
    search = request.args.get("q", "")[:100]
    where = request.args.get("where", "all")
    where = where if where in WHERE else "all"
    everything = pieces.pieces(con)
    used = sorted({one.resin.name for piece in everything for one in piece.layers})
    resin = request.args.get("resin", "")
    resin = resin if resin in used else ""
    ended = {"bench": False, "finished": True}.get(where)
    # What was put away is out of sight unless it is asked for.
    found = pieces.pieces(con, ended=ended, search=search, archived=where == "away")
    if resin:
        found = [one for one in found if any(layer.resin.name == resin for layer in one.layers)]
    return render_template(
        "pieces.html",
        found=found,
        search=search,
        where=where,
        wheres=WHERE,
        resin=resin,
        resins=used,
        any_piece=bool(everything),
        can_compare=sum(len(one.layers) for one in everything) > 1,
        local=local(),
    )


@dataclass(frozen=True)
class Side:
    """One of the two layers compared."""

    piece: Piece
    layer: Layer
    outlook: Outlook | None
    run: CureRun | None
    words: str


def compare() -> str:
    """Two layers of any pieces: one chart of cure, one of temperature, one table."""
    con, here = reader(), local()
    everything = pieces.pieces(con)
    layers = {layer.id: (piece, layer) for piece in everything for layer in piece.layers}
    axis = request.args.get("axis", "since")
    axis = axis if axis in AXES else "since"
    chosen = _chosen(layers)
    sides = [_side(con, *layers[number], here) for number in chosen]
    curves = [(side, css) for side, css in zip(sides, STYLES, strict=False) if side.run]
    cure, warmth = _charts(curves, axis, here) if curves else ("", "")
    shared, single = _rows(sides, axis)
    return render_template(
        "compare.html",
        everything=[one for one in everything if one.layers],
        chosen=chosen,
        axis=axis,
        axes=AXES,
        sides=sides,
        cure=cure,
        warmth=warmth,
        shared=shared,
        single=single,
        local=here,
    )


def _chosen(layers: Mapping[int, tuple[Piece, Layer]]) -> list[int]:
    """The layers asked for; else the last reacting layer of each piece asked for, or of any."""
    wanted = [whole(typed) for typed in request.args.getlist("layer")]
    found = [number for number in wanted if number is not None and number in layers][:2]
    asked = {whole(typed) for typed in request.args.getlist("piece")} - {None}
    # Where one layer of one piece is like any other, the curing ones come first.
    order = sorted(
        layers.values(),
        key=lambda pair: (pair[1].resin.kind == "paint", -pair[1].poured_at_s),
    )
    pieces_taken = {layers[number][0].id for number in found}
    for strict in (True, False):
        for piece, layer in order:
            if len(found) == 2:
                return found
            fresh = layer.id not in found and (not strict or piece.id not in pieces_taken)
            if fresh and (not asked or piece.id in asked or not strict):
                found.append(layer.id)
                pieces_taken.add(piece.id)
    return found


def _side(con: sqlite3.Connection, piece: Piece, layer: Layer, here: Local) -> Side:
    outlook = outlooks.latest(con, layer.id)
    done = wording.DONE[layer.resin.kind].lower()
    words = f"{layer.resin.name}; {done} {here.full(layer.poured_at_s)}"
    if layer.depth_mm:
        words += f"; {here.units.quantity(layer.depth_mm, 'mm')}"
    if outlook is not None:
        words += f"; {wording.state_name(layer.resin.kind, outlook.state)}"
    run = None if outlook is None else cure_run(layer, outlook)
    return Side(piece, layer, outlook, run, words + ".")


def _charts(curves: list[tuple[Side, str]], axis: str, here: Local) -> tuple[object, object]:
    runs = [(side, css, side.run) for side, css in curves if side.run is not None]
    # To where the slower of the two has done nearly all it will do.
    to_h = max(_settled_h(run, axis) for _, _, run in runs)

    def lines(side: Side, css: str, run: CureRun, values: FloatArray) -> list[Line]:
        """What was, and dotted what is yet to come."""
        hours, name = _hours(run, axis), f"{side.piece.name}: {side.layer.name}"
        over_s = side.layer.ended_at_s or here.now_s
        past = run.since_h <= (over_s - side.layer.poured_at_s) / 3600.0
        shown = hours <= to_h
        return [
            Line(numbered(hours[part] * 3600.0), numbered(values[part]), style, name)
            for part, style in ((past & shown, css), (~past & shown, f"{css} coming"))
            if part.any()
        ]

    cure = picture(
        Chart(
            "Degree of cure", 0.0, to_h * 3600.0, "%",
            [line for side, css, run in runs for line in lines(side, css, run, run.cured_pct)],
            floor=0.0, ceiling=100.0, height=230, elapsed=True, text=f"Against {AXES[axis]}.",
        ),
        here,
    )  # fmt: skip
    units = here.units
    warmth = picture(
        Chart(
            "Temperature of the resin", 0.0, to_h * 3600.0, units.degree,
            [
                line
                for side, css, run in runs
                for line in lines(side, css, run, units.all_shown(run.resin_c))
            ],
            height=190, elapsed=True, text=f"Against {AXES[axis]}.",
        ),
        here,
    )  # fmt: skip
    return cure, warmth


def _hours(run: CureRun, axis: str) -> FloatArray:
    return run.age_h if axis == "age" else run.since_h


def _settled_h(run: CureRun, axis: str) -> float:
    hours = _hours(run, axis)
    near = run.cured_pct >= 0.98 * run.cured_pct[-1]
    first = float(hours[near.argmax()])
    return (
        min(max(first * 1.3, 6.0), float(hours[-1])) if math.isfinite(first) else float(hours[-1])
    )


def _rows(sides: list[Side], axis: str) -> tuple[list[Row], list[Row]]:
    """Stages in the order of a cure: those both have, and those of one alone."""
    found: dict[str, dict[int, tuple[str, str]]] = {}
    due_h: dict[str, float] = {}
    for place, side in enumerate(sides):
        if side.outlook is None:
            continue
        for _, stage in views.told(side.layer, side.outlook):
            at_s = stage.reached_at_s or stage.p50_s
            took = "not in sight"
            if at_s is not None:
                hours = (at_s - side.layer.poured_at_s) / 3600.0
                if axis == "age" and side.run is not None:
                    hours = _age_at(side.run, hours)
                took = wording.hours(hours)
                # As in the record: what was not seen to be reached is an estimate.
                took = took if stage.reached_at_s is not None else f"~{took}"
            due_h.setdefault(stage.key, stage.label_h)
            found.setdefault(stage.key, {})[place] = (wording.hours(stage.label_h), took)
    rows = [
        (wording.STAGE_NAMES.get(key, key), [by.get(n, ("", "")) for n in range(len(sides))])
        for key, by in sorted(found.items(), key=lambda one: due_h[one[0]])
    ]
    return (
        [row for row in rows if all(took for _, took in row[1])],
        [row for row in rows if not all(took for _, took in row[1])],
    )


def _age_at(run: CureRun, since_h: float) -> float:
    place = min(int(run.since_h.searchsorted(since_h)), len(run.since_h) - 1)
    if place == 0:
        return float(run.age_h[0])
    low, high = run.since_h[place - 1], run.since_h[place]
    share = min(max((since_h - low) / max(high - low, 1e-9), 0.0), 1.0)
    return float(run.age_h[place - 1] + share * (run.age_h[place] - run.age_h[place - 1]))
