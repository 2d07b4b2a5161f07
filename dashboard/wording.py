"""All the words of the page, and local time."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from dashboard.language import ENGLISH, Language
from dashboard.patterns import shares
from dashboard.units import Units
from monitor.core.vocabulary import AlarmPhase, CureState, MarkKind

STAGE_NAMES: Mapping[str, str] = {
    "rest_over": "Bubbles have risen",
    "working_time_end": "Working time ends",
    "tape_window_open": "Tape may come off",
    "tape_window_close": "Tape window closes",
    "recoat_window_open": "Recoat window opens",
    "tack_free": "Tack-free",
    "recoat_window_close": "Recoat window closes",
    "sandable": "Sandable",
    "demouldable": "Demouldable",
    "full_cure": "Full cure",
    "handling_set": "Handling set",
    "touch_dry": "Touch dry",
    "overcoat_ready": "May be overcoated",
}
STAGE_MEANS: Mapping[str, str] = {
    "rest_over": "Pour it from the cup.",
    "working_time_end": "Leave the surface alone from here.",
    "tape_window_open": "Firm enough not to run, soft enough to level.",
    "tape_window_close": "Later the edge tears: warm it first.",
    "recoat_window_open": "The next layer bonds without sanding.",
    "tack_free": "A gloved finger leaves no mark and takes no resin.",
    "recoat_window_close": "From here sand first, then recoat.",
    "sandable": "Sands to dust, does not clog.",
    "demouldable": "Keeps its shape out of the mould.",
    "full_cure": "As hard as this resin gets at the label's temperature.",
    "handling_set": "May be moved with care.",
    "touch_dry": "Dry to a light touch.",
    "overcoat_ready": "The next layer may go over it.",
}
# How a stage came, by the marks, beside the band that was said.
FELT_NAMES: Mapping[str, str] = {
    "inside": "within",
    "early": "before it",
    "late": "after it",
    "open": "cannot tell",
}
# What a person does until a stage comes: the act, the word before the time, what follows.
STAGE_ACTS: Mapping[str, tuple[str, str, str]] = {
    "working_time_end": ("Finish spreading", "before", "From then on leave the surface alone."),
    "tack_free": ("Keep dust and hands off", "until about", "Then it takes no print."),
    "sandable": ("Let it harden to sand", "until about", "Then it sands to dust."),
    "demouldable": ("Leave it in the mould", "until about", "Then it keeps its shape."),
    "full_cure": ("Let it cure", "until about", "Then test it in a hidden place before use."),
}
STATE_NAMES: Mapping[CureState, str] = {
    "liquid": "still liquid",
    "gelling": "thick, pulls strings",
    "soft": "still soft",
    "firm": "firm, still curing",
    "hard_undercured": "hard but under-cured: it will soften and take prints in a warm room",
    "cured": "cured by the estimate",
}
# A paint dries; the words of a resin's chemistry are not its.
PAINT_STATES: Mapping[CureState, str] = {**dict.fromkeys(STATE_NAMES, "drying"), "cured": "dry"}
MARK_NAMES: Mapping[MarkKind, str] = {
    "still_liquid": "Still liquid",
    "stringy": "Pulls strings",
    "tacky": "Tacky",
    "tack_free": "Tack-free",
    "nail_dents": "Nail dents it",
    "hard": "Hard",
    "tape_pulled": "Tape pulled",
    "note": "Note",
}
MARKS_OF: Mapping[str, tuple[MarkKind, ...]] = {
    "pour": ("still_liquid", "stringy", "tacky", "tack_free", "nail_dents", "hard"),
    "adhesive": ("still_liquid", "tacky", "hard"),
    "paint": ("still_liquid", "tacky", "tack_free"),
}
VERDICT_NAMES: Mapping[str, str] = {
    "good": "came off well",
    "too_early": "too early: it ran",
    "too_late": "too late: it tore",
}
PHASE_NAMES: Mapping[AlarmPhase, str] = {
    "normal": "right",
    "unacknowledged": "raised",
    "acknowledged": "seen",
    "returned": "over",
    "shelved": "hidden for a while",
    "out_of_service": "switched off",
    "suppressed": "not judged just now",
}
BASIS_NAMES: Mapping[str, str] = {
    "label": "label",
    "default": "default",
    "learned": "learned from your marks",
}
BASES: Mapping[str, str] = {
    "wood": "wood panel",
    "silicone": "silicone mould",
    "glass": "glass",
}
DONE: Mapping[str, str] = {"pour": "Poured", "adhesive": "Glued", "paint": "Painted"}
KINDS: Mapping[str, str] = {
    "pour": "coating or casting",
    "adhesive": "fast adhesive",
    "paint": "water-borne paint lines",
}
# Alarms of a stage are called as the stage is.
ALARM_NAMES: Mapping[str, str] = {
    key: STAGE_NAMES[key] for key in ("rest_over", "tack_free", "full_cure")
}
PRIORITY_NAMES: Mapping[str, str] = {"urgent": "Urgent", "soon": "Soon", "note": "Note"}

ANSWERS: Mapping[str, str] = {
    "yes": "Yes",
    "wait": "Wait",
    "no": "No",
    "unknown": "Not known",
}
GOOD_NOW, GOOD_THEN = "Pour now?", "Pour then?"
WHOLE: Mapping[str, str] = {
    "yes": "Yes.",
    "wait": "Wait.",
    "no": "No, not like this.",
    "unknown": "Not known: measure the room first.",
}
BETTER = "By the forecast it is right from {}."
ROOM_NOW, ROOM_THEN = "The room now", "The room at that hour"
POUR_ITSELF = "This much at once"
STIR = (
    "About 3 minutes by hand, slowly, scraping sides and bottom; then once more in a clean "
    "cup (common practice; the label decides)."
)
STIR_FAST = (
    "Fast: under a minute, then use it at once; no second cup (common practice; the label decides)."
)

# Alarms that say when an act is due: on the bench the layer's own first line says so.
SAID_BY_THE_ACT = frozenset({
    "working_time_nearly_up", "tape_window_open", "tape_window_closing",
    "recoat_window_open", "recoat_window_closing",
})  # fmt: skip

# The first steps: what, why, where.
FIRST_STEPS: Mapping[str, tuple[str, str, str]] = {
    "sensor": ("Connect a sensor", "It measures the room your piece cures in.",
               "/settings#connect"),
    "resin": ("Choose a resin", "Check its times against the label of your bottle, or add yours.",
              "/resins"),
    "piece": ("Start a piece", "When the parts meet, start its clock.", "/pour"),
}  # fmt: skip

_WAYS: Mapping[str, str] = {"mqtt": "MQTT"}
_MOMENT = re.compile(r"⟦(-?\d+)⟧")
# A wait at least this long is told in steps of so much.
_COARSE_S = ((5 * 3600.0, 3600.0), (3600.0, 600.0))
_MORNING_H = 5  # before this hour of the coming day it is still the night
_OVERNIGHT_S = 4 * 3600.0  # as much of the night makes it 'overnight'


def state_name(kind: str, state: CureState) -> str:
    """How far a layer of some kind of resin is."""
    return PAINT_STATES[state] if kind == "paint" else STATE_NAMES[state]


def alarm_name(key: str) -> str:
    """An alarm's key as a person reads it."""
    return ALARM_NAMES.get(key) or key.replace("_", " ").capitalize()


