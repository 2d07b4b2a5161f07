"""What the templates show, gathered from the store and put into words.

Nothing is decided here: the monitor's outlook and alarm states are worded, not judged.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from markupsafe import Markup

from dashboard import coming, wording
from dashboard.db import now_s, options, reader
from dashboard.facts import facts_of
from dashboard.strip import Stop, strip
from dashboard.translating import spoken
from dashboard.units import Units, units_of
from dashboard.wording import Local
from monitor.answers.preview import dew_point_c
from monitor.core.vocabulary import (
    AlarmPhase,
    FloatArray,
    Layer,
    Mark,
    Outlook,
    Piece,
    StageOutlook,
)
from monitor.store import (
    alarms,
    marks,
    outlooks,
    pieces,
    readings,
    settings,
    status,
)

# What came right again on its own is history, not a task.
STANDING: tuple[AlarmPhase, ...] = ("unacknowledged", "acknowledged")
HIDDEN: tuple[AlarmPhase, ...] = ("shelved", "out_of_service")


@dataclass(frozen=True)
class StageView:
    """One row of the table of stages."""

    number: int
    key: str
    name: str
    means: str
    label_time: str
    label_h: str
    basis: str
    basis_name: str
    reached: bool
    past: bool
    when: str
    band: str
    why: str


@dataclass(frozen=True)
class AlarmView:
    """One alarm that stands, with what to do."""

    id: int
    name: str
    words: str
    consequence: str
    act: str
    priority: str
    phase: str
    since: str
    seen: bool
    # The layer it is about, and whether that layer's own next act says its words already.
    layer_id: int | None
    said: bool


@dataclass(frozen=True)
class LayerView:
    """One layer as the bench shows it."""

    piece: Piece
    layer: Layer
    act: str
    act_when: str
    act_means: str
    state: str
    facts: tuple[str, ...]
    warnings: tuple[str, ...]
    stages: tuple[StageView, ...]
    strip: Markup
    mark_kinds: tuple[tuple[str, str], ...]
    marks: tuple[tuple[int, str, str, bool], ...]
    tape: bool
    tape_now: bool
    poured: str
    act_now: bool = False


@dataclass(frozen=True)
class RoomView:
    """The room now, as one sensor tells it."""

    key: str
    name: str
    temperature: str
    humidity: str
    dew_point: str
    trend: str
    heard: str
    quiet: bool


def units(con: sqlite3.Connection) -> Units:
    """The units that the person chose."""
    return units_of(settings.everything(con))


def local() -> Local:
    """Local time and chosen units of this request."""
    return Local(options().zone, now_s(), units=units(reader()), language=spoken())


def rooms(con: sqlite3.Connection, local: Local, shown: Units) -> list[RoomView]:
    """Every sensor's room now, the last heard first."""
    found = []
    for sensor in readings.sensors(con, local.now_s):
        if sensor.last_at_s is None or sensor.last_temp_c is None:
            continue
        humidity = sensor.last_humidity_pct
        dew = None if humidity is None else dew_point_c(sensor.last_temp_c, humidity)
        age_s = local.now_s - sensor.last_at_s
        found.append(
            (
                -sensor.last_at_s,
                RoomView(
                    key=sensor.key,
                    name=sensor_name(sensor),
                    temperature=shown.temperature(sensor.last_temp_c),
                    humidity="—" if humidity is None else f"{humidity:.0f} %RH",
                    dew_point="—" if dew is None else shown.temperature(dew),
                    trend=_trend(con, sensor.key, local.now_s, shown),
                    heard=wording.ago(age_s) if age_s > -readings.AHEAD_S else "in the future",
                    quiet=not -readings.AHEAD_S <= age_s <= 900,
                ),
            )
        )
    return [view for _, view in sorted(found, key=lambda pair: pair[0])]


def sensor_name(sensor: readings.Sensor) -> str:
    """A sensor's name; while nobody chose one, with its board's: 'bench air', not 'air'."""
    if sensor.name != sensor.key.rpartition("/")[2]:
        return sensor.name
    return f"{sensor.node} {sensor.name}"


def _trend(con: sqlite3.Connection, key: str, now_s: float, shown: Units) -> str:
    hour = readings.sampled(con, key, now_s - 3600.0, now_s, 12)
    if len(hour.at_s) < 3 or hour.at_s[-1] - hour.at_s[0] < 1200:
        return ""
    change = shown.difference(float(hour.temp_c[-1] - hour.temp_c[0]))
    if abs(change) < 0.3:
        return "steady"
    return f"{'rising' if change > 0 else 'falling'} {abs(change):.1f} {shown.degree} in the hour"


