"""Draw wiring.svg from wiring.toml; also the list of wires, for the table in README.md.

python hardware/draw_wiring.py            writes wiring.svg
python hardware/draw_wiring.py --table    prints the table
"""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

HERE = Path(__file__).resolve().parent
SOURCE = HERE / "wiring.toml"
DRAWING = HERE / "wiring.svg"

# Told apart without colour too: each kind has its own dashes, and the legend names them.
KINDS = {
    "supply": ("3.3 V", "#b03a2e", ""),
    "data": ("data", "#1f5f99", "14 5"),
    "signal": ("signal", "#7a5195", "4 4"),
    "ground": ("ground", "#222222", "14 4 3 4"),
}

_HEAD = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img"
  aria-labelledby="title description" font-family="sans-serif" font-size="17" fill="#1a1a1a">
<title id="title">{title}</title>
<desc id="description">{description}</desc>
<rect width="100%" height="100%" fill="#ffffff"/>"""


def drawing(source: dict[str, Any]) -> str:
    """The SVG of a wiring source."""
    out = [
        _HEAD.format(
            width=source["width"],
            height=source["height"],
            title=escape(source["title"]),
            description=escape(" ".join(source["description"].split() + sentences(source))),
        ),
        f'<text x="30" y="40" font-size="22">{escape(source["title"])}</text>',
    ]
    # Parts first, so that no box hides a wire.
    out += [line for part in source["part"] for line in _part(part)]
    places = {
        f"{part['key']}.{pin['key']}": _place(part, pin)
        for part in source["part"]
        for pin in part["pins"]
    }
    for wire in source["wire"]:
        out += _wire(wire, places)
    out += [*_legend(source["height"]), "</svg>", ""]
    return "\n".join(out)


def sentences(source: dict[str, Any]) -> list[str]:
    """Each wire as a sentence."""
    names = _names(source)
    return [f"{names[a]} to {names[b]}." for a, b in (wire["ends"] for wire in source["wire"])]


def table(source: dict[str, Any]) -> str:
    """Each wire as a row of a Markdown table."""
    names = _names(source)
    rows = [
        f"| {names[wire['ends'][0]]} | {names[wire['ends'][1]]} | {KINDS[wire['kind']][0]} |"
        for wire in source["wire"]
    ]
    return "\n".join(["| from | to | what it carries |", "|---|---|---|", *rows])


def _names(source: dict[str, Any]) -> dict[str, str]:
    return {
        f"{part['key']}.{pin['key']}": f"{part['name'].split(',')[0]}, {pin['text']}"
        if pin["text"]
        else f"{part['name']} resistor, either end"
        for part in source["part"]
        for pin in part["pins"]
    }


def _place(part: dict[str, Any], pin: dict[str, Any]) -> tuple[int, int]:
    x = part["x"] + (part["width"] if pin["side"] == "right" else 0)
    return x, part["y"] + pin["y"]


def _part(part: dict[str, Any]) -> list[str]:
    x, y, width, height = (part[key] for key in ("x", "y", "width", "height"))
    middle = x + width / 2
    out = [
        f'<rect x="{x}" y="{y}" width="{width}" height="{height}" rx="6" fill="#f6f3ec"'
        ' stroke="#1a1a1a" stroke-width="2"/>'
    ]
    if height <= 60:  # a resistor: its value inside the box
        first = y + (21 if part["note"] else 26)
        out.append(
            f'<text x="{middle:g}" y="{first}" text-anchor="middle">{escape(part["name"])}</text>'
        )
        if part["note"]:
            out.append(
                f'<text x="{middle:g}" y="{y + 41}" text-anchor="middle" font-size="14">'
                f"{escape(part['note'])}</text>"
            )
        return out
    right = any(pin["side"] == "right" and pin["text"] for pin in part["pins"])
    left = any(pin["side"] == "left" and pin["text"] for pin in part["pins"])
    at, anchor = (x + 14, "start") if right and not left else (x + width - 14, "end")
    out.append(
        f'<text x="{at}" y="{y + 26}" text-anchor="{anchor}" font-weight="bold">'
        f"{escape(part['name'])}</text>"
    )
    if part["note"]:
        out.append(
            f'<text x="{at}" y="{y + 46}" text-anchor="{anchor}" font-size="13">'
            f"{escape(part['note'])}</text>"
        )
    for pin in part["pins"]:
        pin_x, pin_y = _place(part, pin)
        inward = 12 if pin["side"] == "left" else -12
        side = "start" if pin["side"] == "left" else "end"
        out.append(
            f'<circle cx="{pin_x}" cy="{pin_y}" r="5" fill="#ffffff" stroke="#1a1a1a"/>'
            f'<text x="{pin_x + inward}" y="{pin_y + 6}" text-anchor="{side}">'
            f"{escape(pin['text'])}</text>"
        )
    return out


def _wire(wire: dict[str, Any], places: dict[str, tuple[int, int]]) -> list[str]:
    (ax, ay), (bx, by) = (places[end] for end in wire["ends"])
    _, colour, dashes = KINDS[wire["kind"]]
    bend = wire.get("bend", (ax + bx) // 2)
    join = wire.get("join")
    start = f"M {bend} {ay}" if join == "start" else f"M {ax} {ay} H {bend}"
    end = "" if join == "end" else f" H {bx}"
    dash = f' stroke-dasharray="{dashes}"' if dashes else ""
    out = [f'<path d="{start} V {by}{end}" fill="none" stroke="{colour}" stroke-width="3"{dash}/>']
    if join:
        dot_y = ay if join == "start" else by
        out.append(f'<circle cx="{bend}" cy="{dot_y}" r="6" fill="{colour}"/>')
    return out


def _legend(height: int) -> list[str]:
    out = []
    for i, (name, colour, dashes) in enumerate(KINDS.values()):
        x, y = 300 + 150 * i, height - 20
        dash = f' stroke-dasharray="{dashes}"' if dashes else ""
        out.append(
            f'<path d="M {x} {y} H {x + 50}" stroke="{colour}" stroke-width="3"{dash}/>'
            f'<text x="{x + 60}" y="{y + 6}">{escape(name)}</text>'
        )
    return out


def main() -> None:
    """Write the drawing, or print the table."""
    source = tomllib.loads(SOURCE.read_text(encoding="utf-8"))
    if sys.argv[1:] == ["--table"]:
        sys.stdout.write(table(source) + "\n")
    else:
        DRAWING.write_text(drawing(source), encoding="utf-8")


if __name__ == "__main__":
    main()
