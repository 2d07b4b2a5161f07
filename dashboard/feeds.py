"""Feeds for other programs: a calendar that moves with the room, and metrics."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from flask import Blueprint, Response

from dashboard.db import now_s, reader
from dashboard.plan_calendar import add_planned
from dashboard.wording import STAGE_MEANS, STAGE_NAMES
from monitor.store import alarms, notices, outlooks, pieces, readings, status

feeds = Blueprint("feeds", __name__)

_HANDS_ON = {"tape_window_open": "tape_window_close", "recoat_window_open": "recoat_window_close"}


@feeds.get("/calendar.ics")
def calendar() -> Response:
    """Coming acts as RFC 5545 events; the same act keeps its UID, so a calendar moves it."""
    from icalendar import Alarm, Calendar, Event

    book = Calendar()
    book.add("prodid", "-//Pourside//Cure calendar//EN")
    book.add("version", "2.0")
    book.add("x-wr-calname", "Pourside")
    stamp = datetime.fromtimestamp(now_s(), UTC)
    con = reader()
    for piece, layer in pieces.bench(con):
        outlook = outlooks.latest(con, layer.id)
        if outlook is None:
            continue
        stages = {stage.key: stage for stage in outlook.stages}
        for stage in outlook.stages:
            if stage.p50_s is None or stage.p50_s < now_s() or stage.key == "rest_over":
                continue
            event = Event()
            event.add("uid", f"layer-{layer.id}-{stage.key}@pourside")
            event.add("dtstamp", stamp)
            # Seconds since the pour never fall, so a later estimate is a later sequence.
            event.add("sequence", max(int((outlook.as_of_s - layer.poured_at_s) // 60), 0))
            event.add("summary", f"{STAGE_NAMES.get(stage.key, stage.key)}: {piece.name}")
            event.add("description", f"{layer.name}. {STAGE_MEANS.get(stage.key, '')}")
            start = datetime.fromtimestamp(round(stage.p50_s), UTC)
            closing = stages.get(_HANDS_ON.get(stage.key, ""))
            length = timedelta(minutes=15)
            if closing is not None and closing.p50_s is not None:
                length = timedelta(seconds=max(round(closing.p50_s - stage.p50_s), 900))
            event.add("dtstart", start)
            event.add("dtend", start + length)
            if stage.key in _HANDS_ON:
                alarm = Alarm()
                alarm.add("action", "DISPLAY")
                alarm.add("description", STAGE_NAMES[stage.key])
                alarm.add("trigger", timedelta(minutes=-15))
                event.add_component(alarm)
            book.add_component(event)
    add_planned(book, con, now_s())
    return Response(book.to_ical(), mimetype="text/calendar")


@feeds.get("/metrics")
def metrics() -> Response:
    """OpenMetrics text: sensors, layers, alarms, refusals."""
    con = reader()
    lines: list[str] = []

    def family(name: str, kind: str, words: str, rows: list[tuple[str, float]]) -> None:
        lines.append(f"# TYPE {name} {kind}")
        lines.append(f"# HELP {name} {words}")
        suffix = "_total" if kind == "counter" else ""
        lines.extend(f"{name}{suffix}{labels} {value:g}" for labels, value in rows)

    sensors = [one for one in readings.sensors(con) if one.last_temp_c is not None]
    family("pourside_room_temperature_celsius", "gauge", "Last reading.",
           [(_labels(sensor=one.key), one.last_temp_c or 0.0) for one in sensors])  # fmt: skip
    family("pourside_room_humidity_percent", "gauge", "Last reading.",
           [(_labels(sensor=one.key), one.last_humidity_pct) for one in sensors
            if one.last_humidity_pct is not None])  # fmt: skip
    ages = [(_labels(sensor=one.key), now_s() - (one.last_at_s or 0.0)) for one in sensors]
    family("pourside_sensor_age_seconds", "gauge", "Since the last reading.", ages)
    cures = []
    for piece, layer in pieces.bench(con):
        outlook = outlooks.latest(con, layer.id)
        if outlook is not None:
            cures.append((_labels(piece=piece.name, layer=str(layer.id)), outlook.degree_of_cure))
    family("pourside_degree_of_cure_ratio", "gauge", "0 to 1, by the monitor.", cures)
    standing = [row.state for row in alarms.rows(con) if row.state.phase == "unacknowledged"]
    family("pourside_alarms_unacknowledged", "gauge", "Alarms nobody has seen.",
           [("", float(len(standing)))])  # fmt: skip
    family("pourside_refused_records", "counter", "Records not believed.",
           [(_labels(reason=one.reason), one.count) for one in readings.refusals(con)])  # fmt: skip
    family("pourside_notices_waiting", "gauge", "Notices not sent yet.",
           [("", float(notices.waiting(con)))])  # fmt: skip
    beat = status.beats(con).get("monitor")
    if beat is not None:
        family("pourside_monitor_age_seconds", "gauge", "Since the monitor's last tick.",
               [("", now_s() - beat.at_s)])  # fmt: skip
    text = "\n".join([*lines, "# EOF", ""])
    return Response(text, content_type="application/openmetrics-text; version=1.0.0; charset=utf-8")


def _labels(**names: str) -> str:
    def quoted(value: str) -> str:
        return value.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")

    return "{" + ",".join(f'{key}="{quoted(value)}"' for key, value in names.items()) + "}"
