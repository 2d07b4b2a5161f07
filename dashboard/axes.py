"""A time axis in local time: where a moment stands, and which moments are worth a label."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import timedelta

from dashboard.wording import Local

_NICE_HOURS = (0.25, 0.5, 1, 2, 3, 4, 6, 8, 12, 24, 48, 72, 96, 120, 168, 240, 336, 720, 2160)
_NICE_MONTHS = (1, 2, 3, 6, 12, 24)
_MONTH_H = 730.0
_NICE_STEPS = (1, 2, 5, 10, 20, 50, 100)


def framed(low: float, high: float, most: int) -> tuple[float, float]:
    """Round values below and above, two to `most` round steps apart: three labels at least."""
    for step in _NICE_STEPS:
        first, last = math.floor(low / step), math.ceil(high / step)
        if last - first <= most:
            break
    # What hardly moves keeps air above and below it.
    first, last = (first - 1, last + 1) if last - first < 2 else (first, last)
    return float(first * step), float(last * step)


@dataclass(frozen=True)
class TimeAxis:
    """Maps moments onto a width, in local time; `elapsed` counts hours from 0 instead."""

    from_s: float
    to_s: float
    left: float
    right: float
    local: Local
    elapsed: bool = False

    def x(self, at_s: float) -> float:
        """Where a moment stands."""
        share = (at_s - self.from_s) / max(self.to_s - self.from_s, 1.0)
        return self.left + min(max(share, 0.0), 1.0) * (self.right - self.left)

    def ticks(self, most: int) -> list[tuple[float, str]]:
        """Round moments with their labels, at most about so many."""
        hours = (self.to_s - self.from_s) / 3600.0
        step = next((n for n in _NICE_HOURS if hours / n <= most), 8760)
        if self.elapsed:
            return self._elapsed(step)
        days = self.local.midnights(self.from_s - 86400.0, self.to_s)
        if step > 336:
            return self._months(days, hours, most)
        if step >= 24:
            every, form = round(step / 24), "%-d %b"
            kept = [d for d in days if self.local.at(d).toordinal() % every == 0]
            return [(d, self.local.worded(d, form)) for d in kept if d >= self.from_s]
        found = []
        for day in days:
            for at_s in self._clock_times(day, step):
                if self.from_s <= at_s <= self.to_s:
                    moment = self.local.at(at_s)
                    midnight = moment.hour == 0 and moment.minute == 0
                    # On paper weeks later the month is not plain.
                    day_form = "%-d %b" if self.local.dated else "%a %-d"
                    form = day_form if midnight else "%H:%M"
                    found.append((at_s, self.local.worded(at_s, form)))
        return found

    def _months(self, days: list[float], hours: float, most: int) -> list[tuple[float, str]]:
        """The first days of months, with their year where the axis is longer than one."""
        every = next((n for n in _NICE_MONTHS if hours / _MONTH_H / n <= most), 60)
        form = "%-d %b" if hours < 24 * 400 else "%b %Y"
        found = []
        for day in days:
            moment = self.local.at(day)
            whole = moment.year * 12 + moment.month - 1
            if day >= self.from_s and moment.day == 1 and whole % every == 0:
                found.append((day, self.local.worded(day, form)))
        return found

    def _clock_times(self, midnight_s: float, step: float) -> list[float]:
        """Moments of one local day at which the clock on the wall shows a round time.

        An hour that the clock skips has none; one that it goes through twice has two where
        the ticks are that close, else the first.
        """
        start = self.local.at(midnight_s).replace(hour=0, minute=0, fold=0)
        found = []
        for number in range(math.ceil(24 / step)):
            wall = start.replace(tzinfo=None) + timedelta(hours=number * step)
            for fold in (0, 1) if step <= 1 else (0,):
                at_s = wall.replace(tzinfo=self.local.zone, fold=fold).timestamp()
                shows = self.local.at(at_s)
                if shows.replace(tzinfo=None, fold=0) == wall and at_s not in found:
                    found.append(at_s)
        return sorted(found)

    def _elapsed(self, step: float) -> list[tuple[float, str]]:
        first = math.ceil(self.from_s / 3600.0 / step)
        last = math.floor(self.to_s / 3600.0 / step)
        return [(n * step * 3600.0, f"{n * step:g} h") for n in range(first, last + 1)]
