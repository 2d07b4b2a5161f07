"""The acts of every plan as calendar events, which move as the plan does."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from dashboard import plan_views
from monitor.answers.planning import PlannedAct
from monitor.store import pieces, plans

if TYPE_CHECKING:
    from icalendar import Calendar

REMIND = timedelta(minutes=-15)


def add_planned(book: Calendar, con: sqlite3.Connection, now_s: float) -> None:
    """Put what the plans still want of the hands into the calendar."""
    from icalendar import Alarm, Event

    stamp = datetime.fromtimestamp(now_s, UTC)
    for kept in plans.plans(con):
        piece = pieces.piece(con, kept.piece_id)
        if piece is None:
            continue
        poured = {layer.step for layer in piece.layers}
        places = {step.key: place for place, step in enumerate(kept.recipe.steps)}
        for act in kept.plan.acts:
            # A layer that is on the bench asks for its tape and mould itself.
            if act.until_s < now_s or places.get(act.step) in poured:
                continue
            title = plan_views.act_title(act, kept.recipe)
            event = Event()
            event.add("uid", f"plan-{piece.id}-{act.step}-{act.what}@pourside")
            event.add("dtstamp", stamp)
            # Minutes since the piece began never fall, so a later plan is a later sequence.
            event.add("sequence", max(int((kept.made_at_s - piece.created_at_s) // 60), 0))
            event.add("summary", f"{title}: {piece.name}")
            event.add("description", _described(act))
            event.add("dtstart", datetime.fromtimestamp(round(act.at_s), UTC))
            event.add("dtend", datetime.fromtimestamp(round(max(act.until_s, act.at_s + 60)), UTC))
            alarm = Alarm()
            alarm.add("action", "DISPLAY")
            alarm.add("description", title)
            alarm.add("trigger", REMIND)
            event.add_component(alarm)
            book.add_component(event)


def _described(act: PlannedAct) -> str:
    if act.window is None:
        return "Planned by Pourside."
    return f"Planned by Pourside. Chance you hit the right time: {act.chance:.0%}."
