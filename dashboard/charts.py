"""The pictures of a piece and of a room, drawn from the store."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from markupsafe import Markup

from dashboard import axes, drawing
from dashboard.drawing import Chart, Line, Shade
from dashboard.units import Units
from dashboard.views import numbered
from dashboard.wording import MARK_NAMES, Local, often, span
from monitor.answers import beliefs
from monitor.answers.preview import dew_points_c
from monitor.core.vocabulary import Layer, Outlook, Piece
from monitor.store import alarms, away, forecasts, marks, pieces, readings

POINTS = 240
FINE_POINTS = 2000  # to tell when a limit was passed
LEAST_S = 1800.0  # a shorter stretch is a door left open
LASTING_S = 300.0  # one that still lasts is told sooner
MOST_SHADES = 62
NOTHING = "Nothing was measured in this stretch."


def room(
    con: sqlite3.Connection, key: str, from_s: float, to_s: float, local: Local, shown: Units,
    with_forecast: bool = False, other: str | None = None, other_name: str = "",
    small: bool = False, brief: bool = False, layers: Sequence[Layer] | None = None,
) -> tuple[Markup, Markup, str]:  # fmt: skip
    """Temperature with dew point, humidity, and a sentence that says the same.

    `layers` are those whose limits count; without them, all that cured in this room.
    `small` draws both low, for a sheet of paper, without values for a cursor. `brief` only
    counts the troubled stretches, where the layers themselves say when and how long.
    """
    data = readings.sampled(con, key, from_s, min(to_s, local.now_s), POINTS)
    at_s = numbered(data.at_s)
    lines = [
        Line(
            at_s,
            [shown.shown(v) for v in numbered(data.temp_c)],
            "ink",
            "temperature",
            [shown.shown(v) for v in numbered(data.temp_min_c)],
            [shown.shown(v) for v in numbered(data.temp_max_c)],
        )
    ]
    if len(at_s) and np.isfinite(data.humidity_pct).any():
        dew = dew_points_c(data.temp_c, data.humidity_pct)
        lines.append(Line(at_s, [shown.shown(v) for v in numbered(dew)], "dew", "dew point"))
    if other is not None:
        second = readings.sampled(con, other, from_s, min(to_s, local.now_s), POINTS)
        values = [shown.shown(v) for v in numbered(second.temp_c)]
        lines.append(Line(numbered(second.at_s), values, "second", other_name or other))
    bands = forecasts.latest(con, key) if with_forecast else None
    if bands is not None:
        wanted = (bands.at_s >= local.now_s) & (bands.at_s <= to_s)
        if wanted.any():
            lines.append(
                Line(
                    numbered(bands.at_s[wanted]),
                    [shown.shown(v) for v in numbered(bands.temp_p50_c[wanted])],
                    "ahead",
                    "likely ahead",
                    [shown.shown(v) for v in numbered(bands.temp_p10_c[wanted])],
                    [shown.shown(v) for v in numbered(bands.temp_p90_c[wanted])],
                )
            )
    begun_s = at_s[0] if len(at_s) else from_s
    shades = troubled(con, key, from_s, to_s, local, layers, begun_s)
    text = _room_words(data, local, shown, shades, brief)
    if len(shades) > MOST_SHADES:
        # Slivers that nobody can tell apart; the words say how many and how long.
        shades = []
    draw = drawing.both if small else drawing.picture
    height = 126 if small else 240
    floor, ceiling = _framed(lines, height)
    upper = draw(
        Chart("Temperature and dew point", from_s, to_s, shown.degree, lines, shades,
              local.now_s, floor, ceiling, height, text),
        local,
    )  # fmt: skip
    damp = Line(at_s, numbered(data.humidity_pct), "ink", "humidity",
                numbered(data.humidity_min_pct), numbered(data.humidity_max_pct))  # fmt: skip
    # The same stretches, named once on the page.
    nameless = [replace(shade, name="") for shade in shades]
    lower = draw(
        Chart("Humidity", from_s, to_s, "%RH", [damp], nameless, local.now_s, floor=0.0,
              ceiling=100.0, height=86 if small else 180, text=text),
        local,
    )  # fmt: skip
    return upper, lower, text


def _framed(lines: Sequence[Line], height: int) -> tuple[float | None, float | None]:
    """Round ends for the axis of values, so that a low picture has three labels as well."""
    found = [
        value
        for line in lines
        for series in (line.values, line.low or (), line.high or ())
        for value in series
        if np.isfinite(value)
    ]
    if not found:
        return None, None
    return axes.framed(min(found), max(found), 5 if height > 150 else 4)


def troubled(
    con: sqlite3.Connection, key: str, from_s: float, to_s: float, local: Local,
    layers: Sequence[Layer] | None = None, begun_s: float | None = None,
) -> list[Shade]:  # fmt: skip
    """Stretches in which the room was too cold, too hot or too damp for what cured in it.

    One that stood when the measuring began, at `begun_s`, is told without its own start.
    """
    names = {"cold": "too cold", "damp": "too damp", "hot": "too hot"}
    end_s = min(to_s, local.now_s)
    if layers is None:
        layers = [layer for piece in pieces.pieces(con) for layer in piece.layers]
    first = beliefs.first_sensor(con)
    its = [layer for layer in layers if (layer.sensor or first) == key]
    found = [*_beyond_limits(con, key, from_s, end_s, its), *_damp(con, key, from_s, end_s)]

    def told(css: str, start: float, end: float) -> str:
        still = end >= local.now_s - _NOW_S and not local.dated
        if begun_s is not None and start <= begun_s + max(60.0, (to_s - from_s) / FINE_POINTS):
            until = "now" if still else local.clock(end)
            return f"{names[css]} already at the start, until {until}"
        when = f"since {local.clock(start)}" if still else local.between(start, end)
        return f"{names[css]} {when}"

    return [
        Shade(max(start, from_s), end, css, told(css, start, end))
        for css, start, end in sorted(found, key=lambda one: one[1])
        if end > from_s
    ]


def _beyond_limits(
    con: sqlite3.Connection, key: str, from_s: float, end_s: float, layers: Sequence[Layer]
) -> list[tuple[str, float, float]]:
    """By the readings and the limits of the layers that cured at the time."""
    log = readings.sampled(con, key, from_s, end_s, FINE_POINTS)
    at_s = log.at_s
    if not at_s.size:
        return []
    there = np.ones(at_s.size, dtype=bool)
    for left_s, back_s in away.stretches(con, key):
        there &= (at_s < left_s) | (at_s > (np.inf if back_s is None else back_s))
    past = {css: np.zeros(at_s.size, dtype=bool) for css in ("cold", "hot")}
    for layer in layers:
        over_s = min(layer.ended_at_s or end_s, layer.poured_at_s + beliefs.LAYER_SPAN_S)
        curing = there & (at_s >= layer.poured_at_s) & (at_s <= over_s)
        past["cold"] |= curing & (log.temp_c < layer.resin.min_temp_c)
        past["hot"] |= curing & (log.temp_c > layer.resin.max_temp_c)
    # A reading stands until the next one, but not across a gap.
    until_s = np.minimum(np.append(at_s[1:], end_s), at_s + max(3600.0, 1.5 * log.step_s))
    found = []
    for css, beyond in past.items():
        runs: list[list[float]] = []
        for n in np.flatnonzero(beyond):
            if runs and at_s[n] - runs[-1][1] < LEAST_S:
                runs[-1][1] = float(until_s[n])
            else:
                runs.append([float(at_s[n]), float(until_s[n])])
        for start, end in runs:
            lasts = end >= end_s and end - start >= LASTING_S
            if lasts or end - start >= LEAST_S:
                found.append((css, start, end))
    return found


def _damp(
    con: sqlite3.Connection, key: str, from_s: float, end_s: float
) -> list[tuple[str, float, float]]:
    """As the alarms' journal has it: damp matters only while a surface is open."""
    begun: float | None = None
    found = []
    for entry in reversed(alarms.journal(con, subject=f"room:{key}", to_s=end_s, limit=2000)):
        change = entry.change
        if change.key != "room_too_damp":
            continue
        active = change.after in ("unacknowledged", "acknowledged", "shelved")
        if active and begun is None:
            begun = change.at_s
        elif not active and begun is not None:
            found.append(("damp", begun, change.at_s))
            begun = None
    return found if begun is None else [*found, ("damp", begun, end_s)]


