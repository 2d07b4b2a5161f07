"""Server-side pictures: SVG with axes in local time, bands, shading, and a text equivalent.

Pure: values in, markup out. Colours are classes of the style sheet, so that the picture
follows light and dark; meaning is never by colour alone. Each picture is drawn twice, for a
desk and for a phone, where the wide one would be too small to read; the style sheet shows one.
"""

from __future__ import annotations

import itertools
import json
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from html import escape

from markupsafe import Markup

from dashboard.axes import TimeAxis
from dashboard.wording import Local

WIDTH = 720
NARROW = 380
# A phone's picture is half as wide: this many steps are as many as it can show.
NARROW_POINTS = 100
# A phone shows a span this long by days: their mean and range, not a zigzag of half-days.
BY_DAYS_S = 14 * 86400.0
_ROWS = 5  # of names of marks; more are told below the chart
_LETTER = 8.5  # about as wide as a letter of an axis is


@dataclass(frozen=True)
class Line:
    """One curve: moments, values, a class of the style sheet, its name, and its spread."""

    at_s: Sequence[float]
    values: Sequence[float]
    css: str
    name: str
    low: Sequence[float] | None = None
    high: Sequence[float] | None = None


@dataclass(frozen=True)
class Shade:
    """A stretch of time with something to say about it."""

    from_s: float
    to_s: float
    css: str
    name: str


@dataclass(frozen=True)
class Chart:
    """A chart over time, ready to be drawn. `elapsed`: seconds from a start, not moments."""

    title: str
    from_s: float
    to_s: float
    unit: str
    lines: Sequence[Line]
    shades: Sequence[Shade] = ()
    now_s: float | None = None
    floor: float | None = None
    ceiling: float | None = None
    height: int = 240
    text: str = ""
    marks: Sequence[tuple[float, str]] = ()
    elapsed: bool = False


def picture(drawn: Chart, local: Local) -> Markup:
    """The chart for a desk and for a phone, with its values for the cursor's read-out."""
    drawn = _in_its_language(drawn, local)
    values = escape(json.dumps(_read_out(drawn, local), separators=(",", ":")), quote=True)
    title = escape(drawn.title, quote=True)
    inner = _both(drawn, local)
    return Markup(f'<div class="picture" data-title="{title}" data-read="{values}">{inner}</div>')


def both(drawn: Chart, local: Local) -> Markup:
    """The chart for a desk and for a phone."""
    return _both(_in_its_language(drawn, local), local)


def chart(drawn: Chart, local: Local, narrow: bool = False, css: str = "chart") -> Markup:
    """Draw one chart; its text says the same to those who cannot see it."""
    return _chart(_in_its_language(drawn, local), local, narrow, css)


def _in_its_language(drawn: Chart, local: Local) -> Chart:
    """The chart with its words in the language of the page."""
    said = local.language.said
    return replace(
        drawn,
        title=said(drawn.title),
        text=said(drawn.text),
        lines=[replace(line, name=said(line.name)) for line in drawn.lines],
        shades=[replace(shade, name=said(shade.name)) for shade in drawn.shades],
        marks=[(at_s, said(name)) for at_s, name in drawn.marks],
    )


def _both(drawn: Chart, local: Local) -> Markup:
    step_s = 86400.0 if drawn.to_s - drawn.from_s > BY_DAYS_S and not drawn.elapsed else 0.0
    thin = replace(drawn, lines=[_thinned(line, step_s) for line in drawn.lines])
    return _chart(drawn, local, css="chart desk") + _chart(thin, local, narrow=True)


def _chart(drawn: Chart, local: Local, narrow: bool = False, css: str = "chart") -> Markup:
    values = [
        value
        for line in drawn.lines
        for series in (line.values, line.low or (), line.high or ())
        for value in series
        if math.isfinite(value)
    ]
    low = drawn.floor if drawn.floor is not None else min(values, default=0.0)
    high = drawn.ceiling if drawn.ceiling is not None else max(values, default=1.0)
    low, high = _room_for(low, high, drawn)
    steps = _value_ticks(low, high, min(5, max(int((drawn.height - 46) / 20), 1)))
    width = NARROW if narrow else WIDTH
    left, right = _sides(narrow)
    top, bottom = 20.0, drawn.height - 26.0
    axis = TimeAxis(drawn.from_s, drawn.to_s, left, right, local, drawn.elapsed)

    def y(value: float) -> float:
        return bottom - (value - low) / max(high - low, 1e-9) * (bottom - top)

    dark = [Shade(a, b, "night", "") for a, b in nights(axis)]
    parts = _all_shaded(axis, top, bottom, [*dark, *drawn.shades], named=not narrow)
    for value in steps:
        at = y(value)
        parts.append(
            f'<line class="grid" x1="{left}" x2="{right}" y1="{at:.1f}" y2="{at:.1f}"/>'
            f'<text class="tick" x="{left - 6}" y="{at + 4:.1f}" text-anchor="end">{value:g}</text>'
        )
    parts.append(time_ticks(axis, top, bottom, 4 if narrow else 7))
    parts.append(f'<text class="tick" x="{left + 4}" y="14">{escape(drawn.unit)}</text>')
    parts += [_line(axis, y, line) for line in drawn.lines]
    parts.append(_noted(axis, drawn.marks, top, bottom))
    parts.append(now_line(axis, drawn.now_s, top, bottom, top - 6, left + 44.0))
    kind = "chart narrow" if narrow else css
    return svg(drawn.height, drawn.title, drawn.text, parts, kind, width)