def standing(con: sqlite3.Connection, local: Local) -> list[AlarmView]:
    """Alarms that stand, the most pressing first."""
    rules = {rule["key"]: rule for rule in _rules(con)}
    found = []
    for row in alarms.rows(con):
        state = row.state
        if state.phase not in STANDING:
            continue
        rule = rules.get(state.key, {})
        priority = str(rule.get("priority", "note"))
        found.append(
            (
                state.phase == "acknowledged",
                ("urgent", "soon", "note").index(priority),
                -state.since_s,
                AlarmView(
                    id=row.id,
                    name=wording.alarm_name(state.key),
                    words=local.spoken(state.words),
                    consequence=str(rule.get("consequence", "")),
                    act=str(rule.get("act", "")),
                    priority=priority,
                    phase=wording.PHASE_NAMES[state.phase],
                    since=local.clock(state.raised_at_s or state.since_s),
                    seen=state.phase == "acknowledged",
                    layer_id=_layer_id(state.subject),
                    said=state.key in wording.SAID_BY_THE_ACT,
                ),
            )
        )
    return [view for *_, view in sorted(found, key=lambda item: item[:3])]


def _layer_id(subject: str) -> int | None:
    kind, _, number = subject.partition(":")
    return int(number) if kind == "layer" and number.isdecimal() else None


def hidden(con: sqlite3.Connection, local: Local) -> list[tuple[int, str, str, str]]:
    """Alarms that a person hid: number, name, until when, and the act that undoes it."""
    found = []
    for row in alarms.rows(con):
        state = row.state
        if state.phase not in HIDDEN:
            continue
        shelved = state.phase == "shelved"
        until = f"hidden until {local.clock(state.shelved_until_s)}" if shelved else "switched off"
        act = "unshelve" if shelved else "in_service"
        found.append((row.id, wording.alarm_name(state.key), until, act))
    return found


def _rules(con: sqlite3.Connection) -> list[dict[str, str]]:
    beat = status.beats(con).get("monitor")
    found: list[dict[str, str]] = [] if beat is None else beat.facts.get("rules", [])
    return found


def told(layer: Layer, outlook: Outlook) -> list[tuple[int, StageOutlook]]:
    """The stages to show, numbered: no mould to come out of where there is none."""
    shown = [s for s in outlook.stages if s.key != "demouldable" or layer.base != "wood"]
    return list(enumerate(shown, 1))


def stage_views(layer: Layer, outlook: Outlook, local: Local) -> tuple[StageView, ...]:
    """The table of stages."""
    return tuple(
        StageView(
            number=number,
            key=stage.key,
            name=wording.STAGE_NAMES.get(stage.key, stage.key),
            means=wording.STAGE_MEANS.get(stage.key, ""),
            label_time=local.clock(stage.label_at_s),
            label_h=wording.hours(stage.label_h),
            basis=stage.basis,
            basis_name=wording.BASIS_NAMES[stage.basis],
            reached=stage.reached_at_s is not None,
            past=(stage.reached_at_s or stage.p50_s or local.now_s) < local.now_s,
            when=local.clock(stage.reached_at_s or stage.p50_s),
            band=_band(stage, local),
            why=local.spoken(stage.why),
        )
        for number, stage in told(layer, outlook)
    )


def _band(stage: StageOutlook, local: Local) -> str:
    if stage.reached_at_s is not None or stage.p10_s is None:
        return ""
    if stage.p90_s is None:
        return f"{local.clock(stage.p10_s)} to not in sight"
    return local.between(stage.p10_s, stage.p90_s)


def strip_of(
    layer: Layer, outlook: Outlook, local: Local, whole: bool = False, paper: bool = False
) -> Markup:
    """The two-line strip of a layer, for a desk or a sheet, and for a phone; near or whole."""
    stops = [
        Stop(
            number=number,
            name=wording.STAGE_NAMES.get(stage.key, stage.key),
            label_s=stage.label_at_s,
            p10_s=stage.p10_s,
            p50_s=stage.reached_at_s or stage.p50_s,
            p90_s=stage.p90_s,
            reached=stage.reached_at_s is not None,
        )
        for number, stage in told(layer, outlook)
        if stage.key != "rest_over" or whole
    ]
    ends = [stop.p50_s for stop in stops if stop.p50_s is not None]
    end_s = max([*ends, *(stop.label_s for stop in stops)], default=local.now_s)
    if not whole:
        # The next hours matter at arm's length; the whole of it stands on the piece's page.
        coming = sorted(end for end in ends if end > local.now_s)
        if coming:
            end_s = min(end_s, coming[min(4, len(coming) - 1)])
    span_s = max(end_s - layer.poured_at_s, 600.0)
    text = "; ".join(
        f"{stop.number} {stop.name}: label {local.clock(stop.label_s)}, "
        f"here {local.clock(stop.p50_s)}"
        for stop in stops
    )
    from_s, to_s = layer.poured_at_s, layer.poured_at_s + span_s * 1.06
    wide, narrow = (
        strip(stops, from_s, to_s, local.now_s, local, text, narrow, paper and not narrow)
        for narrow in (False, True)
    )
    return wide + narrow


