"""How long, as a maker says it: minutes while they matter, no tenths of an hour."""

from __future__ import annotations


def spoken_hours(hours: float, step_min: int = 1) -> str:
    """'45 min', '2 h 20 min', '14 h'; minutes to the nearest `step_min`, from 10 h on none."""
    minutes = step_min * round(60.0 * hours / step_min)
    if minutes >= 600:
        return f"{hours:.0f} h"
    whole, rest = divmod(minutes, 60)
    if not whole:
        return f"{rest} min"
    return f"{whole} h {rest} min" if rest else f"{whole} h"