def _noted(axis: TimeAxis, marks: Sequence[tuple[float, str]], top: float, bottom: float) -> str:
    """Marks as lines, then their names above them, each in the lowest row that is free."""
    lines, names = "", ""
    rows: list[list[tuple[float, float]]] = [[] for _ in range(_ROWS)]
    for at_s, name in sorted(marks):
        x, wide = axis.x(at_s), _LETTER * len(name)
        lines += (
            f'<line class="noted" x1="{x:.1f}" x2="{x:.1f}" y1="{top}" y2="{bottom}">'
            f"<title>{escape(name)}</title></line>"
        )
        start = x + 3 if x + 3 + wide <= axis.right else x - 3 - wide
        for number, row in enumerate(rows):
            if all(start > end or start + wide < begin for begin, end in row):
                row.append((start, start + wide))
                names += (
                    f'<text class="tick said" x="{start:.1f}" y="{bottom - 5 - 17 * number}">'
                    f"{escape(name)}</text>"
                )
                break
    return lines + names


def _sides(narrow: bool) -> tuple[float, float]:
    return (40.0, NARROW - 6.0) if narrow else (46.0, WIDTH - 10.0)


def _read_out(drawn: Chart, local: Local) -> dict[str, object]:
    """What the script needs to say the values at a moment: few and short numbers."""
    times: list[Sequence[float]] = []
    lines = []
    for line in drawn.lines:
        if not any(line.at_s is known for known in times):
            times.append(line.at_s)
        place = next(n for n, known in enumerate(times) if known is line.at_s)
        shown = [round(v, 1) if math.isfinite(v) else None for v in line.values]
        lines.append([line.name, place, shown])
    return {
        "from": round(drawn.from_s),
        "to": round(drawn.to_s),
        "zone": "" if drawn.elapsed else local.zone.key,
        "unit": drawn.unit,
        "wide": [WIDTH, *_sides(False)],
        "narrow": [NARROW, *_sides(True)],
        "at": [[round(at_s - drawn.from_s) for at_s in moments] for moments in times],
        "lines": lines,
        "shades": [
            [round(s.from_s - drawn.from_s), round(s.to_s - drawn.from_s), s.name]
            for s in drawn.shades
            if s.name
        ],
    }


