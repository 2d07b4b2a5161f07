"""The air as the piece meets it: a probe on the piece, humidity from the room's sensor.

A panel on a cold floor is colder than the air a sensor breathes. The vapour in the air is
the same; so at the piece's own temperature the same air is damper, and its dew point stays.
"""

from __future__ import annotations

import numpy as np

from monitor.core.physics.aging import kelvin
from monitor.core.physics.air import surface_humidity
from monitor.core.vocabulary import FloatArray, RoomPaths, RoomSeries

# A probe silent for longer no longer speaks for the piece: from there the room does.
SILENT_S = 3600.0
# How the piece stands off the room now, from this much of its log.
OFFSET_OVER_S = 3 * 3600.0


def at_piece(room: RoomSeries, probe: RoomSeries) -> RoomSeries:
    """The room's series with the probe's temperature, where the probe was heard.

    Times are the room's, shape (n,). Elsewhere the room's own values stand.
    """
    if len(room.at_s) == 0 or len(probe.at_s) == 0:
        return room
    here_c = np.interp(room.at_s, probe.at_s, probe.temp_c)
    temp_c = np.where(_heard(room.at_s, probe.at_s), here_c, room.temp_c)
    return RoomSeries(room.at_s, temp_c, _damper(room, temp_c), room.dropped)


def ahead_of_piece(future: RoomPaths, room: RoomSeries, probe: RoomSeries) -> RoomPaths:
    """The room's futures as the piece will meet them: it stands off the room as it did lately."""
    if len(room.at_s) == 0 or len(probe.at_s) == 0 or len(future.at_s) == 0:
        return future
    late = probe.at_s >= probe.at_s[-1] - OFFSET_OVER_S
    if future.at_s[0] - probe.at_s[-1] > SILENT_S:
        return future
    offset_c = float(
        np.median(probe.temp_c[late] - np.interp(probe.at_s[late], room.at_s, room.temp_c))
    )
    temp_c = future.temp_c + offset_c
    damp = surface_humidity(kelvin(future.temp_c), future.humidity_pct, kelvin(temp_c))
    return RoomPaths(future.at_s, temp_c, np.minimum(damp, 100.0), future.why)


def _heard(at_s: FloatArray, probe_s: FloatArray) -> np.typing.NDArray[np.bool_]:
    after = np.clip(np.searchsorted(probe_s, at_s), 0, len(probe_s) - 1)
    before = np.maximum(after - 1, 0)
    nearest = np.minimum(np.abs(probe_s[after] - at_s), np.abs(at_s - probe_s[before]))
    return np.asarray(nearest <= SILENT_S)


def _damper(room: RoomSeries, temp_c: FloatArray) -> FloatArray:
    damp = surface_humidity(kelvin(room.temp_c), room.humidity_pct, kelvin(temp_c))
    return np.minimum(damp, 100.0)
