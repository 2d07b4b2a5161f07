"""The two-line strip: the label's times above, this room's below, on one axis of local time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from markupsafe import Markup

from dashboard.axes import TimeAxis
from dashboard.drawing import NARROW, WIDTH, nights, now_line, shaded, svg, time_ticks
from dashboard.wording import Local

UPPER, LOWER, FOOT = 54.0, 112.0, 132.0
# Beside the axis, so that neither 'now' nor a stage runs through the words.
_GUTTER, _NARROW_GUTTER = 80.0, 52.0
_NIGHT_WIDE = 52.0


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


def strip(
    stops: Sequence[Stop], from_s: float, to_s: float, now_s: float, local: Local, text: str,
    narrow: bool = False,
) -> Markup:  # fmt: skip
    """Label above, this room below, one time axis, soft-ended bands.

    `narrow` draws it for a phone, where the wide one would be too small to read.
    """
    width = NARROW if narrow else WIDTH
    gutter = _NARROW_GUTTER if narrow else _GUTTER
    axis = TimeAxis(from_s, to_s, gutter, width - 12.0, local)
    rails = "".join(
        f'<line class="rail" x1="{axis.left}" x2="{axis.right}" y1="{y}" y2="{y}"/>'
        for y in (UPPER, LOWER)
    )
    dark = nights(axis)
    parts = [shaded(axis, 24.0, FOOT, "night", a, b) for a, b in dark]
    parts.append(_words(narrow) + rails + _night_word(axis, dark))
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
    parts.append(now_line(axis, now_s, 24.0, FOOT, 18.0, axis.left))
    parts.append(time_ticks(axis, FOOT, FOOT, 4 if narrow else 7))
    css = "strip narrow" if narrow else "strip desk"
    return svg(158, "Label times and this room's times", text, parts, css, width)


def _words(narrow: bool) -> str:
    below = (
        f'<text class="tick" x="0" y="{LOWER - 4}">this</text>'
        f'<text class="tick" x="0" y="{LOWER + 12}">room</text>'
        if narrow
        else f'<text class="tick" x="0" y="{LOWER + 4}">this room</text>'
    )
    return f'<text class="tick" x="0" y="{UPPER + 4}">label</text>{below}'


def _night_word(axis: TimeAxis, dark: Sequence[tuple[float, float]]) -> str:
    """What the shade is, said once, in the first night wide enough for the word."""
    wide = [a for a, b in dark if axis.x(b) - axis.x(a) > _NIGHT_WIDE]
    if not wide:
        return ""
    return f'<text class="tick" x="{axis.x(wide[0]) + 5:.1f}" y="{FOOT - 3}">night</text>'


def _stop(axis: TimeAxis, stop: Stop, at_s: float, y: float, css: str, taken: list[float]) -> str:
    x = axis.x(at_s)
    out = (
        f'<circle class="{css}" cx="{x:.1f}" cy="{y}" r="5">'
        f"<title>{escape(f'{stop.number} {stop.name}')}</title></circle>"
    )
    # Beside a near neighbour's number, as long as it still stands over its own stop.
    place = max(x, taken[-1] + 15.0) if taken else x
    if place - x <= 7.0:
        taken.append(place)
        out += (
            f'<text class="number" x="{place:.1f}" y="{y - 10}" text-anchor="middle">'
            f"{stop.number}</text>"
        )
    return out
