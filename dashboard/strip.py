"""The two-line strip: the label's times above, this room's below, on one axis of local time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from markupsafe import Markup

from dashboard.axes import TimeAxis
from dashboard.drawing import NARROW, WIDTH, nights, now_line, shaded, svg, time_ticks
from dashboard.wording import Local

UPPER, LOWER, FOOT = 54.0, 112.0, 140.0
HEIGHT = 166
# For a sheet of paper: as wide as fills a column of it, at the height that leaves one sheet.
PAPER_WIDTH = 640
# Beside the axis, so that neither 'now' nor a stage runs through the words.
_GUTTER, _NARROW_GUTTER = 80.0, 52.0
_NIGHT_WIDE = 52.0
_DIGIT, _NARROW_DIGIT = 8.5, 10.0  # about as wide as a bold digit is
_APART = 6.0  # nearer than this, two numbers read as one


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
    narrow: bool = False, paper: bool = False,
) -> Markup:  # fmt: skip
    """Label above, this room below, one time axis, soft-ended bands.

    `narrow` draws it for a phone, where the wide one would be too small to read; `paper` for
    a column of a printed sheet.
    """
    width = PAPER_WIDTH if paper else NARROW if narrow else WIDTH
    gutter = _NARROW_GUTTER if narrow else _GUTTER
    axis = TimeAxis(from_s, to_s, gutter, width - 12.0, local)
    rails = "".join(
        f'<line class="rail" x1="{axis.left}" x2="{axis.right}" y1="{y}" y2="{y}"/>'
        for y in (UPPER, LOWER)
    )
    dark = nights(axis)
    parts = [shaded(axis, 24.0, FOOT, "night", a, b) for a, b in dark]
    line_x = axis.x(now_s) if from_s <= now_s <= to_s else None
    parts += [_words(narrow, local), rails, _night_word(axis, dark, line_x)]
    parts.append(now_line(axis, now_s, 24.0, FOOT, 18.0, axis.left))
    ties, bands, dots = "", "", ""
    above: list[tuple[float, int]] = []
    below: list[tuple[float, int]] = []
    for stop in stops:
        label_in = stop.label_s <= to_s
        if label_in:
            dots += _dot(axis, stop, stop.label_s, UPPER, "stop label")
            above.append((axis.x(stop.label_s), stop.number))
        if stop.p50_s is None or stop.p50_s > to_s:
            continue
        if label_in:
            ties += (
                f'<line class="tie" x1="{axis.x(stop.label_s):.1f}" y1="{UPPER + 5}" '
                f'x2="{axis.x(stop.p50_s):.1f}" y2="{LOWER - 5}"/>'
            )
        if stop.p10_s is not None and stop.p90_s is not None and not stop.reached:
            start, end = axis.x(stop.p10_s), axis.x(stop.p90_s)
            bands += (
                f'<rect class="band" x="{start:.1f}" y="{LOWER - 7}" rx="7" '
                f'width="{max(end - start, 2):.1f}" height="14"/>'
            )
        dots += _dot(axis, stop, stop.p50_s, LOWER, "stop reached" if stop.reached else "stop")
        below.append((axis.x(stop.p50_s), stop.number))
    digit = _NARROW_DIGIT if narrow else _DIGIT
    parts += [ties, bands, dots]
    for row, y in ((above, UPPER), (below, LOWER)):
        parts.append(_numbers(row, y - 10, digit, axis.left, line_x))
    parts.append(time_ticks(axis, FOOT, FOOT, 4 if narrow else 7))
    css = "strip narrow" if narrow else "strip desk"
    said = local.language.said
    title = said("Label times and this room's times")
    return svg(HEIGHT, title, said(text), parts, css, width)


def _words(narrow: bool, local: Local) -> str:
    above, below = (escape(local.language.said(words)) for words in ("label", "this room"))
    first, _, rest = below.partition(" ")
    lower = (
        f'<text class="tick" x="0" y="{LOWER - 4}">{first}</text>'
        f'<text class="tick" x="0" y="{LOWER + 12}">{rest}</text>'
        if narrow and rest
        else f'<text class="tick" x="0" y="{LOWER + 4}">{below}</text>'
    )
    return f'<text class="tick" x="0" y="{UPPER + 4}">{above}</text>{lower}'


def _night_word(axis: TimeAxis, dark: Sequence[tuple[float, float]], line_x: float | None) -> str:
    """What the shade is, said once, in the first night wide enough and clear of the line."""
    for begins_s, ends_s in dark:
        start, end = axis.x(begins_s), axis.x(ends_s)
        for x in (start + 5, end - _NIGHT_WIDE + 5) if end - start > _NIGHT_WIDE else ():
            if line_x is None or not x - 5 <= line_x <= x + _NIGHT_WIDE - 5:
                word = escape(axis.local.language.said("night"))
                return f'<text class="tick" x="{x:.1f}" y="{FOOT - 4}">{word}</text>'
    return ""


def _dot(axis: TimeAxis, stop: Stop, at_s: float, y: float, css: str) -> str:
    return (
        f'<circle class="{css}" cx="{axis.x(at_s):.1f}" cy="{y}" r="5">'
        f"<title>{escape(f'{stop.number} {axis.local.language.said(stop.name)}')}</title></circle>"
    )


def _numbers(
    row: Sequence[tuple[float, int]], y: float, digit: float, left: float, line_x: float | None
) -> str:
    """The numbers over their stops; those too near to be told apart share one label, '1–4'."""
    groups: list[list[tuple[float, int]]] = []

    def half(group: list[tuple[float, int]]) -> float:
        return digit * len(_said(group)) / 2

    def place(group: list[tuple[float, int]]) -> float:
        """In their middle, but beside the line of the present, not struck through by it."""
        x, clear = (group[0][0] + group[-1][0]) / 2, half(group) + 3.0
        if line_x is None or abs(x - line_x) >= clear:
            return x
        left_is_free = line_x - clear - half(group) >= left - 4.0
        return line_x - clear if x < line_x and left_is_free else line_x + clear

    for one in sorted(row):
        groups.append([one])
        # A label that has grown may reach the one before it in turn.
        while len(groups) > 1 and (
            place(groups[-1]) - place(groups[-2]) < half(groups[-1]) + half(groups[-2]) + _APART
        ):
            last = groups.pop()
            groups[-1] += last
    return "".join(
        f'<text class="number" x="{place(group):.1f}" y="{y}" text-anchor="middle">'
        f"{_said(group)}</text>"
        for group in groups
    )


def _said(group: Sequence[tuple[float, int]]) -> str:
    numbers = sorted(number for _, number in group)
    if len(numbers) == 1:
        return str(numbers[0])
    whole = numbers[-1] - numbers[0] == len(numbers) - 1
    return f"{numbers[0]}–{numbers[-1]}" if whole else ",".join(map(str, numbers))
