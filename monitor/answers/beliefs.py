"""What each resin has taught: the marks of all its layers, gathered for the core."""

from __future__ import annotations

import math
import sqlite3
from collections import defaultdict
from dataclasses import dataclass

from monitor.answers import rooms
from monitor.core.cure import belief, evidence
from monitor.core.vocabulary import Layer, Mark, RateDraws, ResinProfile
from monitor.store import marks, pieces, readings, settings

# A layer's surface questions are settled within this; later marks speak of full cure.
LAYER_SPAN_S = 14 * 86400.0
LATELY_S = 3600.0


def since_key(resin_key: str) -> str:
    """The setting that holds from when on a resin's marks count; empty: from the first."""
    return f"belief_since:{resin_key}"


def of_resin(
    con: sqlite3.Connection, profile: ResinProfile, now_s: float, batch: str = ""
) -> belief.Belief:
    """The posterior of one resin (and batch) from every mark that counts."""
    by_layer: dict[int, list[Mark]] = defaultdict(list)
    for mark in marks.all_marks(con):
        by_layer[mark.layer_id].append(mark)
    ea_grid = evidence.ea_grid_of(profile)
    found: list[evidence.Evidence] = []
    for layer_id, its_marks in by_layer.items():
        layer = pieces.layer(con, layer_id)
        if layer is None or layer.resin.key != profile.key:
            continue
        key = layer.sensor or first_sensor(con)
        if key is None:
            continue
        end_s = min(layer.ended_at_s or now_s, layer.poured_at_s + LAYER_SPAN_S, now_s)
        series = rooms.past(con, key, layer.poured_at_s - 3600.0, end_s)
        if len(series.at_s) == 0:
            continue
        series = rooms.log_at_piece(con, layer.probe, series, end_s)
        found.extend(
            evidence.evidence_in_room(layer, its_marks, series.at_s, series.temp_c, ea_grid)
        )
    since = settings.get(con, since_key(profile.key), "")
    return belief.posterior(
        profile, found, now_s, batch=batch or None, since_s=float(since) if since else None
    )


def draws_for(con: sqlite3.Connection, layer: Layer, now_s: float, paths: int = 200) -> RateDraws:
    """The belief of a layer's resin as draws for its outlook."""
    return belief.draws(of_resin(con, layer.resin, now_s, layer.batch), paths, seed=layer.id)


def first_sensor(con: sqlite3.Connection) -> str | None:
    """The sensor that stands for the room where a layer names none.

    The last one heard; of those heard lately, one that measures humidity before a probe.
    """
    heard = [(sensor.last_at_s, sensor) for sensor in readings.sensors(con) if sensor.last_at_s]
    if not heard:
        return None
    newest_s = max(at_s for at_s, _ in heard)
    lately = [pair for pair in heard if pair[0] >= newest_s - LATELY_S]
    return max(lately, key=lambda pair: (pair[1].last_humidity_pct is not None, pair[0]))[1].key


@dataclass(frozen=True)
class Lesson:
    """What one layer taught about its resin, and the marks it taught by."""

    layer: Layer
    piece_name: str
    words: str
    fits: bool
    fits_label: bool
    marks: tuple[Mark, ...]


@dataclass(frozen=True)
class Lessons:
    """What a resin has taught: the sum in words, its speed as quantiles, layer by layer.

    `speeds` are the 10, 50 and 90 % quantiles of true speed over the label's.
    """

    why: str
    speeds: tuple[float, float, float]
    layers: tuple[Lesson, ...]
    since_s: float | None


def lessons(con: sqlite3.Connection, profile: ResinProfile, now_s: float) -> Lessons:
    """What the marks of a resin have taught, to be shown and judged by a person."""
    held = of_resin(con, profile, now_s)
    low, middle, high = (
        math.exp(float(one)) for one in belief.log_rate_quantiles(held, (0.1, 0.5, 0.9))
    )
    found = []
    for told in belief.explain(held):
        layer = pieces.layer(con, told.layer_id)
        if layer is None:
            continue
        piece = pieces.piece(con, layer.piece_id)
        used = [one for one in marks.marks(con, layer.id) if one.id in told.mark_ids]
        found.append(
            Lesson(
                layer,
                "" if piece is None else piece.name,
                told.words,
                told.fits,
                told.fits_label,
                tuple(used),
            )
        )
    since = settings.get(con, since_key(profile.key), "")
    return Lessons(
        belief.draws(held, 40).why,
        (low, middle, high),
        tuple(reversed(found)),
        float(since) if since else None,
    )


def set_aside(con: sqlite3.Connection, profile: ResinProfile) -> list[tuple[Layer, Mark]]:
    """Marks of this resin that a person keeps but does not want learned from."""
    return [
        (layer, mark)
        for mark in marks.all_marks(con)
        if mark.set_aside
        and (layer := pieces.layer(con, mark.layer_id)) is not None
        and layer.resin.key == profile.key
    ]