class Local:
    """Local time by the zone's own rules, told from the page's 'now'."""

    def __init__(
        self,
        zone: str,
        now_s: float,
        now_word: str = "now",
        units: Units | None = None,
        dated: bool = False,
        language: Language = ENGLISH,
    ) -> None:
        self.zone = ZoneInfo(zone)
        self.units = Units() if units is None else units
        self.now_s = now_s
        # A finished layer is told as of its end, and its pictures say so.
        self.now_word = now_word
        # On paper, and of what is over, 'yesterday' soon is wrong: days by their date.
        self.dated = dated
        self.language = language

    def at(self, at_s: float) -> datetime:
        """The local moment."""
        return datetime.fromtimestamp(at_s, UTC).astimezone(self.zone)

    def worded(self, at_s: float, form: str) -> str:
        """A moment in a form of `strftime`, its day and month named in the language."""
        moment, names = self.at(at_s), self.language.names
        if names is not None:
            for sign, name in (("%a", names.days[moment.weekday()]),
                               ("%b", names.months[moment.month - 1])):  # fmt: skip
                form = form.replace(sign, name.replace("%", "%%"))
        return moment.strftime(form)

    def clock(self, at_s: float | None) -> str:
        """'14:10', with the day where it is not today's; past midnight it is still tonight."""
        if at_s is None:
            return "not in sight"
        if self.dated:
            return self.short(at_s)
        moment, today = self.at(at_s), self.at(self.now_s).date()
        time = moment.strftime("%H:%M")
        days = (moment.date() - today).days
        if days == 0:
            return time
        if days == 1 and moment.hour < _MORNING_H <= self.at(self.now_s).hour:
            return f"tonight {time}"
        if days == 1:
            return f"tomorrow {time}"
        if days == -1:
            return f"yesterday {time}"
        if 1 < days < 7:
            return self.worded(at_s, "%a %H:%M")
        return self.worded(at_s, "%-d %b %H:%M" if abs(days) < 300 else "%-d %b %Y")

    def full(self, at_s: float | None) -> str:
        """'Wed 25 Nov 2026, 14:10'."""
        return "—" if at_s is None else self.worded(at_s, "%a %-d %b %Y, %H:%M")

    def short(self, at_s: float) -> str:
        """'25 Nov 14:10', for a table whose year is told above it."""
        return self.worded(at_s, "%-d %b %H:%M")

    def field(self, at_s: float) -> str:
        """The form of a date-and-time field."""
        return self.at(at_s).strftime("%Y-%m-%dT%H:%M")

    def parsed(self, text: str) -> float | None:
        """A date-and-time field back to seconds; None where it is not one."""
        try:
            moment = datetime.fromisoformat(text)
        except ValueError:
            return None
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=self.zone)
        return moment.timestamp()

    def spoken(self, text: str) -> str:
        """The core's words with their moments in local time, in the chosen units.

        Within a sentence a day is named once: 'from tomorrow 01:05 until 07:25'.
        """
        text = shares(self.units.spoken(text))
        out, told_s, end = "", None, 0
        for found in _MOMENT.finditer(text):
            between, at_s = text[end : found.start()], float(found[1])
            out += between + self._after(None if ". " in between else told_s, at_s)
            told_s, end = at_s, found.end()
        return out + text[end:]

    def between(self, from_s: float, to_s: float) -> str:
        """'tomorrow 01:05 to 07:25', the day named once where it is one."""
        return f"{self.clock(from_s)} to {self.till(from_s, to_s)}"

    def till(self, from_s: float, to_s: float) -> str:
        """The end of a stretch whose start was told: '22:10 to tonight 01:30'."""
        return self._after(from_s, to_s)

    def _after(self, told_s: float | None, at_s: float) -> str:
        """A moment after another was told: its day is named where it is a new one."""
        if told_s is None:
            return self.clock(at_s)
        day = self.at(at_s).date()
        # One date may be 'tonight' first and 'tomorrow' from the morning on.
        tonight = [self.clock(each).startswith("tonight") for each in (told_s, at_s)]
        if day == self.at(told_s).date() and tonight[0] == tonight[1]:
            return self._time(at_s)
        # 'yesterday 22:10 to 07:20' leaves open which morning that was.
        today = day == self.at(self.now_s).date() and not self.dated
        return f"today {self._time(at_s)}" if today else self.clock(at_s)

    def _time(self, at_s: float) -> str:
        return self.at(at_s).strftime("%H:%M")

    def until(self, at_s: float) -> Local:
        """The same place and units, told as of an earlier moment, the end of something."""
        return Local(self.zone.key, at_s, "end", self.units, True, self.language)

    def on_paper(self) -> Local:
        """The same, with dates in place of 'yesterday', 'tomorrow' and 'now'."""
        now = self.short(self.now_s)
        return Local(self.zone.key, self.now_s, now, self.units, True, self.language)

    def midnights(self, from_s: float, to_s: float) -> list[float]:
        """Local midnights within a span, daylight saving and all."""
        day = self.at(from_s).replace(hour=0, minute=0, second=0, microsecond=0, fold=0)
        found = []
        while day.timestamp() <= to_s:
            if day.timestamp() >= from_s:
                found.append(day.timestamp())
            day = (day + timedelta(days=1)).replace(tzinfo=self.zone)
        return found

    def nights(self, from_s: float, to_s: float) -> list[tuple[float, float]]:
        """Stretches from 22:00 to 07:00 local that touch a span."""
        found = []
        day = (self.at(from_s) - timedelta(days=1)).replace(
            hour=0, minute=0, second=0, microsecond=0
        )
        while day.timestamp() < to_s:
            start = day.replace(hour=22).timestamp()
            end = (day + timedelta(days=1)).replace(hour=7).timestamp()
            if end > from_s and start < to_s:
                found.append((max(start, from_s), min(end, to_s)))
            day = (day + timedelta(days=1)).replace(tzinfo=self.zone)
        return found


