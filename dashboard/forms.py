"""Reading what a person typed: every fault in words, nothing lost."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from dashboard.durations import hours_of, written
from dashboard.units import Units
from dashboard.wording import Local

_MOST_DIGITS = 18  # more would not fit into the store


def whole(text: str) -> int | None:
    """A whole number from 0 on, as a field or an address has it; None where it is none.

    The likes of `²` are digits to Python, and no number.
    """
    number = text.isascii() and text.isdigit() and len(text) <= _MOST_DIGITS
    return int(text) if number else None


def _short(limit: float) -> str:
    return f"{limit:.0f}" if abs(limit) >= 1000 else f"{limit:.3g}"


@dataclass
class Form:
    """Fields of a form as typed, and what is wrong with them.

    Numbers are typed in `units` and handed on in the store's metric ones. A field that shows
    less than what is kept has the kept number beside it, as `<key>:was`: sent back as it was
    shown, the kept one counts.
    """

    values: Mapping[str, str]
    units: Units = field(default_factory=Units)
    faults: list[str] = field(default_factory=list)
    # The same faults by the field they belong to.
    at: dict[str, str] = field(default_factory=dict)

    def fault(self, key: str, words: str) -> None:
        """Something is wrong with one field."""
        self.faults.append(words)
        self.at.setdefault(key, words)

    def text(self, key: str, name: str, most: int = 200, needed: bool = False) -> str:
        """A trimmed text."""
        value = self.values.get(key, "").strip()
        if needed and not value:
            self.fault(key, f"{name} is empty; give it one")
        if len(value) > most:
            self.fault(key, f"{name} has {len(value)} characters; at most {most} are kept")
        return value[:most]

    def number(
        self, key: str, name: str, low: float, high: float, unit: str, needed: bool = False
    ) -> float | None:
        """A number within limits, or None where the field is empty. A comma is a point.

        Limits and answer are in the metric `unit`; a fault speaks in the unit typed.
        """
        shown = self.units.unit(unit)
        typed = self.values.get(key, "").strip().replace(",", ".")
        if not typed:
            if needed:
                self.fault(key, f"{name} is empty; give it in {shown}")
            return None
        try:
            value = float(typed)
        except ValueError:
            self.fault(key, f"{name} is {typed!r}; expected a number in {shown}")
            return None
        metric = self.units.to_metric(value, unit) if math.isfinite(value) else value
        kept = self._was(key)
        if kept is not None and typed == self.units.neat(kept, unit):
            metric = kept
        if not math.isfinite(metric) or not low <= metric <= high:
            least, most = self.units.to_shown(low, unit), self.units.to_shown(high, unit)
            self.fault(
                key, f"{name} is {typed} {shown}; expected {_short(least)} to {_short(most)}"
            )
            return None
        return metric

    def hours(self, key: str, name: str, low: float, high: float) -> float | None:
        """A time such as '45 min' in hours, or None where the field is empty."""
        typed = self.values.get(key, "").strip()
        if not typed:
            return None
        found, kept = hours_of(typed), self._was(key)
        if kept is not None and typed == written(kept):
            found = kept
        if found is None:
            self.fault(
                key, f"{name} is {typed!r}; expected a time such as 45 min, 3 h 30 min or 3 d"
            )
        elif not low <= found <= high:
            self.fault(
                key, f"{name} is {typed}; expected between {_short(low)} and {_short(high)} h"
            )
            return None
        return found

    def _was(self, key: str) -> float | None:
        try:
            kept = float(self.values.get(f"{key}:was", ""))
        except ValueError:
            return None
        return kept if math.isfinite(kept) else None

    def choice(self, key: str, name: str, allowed: Iterable[str], default: str) -> str:
        """One of a few."""
        value = self.values.get(key, "") or default
        known = list(allowed)
        if value not in known:
            self.fault(key, f"{name} is {value!r}; expected one of {', '.join(known)}")
            return default
        return value

    def moment(self, key: str, name: str, local: Local) -> float | None:
        """A local moment, or None where the field is empty."""
        typed = self.values.get(key, "").strip()
        if not typed:
            return None
        at_s = local.parsed(typed)
        if at_s is None:
            self.fault(key, f"{name} is {typed!r}; expected a date and time")
        elif at_s > local.now_s + 60:
            self.fault(key, f"{name} lies in the future; a clock starts when the parts met")
            return None
        elif at_s < local.now_s - 60 * 86400:
            self.fault(key, f"{name} lies more than 60 days back")
            return None
        return at_s