def _thinned(line: Line, step_s: float = 0.0) -> Line:
    """At most so many steps, each with the mean of its values and the whole of its range."""
    every = -(-len(line.at_s) // NARROW_POINTS)
    if len(line.at_s) > 1:
        usual_s = (line.at_s[-1] - line.at_s[0]) / (len(line.at_s) - 1)
        every = max(every, round(step_s / max(usual_s, 1.0)))
    if every <= 1:
        return line
    cuts = [slice(n, n + every) for n in range(0, len(line.at_s), every)]

    def told(series: Sequence[float], how: Callable[[Sequence[float]], float]) -> list[float]:
        kept = ([v for v in series[cut] if math.isfinite(v)] for cut in cuts)
        return [how(part) if part else math.nan for part in kept]

    return replace(
        line,
        at_s=[line.at_s[cut][len(line.at_s[cut]) // 2] for cut in cuts],
        values=told(line.values, lambda part: sum(part) / len(part)),
        low=None if line.low is None else told(line.low, min),
        high=None if line.high is None else told(line.high, max),
    )


def now_line(
    axis: TimeAxis, now_s: float | None, top: float, bottom: float, words_y: float, clear: float
) -> str:
    """The line of the present and its word, which keeps right of `clear`."""
    if now_s is None or not axis.from_s <= now_s <= axis.to_s:
        return ""
    x, word = axis.x(now_s), axis.local.language.said(axis.local.now_word)
    wide = max(_LETTER * len(word), 36.0)
    anchor, beside = ("end", x - 4) if x > axis.right - wide - 4 else ("start", max(x + 4, clear))
    return (
        f'<line class="now" x1="{x:.1f}" x2="{x:.1f}" y1="{top}" y2="{bottom}"/>'
        f'<text class="tick strong" x="{beside:.1f}" y="{words_y}" text-anchor="{anchor}">'
        f"{escape(word)}</text>"
    )


def _line(axis: TimeAxis, y: Callable[[float], float], line: Line) -> str:
    out = ""
    if line.low is not None and line.high is not None:
        edge = [*zip(line.at_s, line.high, strict=True)]
        edge += reversed([*zip(line.at_s, line.low, strict=True)])
        # A shade needs no tenths; they would be a quarter of the page's weight.
        points = " ".join(f"{axis.x(t):.0f},{y(v):.0f}" for t, v in edge if math.isfinite(v))
        out += f'<polygon class="spread {line.css}" points="{points}"/>'
    for run in _runs(line.at_s, line.values):
        points = " ".join(f"{axis.x(t):.1f},{y(v):.1f}" for t, v in run)
        out += (
            f'<polyline class="line {line.css}" points="{points}">'
            f"<title>{escape(line.name)}</title></polyline>"
        )
    return out


def _runs(at_s: Sequence[float], values: Sequence[float]) -> Iterable[list[tuple[float, float]]]:
    """Stretches without a gap: a hole in the log is a hole in the line."""
    gaps = sorted(b - a for a, b in itertools.pairwise(at_s))
    usual = gaps[len(gaps) // 2] if gaps else 0.0
    run: list[tuple[float, float]] = []
    for moment, value in zip(at_s, values, strict=True):
        broken = run and moment - run[-1][0] > 6 * max(usual, 60.0)
        if run and (broken or not math.isfinite(value)):
            yield run
            run = []
        if math.isfinite(value):
            run.append((moment, value))
    if run:
        yield run


def nights(axis: TimeAxis) -> list[tuple[float, float]]:
    """The nights to shade; none on an axis too long to show them, or of elapsed hours."""
    if axis.elapsed or axis.to_s - axis.from_s > 15 * 86400.0:
        return []
    return axis.local.nights(axis.from_s, axis.to_s)


def shaded(
    axis: TimeAxis, top: float, bottom: float, css: str, from_s: float, to_s: float, name: str = ""
) -> str:
    """A stretch of time, shaded, with its name."""
    x, end = axis.x(from_s), axis.x(to_s)
    title = f"<title>{escape(name)}</title>" if name else ""
    return (
        f'<rect class="shade {css}" x="{x:.1f}" y="{top}" width="{max(end - x, 0.5):.1f}" '
        f'height="{bottom - top:.1f}">{title}</rect>'
    )


def _all_shaded(
    axis: TimeAxis, top: float, bottom: float, shades: Sequence[Shade], named: bool
) -> list[str]:
    """Every stretch with its name; where none hovers over it, one path for each kind."""
    if named:
        return [shaded(axis, top, bottom, s.css, s.from_s, s.to_s, s.name) for s in shades]
    found = []
    for css in dict.fromkeys(shade.css for shade in shades):
        path = ""
        for shade in shades:
            if shade.css == css:
                x, end = axis.x(shade.from_s), axis.x(shade.to_s)
                path += f"M{x:.1f} {top:g}H{max(end, x + 0.5):.1f}V{bottom:g}H{x:.1f}Z"
        found.append(f'<path class="shade {css}" d="{path}"/>')
    return found


def time_ticks(axis: TimeAxis, top: float, bottom: float, most: int) -> str:
    """The axis of time: lines and round local moments, as many as do not touch."""
    out, free_from = "", -math.inf
    for at_s, words in axis.ticks(most):
        x = axis.x(at_s)
        anchor = "middle"
        if x < axis.left + 20:
            anchor = "start"
        elif x > axis.right - 20:
            anchor = "end"
        out += f'<line class="grid" x1="{x:.1f}" x2="{x:.1f}" y1="{top}" y2="{bottom + 4}"/>'
        wide = _LETTER * len(words)
        start = x - wide * {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor]
        if start < free_from:
            continue
        free_from = start + wide + _LETTER
        out += (
            f'<text class="tick" x="{x:.1f}" y="{bottom + 20}" text-anchor="{anchor}">'
            f"{escape(words)}</text>"
        )
    return out


def _room_for(low: float, high: float, drawn: Chart) -> tuple[float, float]:
    """The axis of values: what was measured and a little air, where no end of it is given."""
    air = max((high - low) * 0.06, 0.5)
    return (
        low - air if drawn.floor is None else low,
        high + air if drawn.ceiling is None else high,
    )


def _value_ticks(low: float, high: float, most: int) -> list[float]:
    """Round values from `low` to `high`, about `most` steps apart."""
    least = max(high - low, 0.5) / most
    power = 10.0 ** math.floor(math.log10(least))
    step = next(n * power for n in (1, 2, 2.5, 5, 10) if n * power >= least)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(number * step, 6) for number in range(first, last + 1)]


def svg(
    height: float, title: str, text: str, parts: Sequence[str], css: str, width: int = WIDTH
) -> Markup:
    """The picture with its text equivalent."""
    label = escape(f"{title}. {text}", quote=True)
    return Markup(
        f'<svg class="{css}" viewBox="0 0 {width} {height}" role="img" aria-label="{label}" '
        f'xmlns="http://www.w3.org/2000/svg">{"".join(parts)}</svg>'
    )
