"""The wishes of a plan, from a form's fields and back."""

from __future__ import annotations

import re
from collections.abc import Mapping

from dashboard.forms import Form
from dashboard.wording import Local
from monitor.answers.planning import Wishes

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
SURE = {"0.6": "6 in 10", "0.7": "7 in 10", "0.8": "8 in 10", "0.9": "9 in 10", "0.95": "19 in 20"}
MODES = {"soonest": "finish soonest", "latest": "start as late as is safe for the deadline"}
DONE_WHEN = {"cured": "it is fully cured", "hands_off": "my last step is done"}
SPARE_DATES = 2  # empty fields to choose further days off in
MOST_DATES = 60
_OFF = re.compile(r"never\d|off\d{0,3}")
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)")


def wishes_of(form: Form, here: Local) -> Wishes:
    """The wishes as typed; what is not typed stays as usual."""
    work = _hours(form, "work", "Hours on working days", (7.0, 22.0))
    rest = _hours(form, "rest", "Hours at the weekend", work)
    waking = tuple(
        None if form.values.get(f"never{day}") else (rest if day > 4 else work)
        for day in range(len(WEEKDAYS))
    )
    return Wishes(
        waking_h=waking,
        days_off=tuple(dict.fromkeys(sorted(days_off(form.values)))),
        deadline_s=_deadline(form, here),
        probability=form.number("sure", "How sure", 0.3, 0.99, "of 1") or 0.8,
        mode=form.choice("mode", "When", MODES, "soonest"),  # type: ignore[arg-type]
        done_when=form.choice("done_when", "Done when", DONE_WHEN, "cured"),  # type: ignore[arg-type]
        within_limits=not form.values.get("any_room"),
    )


def fields_of(wanted: Wishes, here: Local) -> dict[str, str]:
    """A form's fields that say these wishes."""
    days = [hours for hours in wanted.waking_h[:5] if hours] or [(7.0, 22.0)]
    ends = [hours for hours in wanted.waking_h[5:] if hours] or days[:1]
    fields = {
        "work_from": _clock(days[0][0]),
        "work_to": _clock(days[0][1]),
        "rest_from": _clock(ends[0][0]),
        "rest_to": _clock(ends[0][1]),
        "sure": f"{wanted.probability:g}",
        "mode": wanted.mode,
        "done_when": wanted.done_when,
    }
    for n, date in enumerate(wanted.days_off, 1):
        fields[f"off{n}"] = date
    if wanted.deadline_s is not None:
        fields["deadline"] = here.field(wanted.deadline_s)
    if not wanted.within_limits:
        fields["any_room"] = "1"
    for day, hours in enumerate(wanted.waking_h):
        if hours is None:
            fields[f"never{day}"] = "1"
    return fields


def sure_words(typed: str) -> str:
    """'8 in 10', or '7.5 in 10' for what a list does not offer."""
    return SURE.get(typed) or f"{round(10 * float(typed), 1):g} in 10"


def without(fields: Mapping[str, str], wish: str, probability: float | None) -> dict[str, str]:
    """The fields with one wish given up; empty where the wish is not the form's to give up."""
    left = dict(fields)
    if wish == "probability" and probability is not None:
        left["sure"] = f"{probability:g}"
    elif wish == "deadline":
        left["deadline"], left["mode"] = "", "soonest"
    elif wish == "room_limits":
        left["any_room"] = "1"
    elif wish == "full_cure":
        left["done_when"] = "hands_off"
    elif wish == "waking_hours":
        # From midnight to midnight.
        left |= dict.fromkeys(("work_from", "work_to", "rest_from", "rest_to"), "00:00")
    elif wish == "days_off":
        left = {key: value for key, value in left.items() if not _OFF.fullmatch(key)}
    else:
        return {}
    return left


def days_off(fields: Mapping[str, str]) -> list[str]:
    """The dates off, as typed, a field each; an address may give several in one."""
    given = (value for key, value in fields.items() if key.startswith("off") and _OFF.match(key))
    return [day for value in given for day in re.split(r"[,\s]+", value[:300]) if day][:MOST_DATES]


def said(wanted: Wishes, here: Local) -> tuple[str, ...]:
    """The wishes in sentences."""
    fields: Mapping[str, str] = fields_of(wanted, here)
    words = f"You work from {fields['work_from']} to {fields['work_to']}"
    if (fields["rest_from"], fields["rest_to"]) != (fields["work_from"], fields["work_to"]):
        words += f", at the weekend from {fields['rest_from']} to {fields['rest_to']}"
    never = [WEEKDAYS[day] for day, hours in enumerate(wanted.waking_h) if hours is None]
    if never:
        words += f", never on a {' or '.join(never)}"
    if wanted.days_off:
        words += f", not on {', '.join(_date(day, here) for day in wanted.days_off)}"
    aim = f"Aim: {MODES[wanted.mode]}, {sure_words(fields['sure'])} sure of each step"
    if wanted.deadline_s is not None:
        aim += f", done by {here.full(wanted.deadline_s)}"
    found = [f"{words}.", f"{aim}."]
    if not wanted.within_limits:
        found.append("Poured even if the room does not suit.")
    return tuple(found)


def _date(day: str, here: Local) -> str:
    noon_s = here.parsed(f"{day}T12:00")
    return day if noon_s is None else here.worded(noon_s, "%a %-d %b")


def _hours(form: Form, key: str, name: str, usual: tuple[float, float]) -> tuple[float, float]:
    found = []
    for end, hour in zip(("from", "to"), usual, strict=True):
        typed = form.text(f"{key}_{end}", name, 5)
        matched = _CLOCK.fullmatch(typed)
        if typed and matched is None:
            form.faults.append(f"{name}: {typed!r} is not a time; expected one like 07:30")
        found.append(int(matched[1]) + int(matched[2]) / 60.0 if matched else hour % 24.0)
    from_h, to_h = found
    # A day that ends at or before it begins ends on the next one.
    return from_h, to_h + 24.0 if to_h <= from_h else to_h


def _deadline(form: Form, here: Local) -> float | None:
    typed = form.text("deadline", "Deadline", 20)
    if not typed:
        return None
    at_s = here.parsed(typed)
    if at_s is None:
        form.faults.append(f"Deadline is {typed!r}; expected a date and time")
    elif at_s <= here.now_s:
        form.faults.append("The deadline has passed; give a later one, or none")
    elif at_s > here.now_s + 60 * 86400.0:
        form.faults.append("The deadline lies more than 60 days ahead; leave it out")
    else:
        return at_s
    return None


def _clock(hour: float) -> str:
    minutes = round(hour * 60.0) % 1440
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
