"""The guided check of a sensor: what it stands in, what its readings say, what mends it.

An ongoing check is one setting of the store; everything else is worked out anew from the
readings as measured, so that a phone can be put away and a program restarted meanwhile.
"""

from __future__ import annotations

import json
import sqlite3
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from monitor.answers import beliefs
from monitor.core.room import saltcheck
from monitor.core.room.saltcheck import SALTS, Fit, Habit, Point, Settling
from monitor.core.vocabulary import FloatArray
from monitor.errors import MonitorError
from monitor.store import away, corrections, pieces, readings, settings
from monitor.store.corrections import Correction

ICE = "ice"
REFERENCE = "reference"
# A cheap thermometer or hygrometer that somebody trusts is no better than this.
REFERENCE_PLUS_MINUS_C = 0.2
REFERENCE_RANGE_C = (-20.0, 60.0)
DRAWN_S = 86400.0
LEAD_S = 600.0
# Out of the jar or the ice, it is this long until it tells of the room again.
BACK_IN_S = 1200.0


class CheckError(MonitorError):
    """The check cannot do this now; the message says why and what to do."""


@dataclass(frozen=True)
class Setup:
    """One thing to put the sensor in or beside, and how long it usually takes."""

    key: str
    name: str
    habit: Habit
    usually: str


SETUPS = {
    **{
        key: Setup(key, f"{salt.name} ({salt.known_as})", saltcheck.IN_A_JAR, "1 to 3 hours")
        for key, salt in SALTS.items()
    },
    ICE: Setup(ICE, "ice water", saltcheck.IN_ICE, "20 to 40 minutes"),
    REFERENCE: Setup(
        REFERENCE, "beside a thermometer you trust", saltcheck.IN_AIR, "about an hour"
    ),
}


@dataclass(frozen=True)
class Kept:
    """A fixed point that the person kept: where, when, the judgement, and the jar's warmth."""

    what: str
    at_s: float
    temp_c: float
    point: Point


@dataclass(frozen=True)
class Look:
    """How a check stands. `what` is None between two jars; `point` only once it stands still."""

    key: str
    what: str | None
    reference_c: float | None
    started_s: float
    kept: tuple[Kept, ...]
    settling: Settling | None
    point: Point | None
    fault: str = ""

    @property
    def quantity(self) -> saltcheck.Quantity:
        """Which of its two quantities is checked."""
        return SETUPS[self.what].habit.quantity if self.what else self.kept[0].point.quantity

    @property
    def fit(self) -> Fit | None:
        """What the kept points give."""
        return saltcheck.fit([one.point for one in self.kept]) if self.kept else None


@dataclass(frozen=True)
class Drawn:
    """Readings as measured and as corrected, each (n,), and what is true where that is known."""

    humidity: bool
    at_s: FloatArray
    measured: FloatArray
    corrected: FloatArray
    true: float | None


def begin(
    con: sqlite3.Connection, key: str, what: str, reference_c: float | None, now_s: float
) -> None:
    """The sensor now stands in `what`. Points kept before stay if they are of one quantity.

    Raises CheckError for an unknown sensor or set-up, or a reference that is missing or odd.
    """
    _known(con, key)
    if what not in SETUPS:
        raise CheckError(f"{what!r} is nothing to check against; expected {', '.join(SETUPS)}")
    if what == REFERENCE:
        low, high = REFERENCE_RANGE_C
        if reference_c is None or not low <= reference_c <= high:
            given = "nothing" if reference_c is None else f"{reference_c:g} °C"
            raise CheckError(
                f"the thermometer reads {given}; read it and type it, {low:g} to {high:g} °C"
            )
    quantity = SETUPS[what].habit.quantity
    before = _state(con, key)
    kept = [one for one in before.get("kept", []) if one["point"]["quantity"] == quantity]
    state = {
        "what": what,
        "reference_c": reference_c if what == REFERENCE else None,
        "started_s": now_s,
        "kept": kept,
    }
    settings.put(con, _setting(key), json.dumps(state), now_s)
    if what == REFERENCE:
        away.come_back(con, key, now_s + BACK_IN_S)
    else:
        away.leave(con, key, now_s)


def look(con: sqlite3.Connection, key: str, now_s: float) -> Look | None:
    """How the check of a sensor stands, or None where there is none."""
    state = _state(con, key)
    if not state:
        return None
    kept = tuple(
        Kept(one["what"], one["at_s"], one["temp_c"], Point(**one["point"]))
        for one in state["kept"]
    )
    found = Look(key, state["what"], state["reference_c"], state["started_s"], kept, None, None)
    if found.what is None:
        return found
    habit = SETUPS[found.what].habit
    raw = readings.raw(con, key, max(found.started_s, now_s - 2 * 3600.0), now_s)
    settling = saltcheck.settling(
        raw.at_s, raw.temp_c, raw.humidity_pct, found.started_s, now_s, habit
    )
    found = replace(found, settling=settling)
    if settling.stand != "settled" or settling.mean is None or settling.temp_c is None:
        return found
    try:
        true, plus_minus = _true(con, found, settling.temp_c, now_s)
    except ValueError as error:
        return replace(found, fault=str(error))
    point = saltcheck.point(habit.quantity, settling.mean, true, plus_minus)
    return replace(found, point=point)


