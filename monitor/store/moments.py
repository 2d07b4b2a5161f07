"""Seconds of the program to and from the milliseconds of the file."""

from __future__ import annotations


def ms(at_s: float) -> int:
    """Whole milliseconds of a time in seconds."""
    return round(at_s * 1000)


def maybe_ms(at_s: float | None) -> int | None:
    """Whole milliseconds, or no time."""
    return None if at_s is None else ms(at_s)


def seconds(at_ms: int) -> float:
    """Seconds of a stored time."""
    return at_ms / 1000


def maybe_seconds(at_ms: int | None) -> float | None:
    """Seconds of a stored time, or no time."""
    return None if at_ms is None else seconds(at_ms)
