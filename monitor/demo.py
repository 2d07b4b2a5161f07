"""An invented studio: weeks of a made-up room, finished pieces, one curing on a cold night.

A further one is half done by plan (demo_plan.py).

Nothing here was measured and nobody made these pieces. The readings go the same way as
real ones do: through validation's neighbour, the store's own commit, and the monitor.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from firmware_side.sensors.simulated import SimulatedStudio, Studio
from monitor import demo_plan
from monitor.core.vocabulary import Base, MarkKind, ResinProfile, TapeVerdict
from monitor.store import intake_rows, marks, pieces
from monitor.store.connection import writing
from monitor.watch import Watch, Works

SITE, NODE, SENSOR = "studio", "bench", "air"
KEY = f"{SITE}/{NODE}/{SENSOR}"
WEEKS = 5
DAY_S = 86400.0
HOUR_S = 3600.0
STEP_S = 120.0
SEED = 7


# Has the monitor look in at a moment, as it would have done all along.
_Look = Callable[[float], None]


class _StoppedError(Exception):
    """Told to stop while the past was being made up."""


@dataclass(frozen=True)
class _Mark:
    hours: float
    kind: MarkKind
    verdict: TapeVerdict | None = None
    note: str = ""


@dataclass(frozen=True)
class _Layer:
    resin: str
    name: str
    after_h: float
    depth_mm: float | None
    area_cm2: float | None
    marks: tuple[_Mark, ...] = ()
    base: Base = "wood"


@dataclass(frozen=True)
class _Story:
    name: str
    days_ago: float
    layers: tuple[_Layer, ...]
    lasts_h: float
    outcome: str
    note: str = ""


_FINISHED = (
    _Story(
        "Tide tray",
        30.0,
        (
            _Layer(
                "coating_2_1",
                "Blue base",
                0.0,
                3.0,
                600.0,
                (_Mark(6.0, "stringy"), _Mark(9.0, "tacky"), _Mark(12.5, "tack_free")),
            ),
            _Layer(
                "paint_lines", "White foam lines", 26.0, None, 600.0, (_Mark(3.0, "tack_free"),)
            ),
            _Layer(
                "coating_2_1",
                "Clear flood coat",
                40.0,
                2.5,
                600.0,
                (
                    _Mark(3.2, "tape_pulled", "good"),
                    _Mark(8.5, "tacky"),
                    _Mark(12.0, "tack_free"),
                    _Mark(30.0, "nail_dents"),
                ),
            ),
        ),
        138.0,
        "Sold. Clear all over, rim crisp.",
    ),
    _Story(
        "Four fern coasters",
        19.0,
        (
            _Layer(
                "slow_art",
                "Fern inlay",
                0.0,
                4.0,
                320.0,
                (_Mark(14.0, "tacky"), _Mark(20.5, "tack_free")),
                "silicone",
            ),
            _Layer("fast_adhesive", "Cork feet", 64.0, None, None, (_Mark(1.0, "hard"),)),
        ),
        120.0,
        "Two kept, two given away.",
    ),
    _Story(
        "Walnut river sample",
        10.0,
        (
            _Layer(
                "deep_casting",
                "River pour",
                0.0,
                25.0,
                180.0,
                (_Mark(20.0, "stringy"), _Mark(34.0, "tacky"), _Mark(50.0, "tack_free")),
            ),
        ),
        150.0,
        "A soft corner after the cold weekend; sanded and kept as a sample.",
        "The heater was off for the weekend.",
    ),
)


def evening(now_s: float, offset_s: float) -> float:
    """The last 21:00 local before `now_s`: where the demo's clock starts."""
    local_midnight = (now_s + offset_s) // DAY_S * DAY_S
    at_s = local_midnight + 21 * HOUR_S - offset_s
    return at_s if at_s <= now_s else at_s - DAY_S


def studio(start_s: float, offset_s: float) -> SimulatedStudio:
    """The made-up room: a heater with a night set-back, and a frost on the first night."""
    return SimulatedStudio(
        SEED,
        Studio(
            night_set_c=14.0,
            day_from_h=7.0,
            day_to_h=21.5,
            utc_offset_h=offset_s / HOUR_S,
            heater_off=((start_s - 9.0 * DAY_S, start_s - 7.5 * DAY_S),),
            cold_nights=((start_s - 3 * HOUR_S, start_s + 14 * HOUR_S, -9.0),),
        ),
    )