def _room_words(
    data: readings.Sampled, local: Local, shown: Units, shades: list[Shade], brief: bool
) -> str:
    if len(data.at_s) == 0:
        return NOTHING
    last_s = float(data.at_s[-1])
    # A long span's last value stands for hours or days: it is now's if the next would be later.
    usual = float(np.median(np.diff(data.at_s))) if len(data.at_s) > 1 else 0.0
    recent = not local.dated and local.now_s - last_s < max(_NOW_S, usual)
    until = "now" if recent else local.clock(last_s)
    words = (
        f"From {local.clock(float(data.at_s[0]))} to {until}: "
        f"{shown.temperature(float(data.temp_min_c.min()))} to "
        f"{shown.temperature(float(data.temp_max_c.max()))}, on average "
        f"{shown.temperature(float(np.average(data.temp_c, weights=data.count)))}"
    )
    if np.isfinite(data.humidity_pct).any():
        driest, dampest = np.nanmin(data.humidity_min_pct), np.nanmax(data.humidity_max_pct)
        words += f", {driest:.0f} to {dampest:.0f} %RH"
    told = _shade_counts(shades) if brief else _shade_words(shades)
    return f"{words}. {told}".strip()


FEW_SHADES = 3
_NOW_S = 900.0  # what was measured this lately is now


