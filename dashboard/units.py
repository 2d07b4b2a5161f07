"""The units a person chose: one place turns the store's metric numbers into them and back.

Factors are the legal ones (NIST SP 811, appendix B.8, from memory): inch 25.4 mm, avoirdupois
ounce 28.349523125 g, US fluid ounce 29.5735295625 ml.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from monitor.core.vocabulary import FloatArray

# The metric unit: what stands for it, how much of the metric one it is, and decimals shown.
_OTHER: Mapping[str, tuple[str, float, int]] = {
    "ml": ("fl oz", 29.5735295625, 2),
    "g": ("oz", 28.349523125, 2),
    "mm": ("in", 25.4, 3),
    "cm²": ("in²", 6.4516, 1),
}
# Enough digits to come back to what was typed in metric once.
_KEPT_DIGITS = 5
# In a field: as many as come back whole, or as few as are read at a glance.
_EXACT_DIGITS, _LONGEST, _NEAT_DIGITS = 4, len("0.1875"), 3

# In the core's sentences a difference of temperatures stands beside one of these; it is
# scaled, not shifted.
_DIFFERENCE = re.compile(
    r"(?P<before>adds |within |practice keeps |give or take |wanted: at least )?"
    r"(?P<value>-?\d+(?:\.\d+)?) °C"
    r"(?P<after> sooner| below the label| above the dew point)?"
)
_LENGTH = re.compile(r"(\d+(?:\.\d+)?) mm\b")


def _plain(value: float, digits: int) -> str:
    """A number of so many digits, never as a power of ten."""
    rounded = float(f"{value:.{digits}g}")
    return f"{round(value)}" if abs(rounded) >= 1000 else f"{rounded:g}"


@dataclass(frozen=True)
class Units:
    """How a person wants to read and type numbers; metric unless chosen otherwise."""

    fahrenheit: bool = False
    fluid_ounces: bool = False
    ounces: bool = False
    inches: bool = False

    @property
    def degree(self) -> str:
        """The temperature unit."""
        return "°F" if self.fahrenheit else "°C"

    def unit(self, metric: str) -> str:
        """What is shown in place of a metric unit: 'mm' -> 'in'."""
        if metric == "°C":
            return self.degree
        return _OTHER[metric][0] if self._swapped(metric) else metric

    def to_shown(self, value: float, metric: str) -> float:
        """A metric number in the chosen unit."""
        if metric == "°C":
            return self.shown(value)
        return value / _OTHER[metric][1] if self._swapped(metric) else value

    def to_metric(self, value: float, metric: str) -> float:
        """A number as typed, in the store's unit; what was metric once comes back whole."""
        if not self._swapped(metric):
            return value
        back = (value - 32.0) / 1.8 if metric == "°C" else value * _OTHER[metric][1]
        return float(f"{back:.{_KEPT_DIGITS}g}")

    def shown(self, temp_c: float) -> float:
        """A temperature in the chosen unit."""
        return temp_c * 1.8 + 32.0 if self.fahrenheit else temp_c

    def all_shown(self, temp_c: FloatArray) -> FloatArray:
        """Temperatures (n,) in the chosen unit."""
        return temp_c * 1.8 + 32.0 if self.fahrenheit else temp_c

    def temperature(self, temp_c: float | None, places: int = 1) -> str:
        """A temperature with its unit."""
        return "—" if temp_c is None else f"{self.shown(temp_c):.{places}f} {self.degree}"

    def difference(self, change_c: float) -> float:
        """A difference of temperatures in the chosen unit."""
        return change_c * 1.8 if self.fahrenheit else change_c

    def quantity(self, value: float | None, metric: str, places: int | None = None) -> str:
        """A number with its unit, no longer than it need be.

        `places` fixes the metric decimals; with 0 another unit loses one of its own.
        """
        if value is None:
            return "—"
        if metric == "°C":
            return self.temperature(value, 1 if places is None else places)
        number = self.to_shown(value, metric)
        if self._swapped(metric):
            kept = _OTHER[metric][2] - (places == 0)
            text = f"{number:.{kept}f}"
            # What is too small for the usual decimals keeps two digits.
            text = f"{number:.2g}" if float(text) == 0.0 else text
        else:
            text = f"{number:g}" if places is None else f"{number:.{places}f}"
        trimmed = text.rstrip("0").rstrip(".") if "." in text and places is None else text
        return f"{trimmed} {self.unit(metric)}"

    def field(self, value: float | None, metric: str) -> str:
        """A number for an address or a field, with all it needs to come back; else empty."""
        return "" if value is None else f"{self.to_shown(value, metric):g}"

    def neat(self, value: float | None, metric: str) -> str:
        """A number as it stands in a form's field; empty where there is none.

        Metric as it is kept. In another unit with up to four digits where they come back to
        it, else with three: a field that shows less sends the kept number along (`was`).
        """
        if value is None or not self._swapped(metric):
            return self.field(value, metric)
        shown = self.to_shown(value, metric)
        for digits in range(1, _EXACT_DIGITS + 1):
            text = _plain(shown, digits)
            whole = self.to_metric(float(text), metric) == float(f"{value:.{_KEPT_DIGITS}g}")
            if whole and len(text) <= _LONGEST:
                return text
        return _plain(shown, _NEAT_DIGITS)

    def was(self, value: float | None, metric: str) -> str:
        """The kept number, for beside a field that does not show all of it; else empty."""
        if value is None or self.to_metric(float(self.neat(value, metric)), metric) == value:
            return ""
        return repr(float(value))

    def limit(self, temp_c: float) -> str:
        """A temperature that bounds something: not rounded to another one."""
        return self.temperature(temp_c, len(self.neat(temp_c, "°C").partition(".")[2]))

    def added(self, parts: Sequence[float], metric: str, places: int | None = None) -> str:
        """The sum of quantities as they are shown, so that it adds up on the page."""
        texts = [self.quantity(part, metric, places).split()[0] for part in parts]
        kept = max(len(text.partition(".")[2]) for text in texts)
        total = f"{math.fsum(float(text) for text in texts):.{kept}f}"
        return self.quantity(parts[0], metric, places).replace(texts[0], total, 1)

    def spoken(self, text: str) -> str:
        """The core's metric words in the chosen units."""
        if self.fahrenheit:
            text = _DIFFERENCE.sub(self._degrees, text)
        if self.inches:
            text = _LENGTH.sub(lambda found: self.quantity(float(found[1]), "mm"), text)
        return text

    def _degrees(self, found: re.Match[str]) -> str:
        number, before, after = found["value"], found["before"] or "", found["after"] or ""
        places = len(number.partition(".")[2])
        turned = self.difference if before or after else self.shown
        value = turned(float(number))
        guessed = found.string[: found.start()].endswith("about ")
        if not (places or before or after or guessed) and abs(value - round(value)) > 0.05:
            places = 1  # a limit of 64.4 told as 64 would not match what is held against it
        return f"{before}{value:.{places}f} °F{after}"

    def _swapped(self, metric: str) -> bool:
        return {
            "°C": self.fahrenheit,
            "ml": self.fluid_ounces,
            "g": self.ounces,
            "mm": self.inches,
            "cm²": self.inches,
        }.get(metric, False)


# Setting -> the choices, the first is the store's own.
CHOICES: Mapping[str, tuple[str, Mapping[str, str]]] = {
    "temperature": ("Temperature", {"C": "°C", "F": "°F"}),
    "volume": ("Volume", {"ml": "ml", "floz": "fl oz (US)"}),
    "weight": ("Weight", {"g": "g", "oz": "oz"}),
    "length": ("Length and area", {"mm": "mm and cm²", "in": "in and in²"}),
}


def units_of(chosen: Mapping[str, str]) -> Units:
    """The units among a person's settings."""
    return Units(
        fahrenheit=chosen.get("temperature") == "F",
        fluid_ounces=chosen.get("volume") == "floz",
        ounces=chosen.get("weight") == "oz",
        inches=chosen.get("length") == "in",
    )