def fill(
    con: sqlite3.Connection,
    watch: Watch,
    shelf: Mapping[str, ResinProfile],
    start_s: float,
    offset_s: float,
    say: Callable[[str], None],
    stop: threading.Event,
) -> bool:
    """Write the past of the studio, ending at `start_s`; False where told to stop before."""

    def look(at_s: float) -> None:
        if stop.is_set():
            raise _StoppedError
        watch.think(con, at_s, Works())

    if stop.is_set():
        return False
    say("Making up five weeks of a studio...")
    room = studio(start_s, offset_s).history(start_s - WEEKS * 7 * DAY_S, start_s, STEP_S)
    with writing(con):
        arrivals = [
            intake_rows.Arrival(KEY, at_s, temp_c, humidity_pct)
            for at_s, temp_c, humidity_pct in zip(*room, strict=True)
        ]
        intake_rows.commit(con, SITE, NODE, arrivals, (), {}, start_s)
    try:
        for story in _FINISHED:
            say(f"Making up a finished piece: {story.name}")
            _live(con, look, shelf, story, start_s)
        planned = demo_plan.begin(con, look, shelf, KEY, start_s)
        _on_the_bench(con, look, shelf, start_s)
        look(start_s)
        demo_plan.plan(con, planned, start_s, offset_s)
    except _StoppedError:
        return False
    return True


def _live(
    con: sqlite3.Connection,
    look: _Look,
    shelf: Mapping[str, ResinProfile],
    story: _Story,
    start_s: float,
) -> None:
    begun_s = start_s - story.days_ago * DAY_S - 4 * HOUR_S
    with writing(con):
        piece = pieces.add_piece(con, story.name, begun_s, story.note)
    ended_s = begun_s + story.lasts_h * HOUR_S
    moments = {begun_s + hours * HOUR_S for hours in range(0, int(story.lasts_h), 24)}
    for layer in story.layers:
        poured_s = begun_s + layer.after_h * HOUR_S
        with writing(con):
            number = pieces.add_layer(
                con,
                piece,
                layer.name,
                shelf[layer.resin],
                poured_s,
                poured_s,
                depth_mm=layer.depth_mm,
                area_cm2=layer.area_cm2,
                base=layer.base,
                sensor=KEY,
            )
            for mark in layer.marks:
                marks.add_mark(
                    con, number, mark.kind, poured_s + mark.hours * HOUR_S, mark.verdict, mark.note
                )
    for at_s in sorted(moments | {ended_s}):
        look(at_s)
    with writing(con):
        pieces.end_piece(con, piece, ended_s, story.outcome)
    look(ended_s + HOUR_S)


def _on_the_bench(
    con: sqlite3.Connection, look: _Look, shelf: Mapping[str, ResinProfile], start_s: float
) -> None:
    begun_s = start_s - 30 * HOUR_S
    with writing(con):
        piece = pieces.add_piece(
            con, "Harbour panel", begun_s, "Birch panel, brass inlay, painted horizon."
        )
        base = pieces.add_layer(
            con,
            piece,
            "Base with inlay",
            shelf["coating_2_1"],
            begun_s,
            begun_s,
            depth_mm=3.0,
            area_cm2=900.0,
            sensor=KEY,
        )
        marks.add_mark(con, base, "tacky", begun_s + 8.0 * HOUR_S)
        marks.add_mark(con, base, "tack_free", begun_s + 12.0 * HOUR_S)
        lines = pieces.add_layer(
            con,
            piece,
            "Painted horizon",
            shelf["paint_lines"],
            start_s - 7 * HOUR_S,
            start_s - 7 * HOUR_S,
            area_cm2=900.0,
            sensor=KEY,
        )
        marks.add_mark(con, lines, "tack_free", start_s - 4 * HOUR_S)
    look(start_s - 3 * HOUR_S)
    with writing(con):
        pieces.end_layer(con, lines, start_s - 3 * HOUR_S)
        pieces.end_layer(con, base, start_s - 3 * HOUR_S)
        pieces.add_layer(
            con,
            piece,
            "Clear flood coat",
            shelf["coating_2_1"],
            start_s - 0.75 * HOUR_S,
            start_s - 0.75 * HOUR_S,
            depth_mm=2.5,
            area_cm2=900.0,
            sensor=KEY,
        )
