"""A label's time as a maker writes it: '45 min', '3 h 30 min', '3 d'. Hours inside.

Pure. A number alone is hours, since labels mostly speak in hours.
"""

from __future__ import annotations

import re

_MINUTES = 60.0
_DAY_H = 24.0
# What is longer is told in days; labels say '24 h' and '36 h', but '3 d'.
_LONGEST_IN_H = 48.0
_CLOCK = re.compile(r"(\d+):([0-5]\d)")
_NUMBER = r"(\d+(?:[.,]\d*)?|[.,]\d+)"
_SAID = re.compile(
    rf"(?:{_NUMBER}\s*d(?:ays?)?)?\s*"
    rf"(?:{_NUMBER}\s*h(?:rs?|ours?)?)?\s*"
    # After hours the minutes need no name: '3 h 30'.
    rf"(?:{_NUMBER}\s*(?(2)(?:m(?:ins?|inutes?)?)?|m(?:ins?|inutes?)?))?"
)


def hours_of(text: str) -> float | None:
    """The hours that a text tells; None where it tells none."""
    said = " ".join(text.lower().split())
    if re.fullmatch(_NUMBER, said):
        return _float(said)
    clock = _CLOCK.fullmatch(said)
    if clock:
        return int(clock[1]) + int(clock[2]) / _MINUTES
    found = _SAID.fullmatch(said)
    if found is None or not any(found.groups()):
        return None
    days, hours, minutes = (_float(one or "0") for one in found.groups())
    return days * _DAY_H + hours + minutes / _MINUTES


def _float(typed: str) -> float:
    return float(typed.replace(",", "."))


def written(hours: float) -> str:
    """Hours as they stand in a field, to the minute; what is shorter than an hour, finer."""
    minutes = hours * _MINUTES
    if round(minutes) < _MINUTES:
        return f"{minutes:.3g} min"
    whole_h, rest_min = divmod(round(minutes), 60)
    days, whole_h = divmod(whole_h, 24) if hours >= _LONGEST_IN_H else (0, whole_h)
    parts = ((days, "d"), (whole_h, "h"), (rest_min, "min"))
    return " ".join(f"{number} {unit}" for number, unit in parts if number)