def _shade_counts(shades: list[Shade]) -> str:
    """How often each trouble came: 'Too cold 6 times, too damp once.'"""
    kinds = [shade.name[:8].strip() for shade in shades]
    said = []
    for kind in dict.fromkeys(kinds):
        said.append(f"{kind} {often(kinds.count(kind))}")
    words = ", ".join(said)
    return f"{words[0].upper()}{words[1:]}." if words else ""


def _shade_words(shades: list[Shade]) -> str:
    """Each troubled stretch, or where they are many, how many, how long, and the longest."""
    if len(shades) <= FEW_SHADES:
        return " ".join(f"{shade.name[0].upper()}{shade.name[1:]}." for shade in shades)
    said = []
    for kind in dict.fromkeys(shade.name[:8].strip() for shade in shades):
        its = [shade for shade in shades if shade.name.startswith(kind)]
        longest = max(its, key=lambda shade: shade.to_s - shade.from_s)
        if len(its) == 1:
            said.append(f"T{longest.name[1:]}.")
            continue
        total = span(sum(shade.to_s - shade.from_s for shade in its))
        said.append(f"T{kind[1:]} {often(len(its))}, {total} in all; the longest: {longest.name}.")
    return " ".join(said)


def cure(con: sqlite3.Connection, layer: Layer, outlook: Outlook, local: Local) -> Markup:
    """The curve of one layer with the marks on it."""
    curve = outlook.curve
    if curve is None or len(curve.at_s) == 0:
        return Markup("")
    line = Line(numbered(curve.at_s), numbered(curve.degree_of_cure * 100.0), "ink", "cure")
    noted = [(m.at_s, MARK_NAMES[m.kind]) for m in marks.marks(con, layer.id)]
    text = f"Degree of cure now {outlook.degree_of_cure:.0%}."
    to_s = float(curve.at_s[-1])
    stages = [s.p50_s for s in outlook.stages if s.p50_s is not None]
    if stages:
        to_s = min(to_s, max(stages) + 6 * 3600.0)
    return drawing.picture(
        Chart("Degree of cure", layer.poured_at_s, to_s, "%", [line], now_s=local.now_s,
              floor=0.0, ceiling=100.0, marks=noted, height=190, text=text),
        local,
    )  # fmt: skip


def span_of(piece: Piece, now_s: float) -> tuple[float, float]:
    """From the first pour to the end of the piece, or to now."""
    start = min((layer.poured_at_s for layer in piece.layers), default=piece.created_at_s)
    return start - 3600.0, max(piece.ended_at_s or now_s, start + 3600.0)
