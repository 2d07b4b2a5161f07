"""Reading what a person typed: every fault in words, nothing lost."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from dashboard.units import Units
from dashboard.wording import Local


def _short(limit: float) -> str:
    return f"{limit:.0f}" if abs(limit) >= 1000 else f"{limit:.3g}"


@dataclass
class Form:
    """Fields of a form as typed, and what is wrong with them.

    Numbers are typed in `units` and handed on in the store's metric ones.
    """

    values: Mapping[str, str]
    units: Units = field(default_factory=Units)
    faults: list[str] = field(default_factory=list)

    def text(self, key: str, name: str, most: int = 200, needed: bool = False) -> str:
        """A trimmed text."""
        value = self.values.get(key, "").strip()
        if needed and not value:
            self.faults.append(f"{name} is empty; give it one")
        if len(value) > most:
            self.faults.append(f"{name} has {len(value)} characters; at most {most} are kept")
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
                self.faults.append(f"{name} is empty; give it in {shown}")
            return None
        try:
            value = float(typed)
        except ValueError:
            self.faults.append(f"{name} is {typed!r}; expected a number in {shown}")
            return None
        metric = self.units.to_metric(value, unit) if math.isfinite(value) else value
        if not math.isfinite(metric) or not low <= metric <= high:
            least, most = self.units.to_shown(low, unit), self.units.to_shown(high, unit)
            self.faults.append(
                f"{name} is {typed} {shown}; expected {_short(least)} to {_short(most)}"
            )
            return None
        return metric

    def choice(self, key: str, name: str, allowed: Iterable[str], default: str) -> str:
        """One of a few."""
        value = self.values.get(key, "") or default
        known = list(allowed)
        if value not in known:
            self.faults.append(f"{name} is {value!r}; expected one of {', '.join(known)}")
            return default
        return value

    def moment(self, key: str, name: str, local: Local) -> float | None:
        """A local moment, or None where the field is empty."""
        typed = self.values.get(key, "").strip()
        if not typed:
            return None
        at_s = local.parsed(typed)
        if at_s is None:
            self.faults.append(f"{name} is {typed!r}; expected a date and time")
        elif at_s > local.now_s + 60:
            self.faults.append(f"{name} lies in the future; a clock starts when the parts met")
            return None
        elif at_s < local.now_s - 60 * 86400:
            self.faults.append(f"{name} lies more than 60 days back")
            return None
        return at_s