def keep(con: sqlite3.Connection, key: str, now_s: float) -> None:
    """Keep the point that stands still now.

    Raises CheckError where none does, or where it cannot be believed.
    """
    found = look(con, key, now_s)
    if found is None or found.what is None:
        raise CheckError(f"no check of {key} is going on; start one")
    if found.point is None or found.settling is None or found.settling.temp_c is None:
        raise CheckError("the readings do not stand still any more; wait and look again")
    if not found.point.believable:
        raise CheckError(
            "this far off the set-up is likelier wrong than the sensor; mend it and start again"
        )
    # A jar that is done twice counts once, by its last word; so does ice.
    kept = [one for one in found.kept if one.what != found.what or one.what == REFERENCE]
    kept.append(Kept(found.what, now_s, found.settling.temp_c, found.point))
    state = {
        "what": None,
        "reference_c": None,
        "started_s": found.started_s,
        "kept": [asdict(one) for one in kept],
    }
    settings.put(con, _setting(key), json.dumps(state), now_s)


def correct(con: sqlite3.Connection, key: str, from_s: float, now_s: float) -> Correction:
    """Store what the kept points give, from a moment on, and end the check.

    The other quantity's correction stays as it is. Raises CheckError where no point is kept or
    a later correction holds already.
    """
    found = look(con, key, now_s)
    fit = None if found is None else found.fit
    if found is None or fit is None:
        raise CheckError("no point is kept yet; wait until the readings stand still and keep one")
    rows = corrections.corrections(con, key)
    if rows and from_s < rows[-1].from_s:
        raise CheckError(
            "a correction made since then holds already; take a later moment, or withdraw it first"
        )
    if not now_s - 400 * 86400.0 <= from_s <= now_s:
        raise CheckError("the moment lies ahead, or more than 400 days back; take another")
    before = corrections.at(rows, from_s)
    humid = fit.quantity == "humidity"
    correction = Correction(
        from_s,
        before.temp_offset_c if humid else round(fit.offset, 2),
        round(fit.offset, 2) if humid else before.humidity_offset_pct,
        "; ".join(_noted(one) for one in found.kept),
    )
    corrections.add(con, key, correction)
    stop(con, key, now_s)
    return correction


def stop(con: sqlite3.Connection, key: str, now_s: float) -> None:
    """End the check; nothing of it is kept."""
    settings.put(con, _setting(key), "", now_s)
    away.come_back(con, key, now_s + BACK_IN_S)


def layers_beside(con: sqlite3.Connection, key: str) -> list[str]:
    """Layers on the bench that are told by this sensor: in a jar it tells them nonsense."""
    first = beliefs.first_sensor(con)
    return [
        f"{piece.name}, {layer.name}"
        for piece, layer in pieces.bench(con)
        if key in (layer.sensor or first, layer.probe)
    ]


def drawn(con: sqlite3.Connection, key: str, now_s: float, found: Look | None) -> Drawn | None:
    """Before and after: of the check going on with what its points so far would give, else of
    the last day with the correction that holds now. None where there is nothing to compare."""
    holds = corrections.at(corrections.corrections(con, key), now_s)
    from_s, true = now_s - DRAWN_S, None
    if found is None:
        humidity = holds.humidity_offset_pct != 0.0
        offset = holds.humidity_offset_pct if humidity else holds.temp_offset_c
        if offset == 0.0:
            return None
    else:
        from_s = max(found.started_s - LEAD_S, from_s)
        points = [one.point for one in found.kept]
        if found.point is not None:
            points.append(found.point)
            true = found.point.true
        humidity = found.quantity == "humidity"
        holding = holds.humidity_offset_pct if humidity else holds.temp_offset_c
        offset = saltcheck.fit(points).offset if points else holding
    raw = readings.raw(con, key, from_s, now_s)
    measured = raw.humidity_pct if humidity else raw.temp_c
    known = np.isfinite(measured)
    if known.sum() < 2:
        return None
    corrected = measured[known] + offset
    if humidity:
        corrected = np.clip(corrected, 0.0, 100.0)
    return Drawn(humidity, raw.at_s[known], measured[known], corrected, true)


def _true(con: sqlite3.Connection, found: Look, temp_c: float, now_s: float) -> tuple[float, float]:
    """What is true where the sensor stands, and how sure; a jar's by its corrected warmth."""
    if found.what == ICE:
        return saltcheck.ICE_C, saltcheck.ICE_PLUS_MINUS_C
    if found.what is not None and found.what in SALTS:
        holds = corrections.at(corrections.corrections(con, found.key), now_s)
        jar_c = temp_c + holds.temp_offset_c
        true = saltcheck.salt_humidity_pct(found.what, jar_c)
        return true, SALTS[found.what].plus_minus_pct
    return found.reference_c or 0.0, REFERENCE_PLUS_MINUS_C


def _known(con: sqlite3.Connection, key: str) -> None:
    known = [one.key for one in readings.sensors(con)]
    if key not in known:
        heard = ", ".join(known) or "none has been heard yet"
        raise CheckError(f"there is no sensor {key!r}; known: {heard}")


def _setting(key: str) -> str:
    return f"sensor_check:{key}"


def _state(con: sqlite3.Connection, key: str) -> dict[str, Any]:
    text = settings.get(con, _setting(key), "")
    found: dict[str, Any] = json.loads(text) if text else {}
    return found


def _noted(one: Kept) -> str:
    unit = "%RH" if one.point.quantity == "humidity" else "°C"
    return f"{SETUPS[one.what].name}: read {one.point.reads:.1f}, true {one.point.true:.1f} {unit}"
