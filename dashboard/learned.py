"""What a resin has taught, layer by layer: why, what to leave out, and starting afresh."""

from __future__ import annotations

from flask import Blueprint, abort, redirect, render_template, url_for
from werkzeug.wrappers import Response

from dashboard import wording
from dashboard.db import acting, now_s, reader
from dashboard.pages import local
from monitor.answers import beliefs
from monitor.core.vocabulary import Mark, ResinProfile
from monitor.store import resins, settings

learned = Blueprint("learned", __name__)


@learned.get("/resins/<key>/learned")
def lessons(key: str) -> str:
    """Everything that this resin's times lean on beside its label."""
    con, here = reader(), local()
    profile = _profile(key)
    told = beliefs.lessons(con, profile, here.now_s)

    def mark_view(mark: Mark) -> dict[str, object]:
        return {
            "id": mark.id,
            "words": wording.MARK_NAMES[mark.kind]
            + (f", {wording.VERDICT_NAMES[mark.verdict]}" if mark.verdict else ""),
            "when": here.full(mark.at_s),
        }

    return render_template(
        "learned.html",
        profile=profile,
        why=here.spoken(told.why),
        speeds=[f"{speed:.0%}" for speed in told.speeds],
        since=None if told.since_s is None else here.full(told.since_s),
        layers=[
            {
                "piece": one.piece_name,
                "piece_id": one.layer.piece_id,
                "name": one.layer.name,
                "poured": here.full(one.layer.poured_at_s),
                "lines": [here.spoken(line) for line in one.words.splitlines()],
                "apart": not one.fits,
                "off_label": not one.fits_label,
                "marks": [mark_view(mark) for mark in one.marks],
            }
            for one in told.layers
        ],
        aside=[
            {"layer": layer.name, **mark_view(mark)}
            for layer, mark in beliefs.set_aside(con, profile)
        ],
    )


@learned.post("/resins/<key>/afresh")
def afresh(key: str) -> Response:
    """Learn from here on only: an old lesson does not count, and is not lost."""
    return _count_from(key, str(now_s()))


@learned.post("/resins/<key>/all-again")
def all_again(key: str) -> Response:
    """Count every mark again."""
    return _count_from(key, "")


def _count_from(key: str, since: str) -> Response:
    profile = _profile(key)
    with acting() as con:
        settings.put(con, beliefs.since_key(profile.key), since, now_s())
    return redirect(url_for("learned.lessons", key=key))


def _profile(key: str) -> ResinProfile:
    found = resins.resin(reader(), key)
    if found is None:
        abort(404, f"There is no resin {key!r} on the shelf.")
    return found
