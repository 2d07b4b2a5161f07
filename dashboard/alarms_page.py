"""The alarms' page: what stands, the ways to reach people, the month's figures, the journal."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as Answer

from dashboard import alarm_journal, views, wording
from dashboard.db import acting, now_s, options, reader
from dashboard.views import local
from dashboard.wording import Local
from dashboard.works import works
from monitor.answers import alarm_month
from monitor.core.vocabulary import Priority
from monitor.store import alarms, notices, settings, shown, status, trials

alarm_pages = Blueprint("alarm_pages", __name__)

ON_SHOW_S = 900.0  # what a browser missed for longer is on the page, and no news
PRIORITIES: tuple[Priority, ...] = ("urgent", "soon", "note")
LEAST = {"urgent": "only what is urgent", "soon": "urgent and soon", "note": "everything"}
KINDS = {
    "mail": "Mail",
    "webhook": "Web address",
    "library": "Chat or push",
    "lamp": "Lamp and buzzer",
    "mqtt": "MQTT",
    "browser": "Browsers",
}


@dataclass(frozen=True)
class WayView:
    """One channel: where it goes, how it fares, and what its last test came to."""

    name: str
    title: str
    own_name: str
    goes_to: str
    least: str
    fares: str
    fails: str
    tried: str
    tried_well: bool


@alarm_pages.get("/alarms")
def alarm_page() -> str:
    """What stands, who is told, how the alarms behave, and when each of them stood."""
    con, here = reader(), local()
    older = request.args.get("older", "")
    number = int(older) if older.isdecimal() and len(older) < 19 else None
    return render_template(
        "alarms.html",
        **_now_parts(con, here),
        month=None if older else _month_words(con, here),
        older=older,
        journal=alarm_journal.page(con, number, here),
    )


@alarm_pages.get("/alarms-now")
def alarms_now() -> Answer:
    """The changing part of the page; 304 while nothing changed."""
    text = render_template("_alarms.html", **_now_parts(reader(), local()))
    answer = Response(text, mimetype="text/html")
    answer.add_etag()
    return answer.make_conditional(request)


@alarm_pages.post("/channels/<name>/try")
def try_channel(name: str) -> Answer:
    """Leave the wish to try a channel; the monitor answers at once where it runs."""
    if name not in {str(way.get("name")) for way in _ways(reader())}:
        abort(404, f"There is no way {name!r} to reach anybody; the config file names them.")
    with acting() as con:
        trials.ask(con, name, now_s())
    return redirect(url_for("alarm_pages.alarm_page", _anchor="ways"))


@alarm_pages.get("/notices-now")
def notices_now() -> Answer:
    """What browsers have to show, and whether the monitor still thinks; 304 where unchanged."""
    con, here = reader(), local()
    said = here.language.said
    fresh_s = here.now_s - ON_SHOW_S * max(options().speed, 1.0)
    answer = Response(
        json.dumps(
            {
                "notices": [
                    {"id": one.id, "title": said(one.title), "body": said(one.body)}
                    for one in shown.latest(con)
                    if one.shown_s >= fresh_s
                ],
                "works": [said(words) for words in works(con, options(), here)],
            }
        ),
        mimetype="application/json",
    )
    answer.add_etag()
    return answer.make_conditional(request)


def _now_parts(con: sqlite3.Connection, here: Local) -> dict[str, object]:
    return {
        "alarms": views.standing(con, here),
        "works": works(con, options(), here),
        "hidden": views.hidden(con, here),
        "quiet": _quiet(con),
        "ways": _way_views(con, here),
        "wording": wording,
    }


def _quiet(con: sqlite3.Connection) -> str:
    hours = [settings.get(con, key, "") for key in ("quiet_from", "quiet_to")]
    return f"from {hours[0]} to {hours[1]}" if all(hours) else "none"


def _ways(con: sqlite3.Connection) -> list[dict[str, str]]:
    """The channels as the monitor stated them; it has the config, the page has not."""
    beat = status.beats(con).get("monitor")
    found: list[dict[str, str]] = [] if beat is None else beat.facts.get("channels", [])
    return found


def _way_views(con: sqlite3.Connection, here: Local) -> list[WayView]:
    tried = trials.every(con)
    failing = {
        row.state.subject.removeprefix("works:channel:"): here.spoken(row.state.words)
        for row in alarms.rows(con)
        if row.state.key == "channel_failing" and row.state.phase in views.STANDING
    }
    found = []
    for way in _ways(con):
        name, kind = str(way["name"]), str(way["kind"])
        post, trial = notices.post(con, name), tried.get(name)
        found.append(
            WayView(
                name=name,
                title=KINDS.get(kind, kind),
                own_name="" if name == kind else name,
                goes_to=str(way["goes_to"]),
                least=LEAST[str(way["least"])],
                fares=_fares(name, post, here),
                fails=failing.get(name, ""),
                tried="" if trial is None else _tried(trial, here),
                tried_well=trial is not None and not trial.error,
            )
        )
    return found


def _fares(name: str, post: notices.Post, here: Local) -> str:
    if name == "browser":
        # Put up for any browser to show; whether one did is not known.
        words = "" if post.sent_s is None else f"Last put up {here.clock(post.sent_s)}."
    else:
        words = "Nothing sent yet."
        if post.sent_s is not None:
            words = f"Last sent {here.clock(post.sent_s)}."
    if post.waiting:
        words += f" {post.waiting} waiting."
    if post.error:
        words += f" The newest failed: {post.error.partition(' (try at')[0].rstrip('.')}."
    return words


def _tried(trial: trials.Trial, here: Local) -> str:
    if trial.done_s is None:
        return f"Test asked for at {here.clock(trial.asked_s)}; waiting for the monitor."
    at = here.clock(trial.done_s)
    if trial.error:
        return f"The test at {at} failed: {trial.error}"
    return f"The test was sent at {at}."


def _month_words(con: sqlite3.Connection, here: Local) -> dict[str, object]:
    midnights = here.midnights(here.now_s - alarm_month.BACK_S, here.now_s)[-alarm_month.DAYS :]
    found = alarm_month.month(con, midnights, here.now_s)
    wrong, acts = found.alarms_by_priority, found.acts_by_priority
    lines = [_counted(found.alarms, "alarm was raised", "alarms were raised")]
    if found.alarms:
        worst = here.worded(found.worst_day_s, "%a %-d %b")
        mean = f"{found.mean_a_day:.1f}" if found.mean_a_day >= 0.1 else "less than 0.1"
        lines = [
            f"{lines[0]}: {mean} a day on average, {found.median_a_day:g} on a usual day, "
            f"{found.worst_a_day} on the worst ({worst})"
        ]
    if found.never_seen:
        lines.append(f"{_counted(found.never_seen, 'was', 'were')} over before anybody said 'seen'")
    if found.response_s is not None:
        lines.append(
            f"Half of those marked 'seen' were marked within {wording.span(found.response_s)}"
        )
    names = sorted({wording.alarm_name(key) for key, _ in found.chattering})
    if names:
        lines.append(f"On and off three times within a minute: {', '.join(names)}")
    if found.standing:
        lines.append(f"Lasted over 8 h: {len(found.standing)}")
    if found.stale:
        stale = sorted({wording.alarm_name(one.key) for one in found.stale})
        lines.append(f"Lasted over a day: {len(found.stale)} ({', '.join(stale)})")
    return {
        "lines": [f"{line}." for line in lines],
        "rows": [
            (wording.PRIORITY_NAMES[key], wrong[key], acts[key]) for key in PRIORITIES
        ] if found.alarms + found.acts else [],
        "frequent": [
            (wording.alarm_name(one.key), one.times, wording.span(one.longest_s))
            for one in found.frequent[:6]
        ],
    }  # fmt: skip


def _counted(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}" if count else f"No {one}"