def layer_view(
    con: sqlite3.Connection, piece: Piece, layer: Layer, local: Local, shown: Units
) -> LayerView:
    """One layer, worded."""
    outlook = outlooks.latest(con, layer.id)
    seen = marks.marks(con, layer.id)
    verb = wording.DONE[layer.resin.kind]
    poured = f"{verb} {local.clock(layer.poured_at_s)}, {layer.resin.name}"
    if layer.depth_mm:
        poured += f", {shown.quantity(layer.depth_mm, 'mm')}"
    kinds = tuple((kind, wording.MARK_NAMES[kind]) for kind in wording.MARKS_OF[layer.resin.kind])
    logged = tuple((m.id, _mark_words(m), local.clock(m.at_s), m.set_aside) for m in seen)
    if outlook is None:
        return LayerView(piece, layer, "Working it out", "in a moment", "", "", (), (), (),
                         Markup(""), kinds, logged, False, False, poured)  # fmt: skip
    done = coming.acts_done(piece, layer, seen)
    act, when, means = coming.next_act(outlook, local, done)
    opens = next((s for s in outlook.stages if s.key == "tape_window_open"), None)
    return LayerView(
        piece=piece,
        layer=layer,
        act=act,
        act_when=when,
        act_means=means,
        state=wording.state_name(layer.resin.kind, outlook.state),
        facts=facts_of(layer, outlook, shown),
        warnings=warnings_of(outlook, local, shown),
        stages=stage_views(layer, outlook, local),
        strip=strip_of(layer, outlook, local),
        mark_kinds=kinds,
        marks=logged,
        tape=opens is not None and "tape_window_open" not in done,
        tape_now=_tape_now(outlook, local.now_s),
        poured=poured,
        act_now=when.startswith("now"),
    )


def _tape_now(outlook: Outlook, now_s: float) -> bool:
    """Whether the tape may be coming off about now: later the question only stands in the way."""
    stages = {stage.key: stage for stage in outlook.stages}
    opens, closes = stages.get("tape_window_open"), stages.get("tape_window_close")
    if opens is None or opens.p10_s is None or opens.p10_s > now_s:
        return False
    last_s = None if closes is None else closes.p90_s or closes.reached_at_s or closes.p50_s
    return last_s is None or now_s <= last_s


def _mark_words(mark: Mark) -> str:
    words = wording.MARK_NAMES[mark.kind]
    if mark.verdict:
        words += f", {wording.VERDICT_NAMES[mark.verdict]}"
    return f"{words}: {mark.note}" if mark.note else words


def warnings_of(outlook: Outlook, local: Local, shown: Units) -> tuple[str, ...]:
    """Stall, surface and the monitor's notes, as sentences."""
    found = []
    if outlook.stalled:
        words = "The cure levels off short of full in this room."
        if outlook.remedy is not None:
            words += (
                f" Least that finishes it: {wording.hours(outlook.remedy.hours)} at "
                f"{shown.temperature(outlook.remedy.temp_c, 0)}."
            )
        found.append(words)
    if outlook.surface.level != "low":
        reasons = "; ".join(outlook.surface.reasons)
        found.append(f"Surface at {outlook.surface.level} risk: {reasons or 'damp and cold'}.")
    found += [local.spoken(note) for note in outlook.notes]
    return tuple(found)


def bench(con: sqlite3.Connection, local: Local, shown: Units) -> list[LayerView]:
    """Every open layer, those with something to do now first."""
    found = [layer_view(con, piece, layer, local, shown) for piece, layer in pieces.bench(con)]
    return sorted(found, key=lambda view: not view.act_now)


def numbered(values: FloatArray) -> list[float]:
    """Plain floats of an array."""
    return [float(value) for value in values]