def hours_after(from_s: float, to_s: float, local: Local) -> str:
    """'Overnight, until tomorrow 09:30', or without the night where there is none."""
    night = any(end - start >= _OVERNIGHT_S for start, end in local.nights(from_s, to_s))
    return f"{'Overnight, until' if night else 'Until'} {local.clock(to_s)}"


def span(seconds: float) -> str:
    """'3 h 20 min', as long as it matters."""
    minutes = round(abs(seconds) / 60.0)
    if minutes < 1:
        return "less than a minute"
    if minutes < 60:
        return f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 10 and minutes:
        return f"{hours} h {minutes} min"
    if hours < 48:
        return f"{hours + (minutes >= 30)} h"
    days, hours = divmod(hours, 24)
    return f"{days} d {hours} h" if hours and days < 7 else f"{days} d"


def about(seconds: float) -> str:
    """An estimate's wait, no finer than it can be known: '25 min', '1 h 20 min', '7 h'."""
    step_s = next((step for least, step in _COARSE_S if seconds >= least), 60.0)
    return span(round(seconds / step_s) * step_s)


def often(count: int) -> str:
    """How many times: 'once', 'twice', '3 times'."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def sent(text: str) -> str:
    """The store's 'mqtt sent, mail failed' as a person reads it."""
    found = []
    for part in text.split(", "):
        name, _, how = part.partition(" ")
        way = _WAYS.get(name, name)
        told = {"waiting": f"waiting for {way}", "given up": f"given up by {way}"}
        found.append(told.get(how, f"sent by {way}"))
    return ", ".join(found)


def pace(rate: float, verb: str = "cures") -> str:
    """How fast it goes beside the label, to the nearest twentieth."""
    near = round(rate * 20.0) * 5
    if near == 100:
        return f"{verb} about as fast as the label says"
    return f"{verb} at {near}% of the label's speed" if near else f"{verb} hardly at all"


def hours(value: float) -> str:
    """A label's time: '45 min', '8 h', '3 d'."""
    return span(value * 3600.0)


def ago(seconds: float) -> str:
    """How long ago something was heard."""
    return "just now" if seconds < 60 else f"{span(seconds)} ago"
