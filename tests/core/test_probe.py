"""A probe on the piece: colder than the air means damper air at the surface, same dew point."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.core.physics.aging import kelvin
from monitor.core.physics.air import dew_point
from monitor.core.room.probe import ahead_of_piece, at_piece
from monitor.core.vocabulary import RoomPaths, RoomSeries

STEP = 300.0
ROOM_AT = STEP * np.arange(100.0)


def series(temp_c, humidity_pct, at_s=ROOM_AT):
    return RoomSeries(
        at_s, np.full(len(at_s), float(temp_c)), np.full(len(at_s), float(humidity_pct))
    )


def dew(found):
    return dew_point(kelvin(found.temp_c), found.humidity_pct)


def test_a_cold_panel_meets_damper_air_of_the_same_dew_point():
    room, probe = series(20.0, 60.0), series(15.0, 50.0)
    found = at_piece(room, probe)
    assert found.temp_c == pytest.approx(15.0)
    assert found.humidity_pct.min() > 80.0
    # The Magnus form inverts itself exactly; only rounding is left.
    assert dew(found) == pytest.approx(dew(room), abs=1e-9)


def test_a_panel_below_the_dew_point_is_wet_not_beyond_it():
    found = at_piece(series(24.0, 80.0), series(15.0, 50.0))
    assert found.humidity_pct == pytest.approx(100.0)


def test_a_probe_that_fell_silent_leaves_the_room_to_speak():
    silent = series(15.0, 50.0, ROOM_AT[:20])
    found = at_piece(series(20.0, 60.0), silent)
    assert found.temp_c[:20] == pytest.approx(15.0)
    assert found.temp_c[-1] == 20.0
    assert found.humidity_pct[-1] == pytest.approx(60.0)
    assert at_piece(series(20.0, 60.0), series(15.0, 50.0, ROOM_AT[:0])).temp_c[0] == 20.0


def test_the_futures_stand_off_the_room_as_the_piece_did_lately():
    at_s = ROOM_AT[-1] + STEP * np.arange(1.0, 10.0)
    future = RoomPaths(at_s, np.full((2, 9), 18.0), np.full((2, 9), 60.0))
    ahead = ahead_of_piece(future, series(20.0, 60.0), series(17.0, 50.0))
    assert ahead.temp_c == pytest.approx(15.0)
    assert ahead.humidity_pct.min() > 60.0
    long_silent = series(17.0, 50.0, ROOM_AT[:50])
    assert ahead_of_piece(future, series(20.0, 60.0), long_silent) is future
