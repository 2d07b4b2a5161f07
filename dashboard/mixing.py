"""What was really mixed, held against the label."""

from __future__ import annotations

from dashboard.forms import Form
from monitor.answers.preview import hardener_ratio
from monitor.core.vocabulary import ResinProfile


def mixed_ratio(resin: ResinProfile, form: Form) -> float | None:
    """Hardener used over hardener wanted, or None where it was not measured.

    The core tells the ratio; a senseless one is a fault in words.
    """
    unit = "g" if form.values.get("part_unit") == "g" else "ml"
    part_a = form.number("part_a", "Resin used", 0.01, 1e6, unit)
    part_b = form.number("part_b", "Hardener used", 0.01, 1e6, unit)
    if (part_a is None) != (part_b is None) and not form.faults:
        form.fault(
            "part_a" if part_a is None else "part_b",
            "Only one of resin and hardener used is given; give both, or neither",
        )
    if part_a is None or part_b is None:
        return None
    try:
        ratio = hardener_ratio(resin, part_a, part_b, unit)
    except ValueError as error:
        form.fault("part_b", str(error))
        return None
    if not 0.2 <= ratio <= 5.0:
        form.fault(
            "part_b",
            f"{part_a:g} of resin and {part_b:g} of hardener is {ratio:.1f} times the label's "
            "hardener; are the two swapped?",
        )
    return ratio
