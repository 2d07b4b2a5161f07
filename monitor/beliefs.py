"""What each resin has taught: the marks of all its layers, gathered for the core."""

from __future__ import annotations

import sqlite3
from collections import defaultdict

from monitor import rooms
from monitor.core.cure import belief, evidence
from monitor.core.vocabulary import Layer, Mark, RateDraws, ResinProfile
from monitor.store import marks, pieces, readings, settings

# A layer's surface questions are settled within this; later marks speak of full cure.
LAYER_SPAN_S = 14 * 86400.0


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
        found.extend(evidence.evidence_of(layer, its_marks, series.at_s, series.temp_c, ea_grid))
    since = settings.get(con, f"belief_since:{profile.key}", "")
    return belief.posterior(
        profile, found, now_s, batch=batch or None, since_s=float(since) if since else None
    )


def draws_for(con: sqlite3.Connection, layer: Layer, now_s: float, paths: int = 200) -> RateDraws:
    """The belief of a layer's resin as draws for its outlook."""
    return belief.draws(of_resin(con, layer.resin, now_s, layer.batch), paths, seed=layer.id)


def first_sensor(con: sqlite3.Connection) -> str | None:
    """The sensor that stands for the room where a layer names none: the last one heard."""
    heard = [sensor for sensor in readings.sensors(con) if sensor.last_at_s is not None]
    return max(heard, key=lambda sensor: sensor.last_at_s or 0.0).key if heard else None
