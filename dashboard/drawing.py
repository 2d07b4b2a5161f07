"""Server-side pictures: SVG with axes in local time, bands, shading, and a text equivalent.

Pure: values in, markup out. Colours are classes of the style sheet, so that the picture
follows light and dark; meaning is never by colour alone.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from html import escape

from markupsafe import Markup

from dashboard.wording import Local

_NICE_HOURS = (0.25, 0.5, 1, 2, 3, 6, 12, 24, 48, 168, 336, 720, 2160)


@dataclass(frozen=True)
class TimeAxis:
    """Maps moments onto a width, in local time."""

    from_s: float
    to_s: float
    left: float
    right: float
    local: Local

    def x(self, at_s: float) -> float:
        """Where a moment stands."""
        share = (at_s - self.from_s) / max(self.to_s - self.from_s, 1.0)
        return self.left + min(max(share, 0.0), 1.0) * (self.right - self.left)

    def ticks(self, most: int) -> list[tuple[float, str]]:
        """Round local moments with their labels, at most about so many."""
        hours = (self.to_s - self.from_s) / 3600.0
        step = next((n for n in _NICE_HOURS if hours / n <= most), 8760)
        days = self.local.midnights(self.from_s - 86400.0, self.to_s)
        if step >= 24:
            every = max(1, round(step / 24))
            form = "%-d %b" if hours < 24 * 400 else "%b %Y"
            kept = [d for d in days if self.local.at(d).toordinal() % every == 0]
            return [(d, self.local.at(d).strftime(form)) for d in kept if d >= self.from_s]
        found: list[tuple[float, str]] = []
        for day in days:
            for number in range(math.ceil(24 / step)):
                at_s = day + number * step * 3600.0
                if self.from_s <= at_s <= self.to_s and at_s < day + 86400.0:
                    moment = self.local.at(at_s)
                    midnight = moment.hour == 0 and moment.minute == 0
                    found.append((at_s, moment.strftime("%a %-d" if midnight else "%H:%M")))
        return found


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
    """A chart over time, ready to be drawn."""

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


WIDTH = 720
NARROW = 380


def chart(picture: Chart, local: Local) -> Markup:
    """Draw one chart; its text says the same to those who cannot see it."""
    values = [
        value
        for line in picture.lines
        for series in (line.values, line.low or (), line.high or ())
        for value in series
        if math.isfinite(value)
    ]
    low = picture.floor if picture.floor is not None else min(values, default=0.0)
    high = picture.ceiling if picture.ceiling is not None else max(values, default=1.0)
    steps = _value_ticks(low, high)
    low, high = min(low, steps[0]), max(high, steps[-1])
    left, right, top, bottom = 46.0, WIDTH - 10.0, 18.0, picture.height - 26.0
    axis = TimeAxis(picture.from_s, picture.to_s, left, right, local)

    def y(value: float) -> float:
        return bottom - (value - low) / max(high - low, 1e-9) * (bottom - top)

    parts = [_shade(axis, top, bottom, "night", a, b) for a, b in _nights(axis)]
    parts += [_shade(axis, top, bottom, s.css, s.from_s, s.to_s, s.name) for s in picture.shades]
    for value in steps:
        at = y(value)
        parts.append(
            f'<line class="grid" x1="{left}" x2="{right}" y1="{at:.1f}" y2="{at:.1f}"/>'
            f'<text class="tick" x="{left - 6}" y="{at + 4:.1f}" text-anchor="end">{value:g}</text>'
        )
    parts.append(_time_ticks(axis, top, bottom, 7))
    parts.append(f'<text class="tick" x="{left + 4}" y="12">{escape(picture.unit)}</text>')
    parts += [_line(axis, y, line) for line in picture.lines]
    worded = -1e9
    for at_s, name in sorted(picture.marks):
        x = axis.x(at_s)
        parts.append(
            f'<line class="noted" x1="{x:.1f}" x2="{x:.1f}" y1="{top}" y2="{bottom}">'
            f"<title>{escape(name)}</title></line>"
        )
        if x - worded > 110.0:
            worded = x
            parts.append(
                f'<text class="tick" x="{x + 3:.1f}" y="{bottom - 5}">{escape(name)}</text>'
            )
    parts.append(_now(axis, picture.now_s, top, bottom, top - 5))
    return _svg(picture.height, picture.title, picture.text, parts, "chart")


@dataclass(frozen=True)
class Stop:
    """A stage on the two-line strip: the label's moment above, this room's band below."""

    number: int
    name: str
    label_s: float
    p10_s: float | None
    p50_s: float | None
    p90_s: float | None
    reached: bool


UPPER, LOWER, FOOT = 54.0, 112.0, 142.0


def strip(
    stops: Sequence[Stop], from_s: float, to_s: float, now_s: float, local: Local, text: str,
    narrow: bool = False,
) -> Markup:  # fmt: skip
    """The two-line strip: label above, this room below, one time axis, soft-ended bands.

    `narrow` draws it for a phone, where the wide one would be too small to read.
    """
    width = NARROW if narrow else WIDTH
    axis = TimeAxis(from_s, to_s, 12.0, width - 12.0, local)
    rails = "".join(
        f'<line class="rail" x1="{axis.left}" x2="{axis.right}" y1="{y}" y2="{y}"/>'
        for y in (UPPER, LOWER)
    )
    parts = [_shade(axis, 24.0, FOOT, "night", a, b) for a, b in _nights(axis)]
    parts.append(
        f'<text class="tick" x="{axis.left}" y="18">label</text>'
        f'<text class="tick" x="{axis.left}" y="{FOOT - 4}">this room</text>{rails}'
    )
    above: list[float] = []
    below: list[float] = []
    for stop in stops:
        if stop.label_s <= to_s:
            parts.append(_stop(axis, stop, stop.label_s, UPPER, "stop label", above))
        if stop.p50_s is None or stop.p50_s > to_s:
            continue
        if stop.label_s <= to_s:
            parts.append(
                f'<line class="tie" x1="{axis.x(stop.label_s):.1f}" y1="{UPPER + 5}" '
                f'x2="{axis.x(stop.p50_s):.1f}" y2="{LOWER - 5}"/>'
            )
        if stop.p10_s is not None and stop.p90_s is not None and not stop.reached:
            start, end = axis.x(stop.p10_s), axis.x(stop.p90_s)
            parts.append(
                f'<rect class="band" x="{start:.1f}" y="{LOWER - 7}" rx="7" '
                f'width="{max(end - start, 2):.1f}" height="14"/>'
            )
        css = "stop reached" if stop.reached else "stop"
        parts.append(_stop(axis, stop, stop.p50_s, LOWER, css, below))
    parts.append(_now(axis, now_s, 20.0, FOOT, 18.0))
    parts.append(_time_ticks(axis, FOOT, FOOT, 4 if narrow else 7))
    css = "strip narrow" if narrow else "strip"
    return _svg(168, "Label times and this room's times", text, parts, css, width)


def _stop(axis: TimeAxis, stop: Stop, at_s: float, y: float, css: str, taken: list[float]) -> str:
    x = axis.x(at_s)
    out = (
        f'<circle class="{css}" cx="{x:.1f}" cy="{y}" r="5">'
        f"<title>{escape(f'{stop.number} {stop.name}')}</title></circle>"
    )
    if all(abs(x - other) > 15 for other in taken):
        taken.append(x)
        out += (
            f'<text class="number" x="{x:.1f}" y="{y - 10}" text-anchor="middle">'
            f"{stop.number}</text>"
        )
    return out


def _now(axis: TimeAxis, now_s: float | None, top: float, bottom: float, words_y: float) -> str:
    if now_s is None or not axis.from_s <= now_s <= axis.to_s:
        return ""
    x = axis.x(now_s)
    anchor, beside = ("end", x - 4) if x > axis.right - 40 else ("start", x + 4)
    # Clear of the words at the left end of the line.
    beside = max(beside, axis.left + 64)
    return (
        f'<line class="now" x1="{x:.1f}" x2="{x:.1f}" y1="{top}" y2="{bottom}"/>'
        f'<text class="tick strong" x="{beside:.1f}" y="{words_y}" text-anchor="{anchor}">'
        f"{axis.local.now_word}</text>"
    )


def _line(axis: TimeAxis, y: Callable[[float], float], line: Line) -> str:
    out = ""
    if line.low is not None and line.high is not None:
        edge = [*zip(line.at_s, line.high, strict=True)]
        edge += reversed([*zip(line.at_s, line.low, strict=True)])
        points = " ".join(f"{axis.x(t):.1f},{y(v):.1f}" for t, v in edge if math.isfinite(v))
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


def _nights(axis: TimeAxis) -> list[tuple[float, float]]:
    if axis.to_s - axis.from_s > 15 * 86400.0:
        return []
    return axis.local.nights(axis.from_s, axis.to_s)


def _shade(
    axis: TimeAxis, top: float, bottom: float, css: str, from_s: float, to_s: float, name: str = ""
) -> str:
    x, end = axis.x(from_s), axis.x(to_s)
    title = f"<title>{escape(name)}</title>" if name else ""
    return (
        f'<rect class="shade {css}" x="{x:.1f}" y="{top}" width="{max(end - x, 0.5):.1f}" '
        f'height="{bottom - top:.1f}">{title}</rect>'
    )


def _time_ticks(axis: TimeAxis, top: float, bottom: float, most: int) -> str:
    out = ""
    for at_s, words in axis.ticks(most):
        x = axis.x(at_s)
        anchor = "middle"
        if x < axis.left + 18:
            anchor = "start"
        elif x > axis.right - 18:
            anchor = "end"
        out += (
            f'<line class="grid" x1="{x:.1f}" x2="{x:.1f}" y1="{top}" y2="{bottom + 4}"/>'
            f'<text class="tick" x="{x:.1f}" y="{bottom + 20}" text-anchor="{anchor}">'
            f"{escape(words)}</text>"
        )
    return out


def _value_ticks(low: float, high: float) -> list[float]:
    span = max(high - low, 0.5)
    power = 10.0 ** math.floor(math.log10(span / 4.0))
    step = next(n * power for n in (1, 2, 2.5, 5, 10) if n * power >= span / 4.0)
    first, last = math.floor(low / step), math.ceil(high / step)
    return [round(number * step, 6) for number in range(first, max(last, first + 1) + 1)]


def _svg(
    height: int, title: str, text: str, parts: Sequence[str], css: str, width: int = WIDTH
) -> Markup:
    label = escape(f"{title}. {text}", quote=True)
    return Markup(
        f'<svg class="{css}" viewBox="0 0 {width} {height}" role="img" aria-label="{label}" '
        f'xmlns="http://www.w3.org/2000/svg">{"".join(parts)}</svg>'
    )
