"""How a check of a sensor stands, in words: the same on the page and in the terminal."""

from __future__ import annotations

from monitor.answers.sensor_checks import ICE, SETUPS, Kept, Look
from monitor.core.room import saltcheck
from monitor.core.room.saltcheck import Fit, Point
from monitor.store.corrections import Correction


def words(found: Look, now_s: float, fahrenheit: bool = False) -> tuple[str, ...]:
    """What the check sees now and what to do, a sentence or two each."""
    if found.what is None or found.settling is None:
        return ("Put the sensor in the next jar, or correct it by what is kept.",)
    if found.fault:
        return (f"It stands still, but {found.fault}.",)
    if found.point is not None:
        return _verdict_words(found, found.point, fahrenheit)
    setup, seen = SETUPS[found.what], found.settling
    humidity = found.quantity == "humidity"
    unit = "%RH" if humidity else _degree(fahrenheit)
    scale = 1.0 if humidity or not fahrenheit else 1.8
    in_place = f"In place for {(now_s - found.started_s) / 60.0:.0f} min"
    if seen.stand == "no_value":
        return ("This sensor measures no humidity; check its temperature instead.",)
    if seen.stand == "begun":
        return (
            f"{in_place}. It is not judged for another {max(seen.wait_s / 60.0, 1.0):.0f} min; "
            f"usually it takes {setup.usually}.",
        )
    if seen.stand == "few":
        return (
            f"{in_place}, but only {seen.count} readings came lately. Is the sensor still heard?",
        )
    slope, scatter = seen.slope_per_h or 0.0, seen.scatter or 0.0
    now = "" if seen.mean is None else f"Reads {_value(seen.mean, humidity, fahrenheit)} now. "
    if seen.stand == "moving":
        way = "rising" if slope > 0.0 else "falling"
        return (
            f"{now}Still {way} {abs(slope) * scale:.1f} {unit} an hour; wait until it is below "
            f"{setup.habit.slope_per_h * scale:.1f}.",
        )
    if seen.stand == "warming":
        warming = seen.warming_k_h or 0.0
        way = "warms" if warming > 0.0 else "cools"
        return (
            f"{now}The jar {way} by {_gap(warming, fahrenheit)} an hour. Keep it out of sun and "
            f"draughts; wait until it is below {_gap(setup.habit.warming_k_h, fahrenheit)}.",
        )
    return (
        f"{now}The readings leap about by {scatter * scale:.1f} {unit}: see that nothing drips on "
        "the sensor and that its plugs sit tight.",
    )


def kept_words(one: Kept, left_over: float, fahrenheit: bool = False) -> str:
    """A kept point and what the correction leaves there."""
    point = one.point
    humidity = point.quantity == "humidity"
    left = _difference(left_over, humidity, fahrenheit)
    return (
        f"{SETUPS[one.what].name}: read {_value(point.reads, humidity, fahrenheit)}, "
        f"true {_true_words(point, fahrenheit)}; with the correction {left}"
    )


def fit_words(fit: Fit, fahrenheit: bool = False) -> str:
    """What the correction would be, and whether one number will do."""
    humidity = fit.quantity == "humidity"
    said = f"Correction: {_signed(fit.offset, humidity, fahrenheit)}."
    if len(fit.left_over) == 1:
        said += " From one point; a second jar would show whether it holds elsewhere."
    elif fit.enough:
        said += " The mean of the points; what is left at each is within the data sheet."
    else:
        said += (
            " The mean of the points, but the error differs too much between them for one number: "
            "the sensor is worn or was wet. Better replace it."
        )
    return said


def correction_words(one: Correction, fahrenheit: bool = False) -> str:
    """What a correction adds."""
    return (
        f"{_signed(one.temp_offset_c, False, fahrenheit)}, "
        f"{_signed(one.humidity_offset_pct, True, fahrenheit)}"
    )


def _verdict_words(found: Look, point: Point, fahrenheit: bool) -> tuple[str, ...]:
    humidity = point.quantity == "humidity"
    where = "the jar is" if humidity else "it is"
    off = _difference(point.error, humidity, fahrenheit)
    said = (
        f"Reads {_value(point.reads, humidity, fahrenheit)}, {where} "
        f"{_true_words(point, fahrenheit)}: {off}."
    )
    if not point.believable:
        cause = (
            "is the salt wet slush with crystals left in it, and the jar shut?"
            if humidity
            else "is there ice left, and is the sensor in the middle of it?"
            if found.what == ICE
            else "do both stand side by side, out of draughts?"
        )
        return (said, f"A sensor is seldom that wrong: {cause} Mend it and start again.")
    stated = saltcheck.STATED[point.quantity]
    sheet = f"{stated:.0f} %RH" if humidity else _gap(stated, fahrenheit)
    if not point.told:
        return (said, "That is no difference that this check can tell.")
    side = "Within" if point.within else "Outside"
    return (said, f"{side} the ±{sheet} that a DHT22's data sheet states.")


def _degree(fahrenheit: bool) -> str:
    return "°F" if fahrenheit else "°C"


def _gap(kelvin: float, fahrenheit: bool) -> str:
    return f"{abs(kelvin) * (1.8 if fahrenheit else 1.0):.1f} {_degree(fahrenheit)}"


def _value(value: float, humidity: bool, fahrenheit: bool) -> str:
    if humidity:
        return f"{value:.1f} %RH"
    return f"{value * 1.8 + 32.0 if fahrenheit else value:.1f} {_degree(fahrenheit)}"


def _true_words(point: Point, fahrenheit: bool) -> str:
    humidity = point.quantity == "humidity"
    sure = point.plus_minus * (1.8 if fahrenheit and not humidity else 1.0)
    number, unit = _value(point.true, humidity, fahrenheit).split(" ", 1)
    return f"{number} ± {sure:.1f} {unit}"


def _difference(error: float, humidity: bool, fahrenheit: bool) -> str:
    size = f"{abs(error):.1f} %RH" if humidity else _gap(error, fahrenheit)
    if float(size.split(" ", 1)[0]) == 0.0:
        return "right to a tenth"
    return f"{size} too {'high' if error > 0.0 else 'low'}"


def _signed(offset: float, humidity: bool, fahrenheit: bool) -> str:
    size = f"{abs(offset):.1f} %RH" if humidity else _gap(offset, fahrenheit)
    sign = "−" if offset < 0.0 and float(size.split(" ", 1)[0]) else "+"
    return f"{sign}{size}"
