"""What a whole piece will bear now, or bore when it was finished."""

from __future__ import annotations

import sqlite3

import numpy as np

from monitor.answers import beliefs, rooms
from monitor.core.cure import belief, handling
from monitor.core.cure import outlook as cure
from monitor.core.cure.handling import Missing as Missing
from monitor.core.cure.handling import Verdict as Verdict
from monitor.core.room import forecast
from monitor.core.vocabulary import Layer, Outlook, Piece
from monitor.store import marks, outlooks

# A yes or no needs no fine band; twenty futures keep the page quick.
PATHS = 20
# An outlook this fresh is the monitor's own.
FRESH_S = 3600.0
ASSUMED_ROOM_C = 21.0


def verdicts(con: sqlite3.Connection, piece: Piece, now_s: float) -> tuple[Verdict, ...]:
    """May it be handled, wrapped, take a hot cup: as of now, or of the piece's own end.

    Of a finished piece it is told in the past: nobody measures where it went. A layer that
    was ended goes on curing under the next: it is judged at this moment, not at its end.
    Empty where there is no layer, or the monitor has not thought of one yet.
    """
    at_s = min(piece.ended_at_s or now_s, now_s)
    over = piece.ended_at_s is not None and piece.ended_at_s <= now_s
    judged: list[tuple[Layer, Outlook]] = []
    for layer in piece.layers:
        found = _outlook(con, layer, at_s)
        if found is None:
            return ()
        judged.append((layer, found))
    if not judged:
        return ()
    return handling.verdicts(judged, _room_c(con, at_s), over=over)


def _outlook(con: sqlite3.Connection, layer: Layer, at_s: float) -> Outlook | None:
    kept = outlooks.latest(con, layer.id)
    if kept is None or at_s - kept.as_of_s <= FRESH_S or _all_reached(kept):
        return kept
    key = layer.sensor or beliefs.first_sensor(con)
    if key is None:
        return kept
    past = rooms.past(con, key, layer.poured_at_s - 3600.0, at_s)
    future = forecast.forecast(past, at_s, paths=PATHS)
    met, ahead = rooms.as_piece_meets(con, layer.probe, past, future, at_s)
    draws = belief.draws(
        beliefs.of_resin(con, layer.resin, at_s, layer.batch), PATHS, seed=layer.id
    )
    return cure.outlook(layer, met, ahead, draws, marks.marks(con, layer.id), at_s)


def _all_reached(outlook: Outlook) -> bool:
    return all(stage.reached_at_s is not None for stage in outlook.stages)


def _room_c(con: sqlite3.Connection, at_s: float) -> float:
    """The room of the last hour, as the piece lies in it."""
    key = beliefs.first_sensor(con)
    if key is None:
        return ASSUMED_ROOM_C
    last = rooms.past(con, key, at_s - 3600.0, at_s).temp_c
    return float(np.clip(np.median(last), -40.0, 60.0)) if len(last) else ASSUMED_ROOM_C
