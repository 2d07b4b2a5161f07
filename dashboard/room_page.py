"""The room over any span: its charts, its days, its readings as a file."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

import numpy as np
from flask import Response, render_template, request

from dashboard import charts, views
from dashboard.db import reader
from dashboard.forms import Form
from dashboard.record import download, room_text
from dashboard.views import local
from dashboard.wording import Local
from monitor.store import readings

SPANS: Mapping[str, str] = {
    "1": "an hour",
    "3": "3 hours",
    "24": "a day",
    "168": "a week",
    "720": "a month",
    "8760": "a year",
    "43800": "five years",
}
# Where a look ahead helps: with a month on the axis it is a sliver.
AHEAD_H: Mapping[str, float] = {"24": 12.0, "168": 24.0}
_FIRST_YEAR = 2000  # no log is older
# Days up to a month, then months: a table that can still be read.
DAYS_FROM_H, MONTHS_FROM_H = 168.0, 1000.0


@dataclass(frozen=True)
class Range:
    """One day's or month's extremes and mean, in the units of the table's head."""

    when: str
    low: str
    mean: str
    high: str
    humidity: str


def room() -> str:
    """The room over any span."""
    con, here = reader(), local()
    sensors = [one for one in readings.sensors(con) if one.last_at_s is not None]
    known = {one.key: views.sensor_name(one) for one in sensors}
    key = request.args.get("sensor", "")
    if key not in known:
        key = sensors[0].key if sensors else ""
    other = request.args.get("other", "")
    hours = request.args.get("hours", "24")
    if hours not in SPANS:
        hours = "24"
    end_s = _end_s(request.args.get("until", ""), here)
    now = end_s == here.now_s
    ahead_h = AHEAD_H.get(hours, 0.0) if now else 0.0
    upper = lower = words = ""
    ranges: list[Range] = []
    if key:
        from_s = _begun(end_s - float(hours) * 3600.0, end_s, sensors, (key, other))
        upper, lower, words = charts.room(
            con, key, from_s, end_s + ahead_h * 3600.0, here, here.units,
            with_forecast=now, other=other if other in known and other != key else None,
            other_name=known.get(other, other),
        )  # fmt: skip
        if float(hours) >= DAYS_FROM_H:
            ranges = _ranges(con, key, from_s, end_s, here, by_month=float(hours) > MONTHS_FROM_H)
    return render_template(
        "room.html", sensors=sensors, names=known, key=key, other=other, hours=hours, spans=SPANS,
        upper=upper, lower=lower, words=words, ranges=ranges,
        nothing=words == charts.NOTHING,
        by_month=float(hours) > MONTHS_FROM_H, ahead=ahead_h > 0.0,
        until="" if now else request.args["until"], today=here.field(here.now_s)[:10],
        other_name=known.get(other, ""),
        rooms=views.rooms(con, here, here.units), refusals=readings.refusals(con), local=here,
    )  # fmt: skip


def _begun(
    from_s: float, end_s: float, sensors: list[readings.Sensor], keys: tuple[str, str]
) -> float:
    """A long span starts where the log does: most of an empty axis tells nothing."""
    first = [one.first_at_s for one in sensors if one.key in keys and one.first_at_s is not None]
    return max(from_s, min(min(first, default=from_s), end_s - 86400.0))


def _end_s(typed: str, here: Local) -> float:
    """The end of the day asked for; now where none is, or where it is not over."""
    try:
        day = date.fromisoformat(typed)
    except ValueError:
        return here.now_s
    if not _FIRST_YEAR <= day.year <= here.at(here.now_s).year:
        return here.now_s
    end = datetime.combine(day + timedelta(days=1), time(), here.zone)
    return min(end.timestamp(), here.now_s)


def _ranges(
    con: sqlite3.Connection, key: str, from_s: float, end_s: float, here: Local, by_month: bool
) -> list[Range]:
    """The room by local day, or by month; the latest first."""
    span_h = (end_s - from_s) / 3600.0
    # Hours fall into local days whatever the zone; for months, UTC days are near enough.
    data = readings.sampled(con, key, from_s, end_s, int(span_h / 24 if by_month else span_h))
    shown, form = here.units, "%b %Y" if by_month else "%a %-d %b"
    names = np.array([here.worded(float(at_s), form) for at_s in data.at_s])
    found = []
    for name in dict.fromkeys(names.tolist()):
        its = names == name
        mean_c = float(np.average(data.temp_c[its], weights=data.count[its]))
        damp = its & np.isfinite(data.humidity_pct)
        humidity = "—"
        if damp.any():
            low, high = data.humidity_min_pct[damp].min(), data.humidity_max_pct[damp].max()
            humidity = f"{low:.0f} to {high:.0f}"
        found.append(
            Range(
                when=name,
                low=f"{shown.shown(float(data.temp_min_c[its].min())):.1f}",
                mean=f"{shown.shown(mean_c):.1f}",
                high=f"{shown.shown(float(data.temp_max_c[its].max())):.1f}",
                humidity=humidity,
            )
        )
    return found[::-1]


def room_csv() -> Response:
    """Readings as measured, of at most 400 days."""
    form = Form(request.args)
    hours = form.number("hours", "Hours", 0.1, 9600, "h") or 24.0
    end_s = _end_s(request.args.get("until", ""), local())
    key = request.args.get("sensor", "")
    return download(room_text(key, end_s - hours * 3600.0, end_s), "text/csv", "room.csv")
