"""'May it be handled, wrapped, take a hot cup': the section of a piece and of its record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from flask import Blueprint

from dashboard.db import now_s, reader
from dashboard.views import local
from monitor.answers import shipping
from monitor.answers.shipping import Missing
from monitor.core.vocabulary import Piece

handling = Blueprint("handling", __name__)


@dataclass(frozen=True)
class Readiness:
    """One use: the verdict, why, what is missing, and when it is likely."""

    allowed: bool
    words: str
    missing: tuple[str, ...]
    reasons: tuple[str, ...]
    likely: str


@handling.app_context_processor
def for_templates() -> dict[str, object]:
    """Lets a piece's page and its record say what the piece will bear."""
    return {"ready_of": ready_of}


def ready_of(piece: Piece, paper: bool = False) -> dict[str, object]:
    """The three verdicts, and the cautions that go with them, each said once."""
    # A record is read weeks later: no 'tomorrow' on paper.
    here = local().on_paper() if paper else local()
    found = shipping.verdicts(reader(), piece, now_s())
    moment = here.clock if piece.ended_at_s is None and not paper else here.full
    shown = [
        Readiness(
            one.allowed,
            here.units.spoken(here.spoken(one.words)),
            tuple(here.units.spoken(said) for said in _gathered(_weightiest(one.missing))),
            tuple(here.units.spoken(said) for said in _gathered(one.reasons)),
            "" if one.likely_from_s is None else moment(one.likely_from_s),
        )
        for one in found
    ]
    longest = max((one.caution for one in found), key=len, default="")
    as_of_s = now_s() if piece.ended_at_s is None else piece.ended_at_s
    when = "As of now" if piece.ended_at_s is None and not paper else f"As of {here.full(as_of_s)}"
    return {"uses": shown, "caution": longest, "when": when}


def _weightiest(missing: Sequence[Missing]) -> list[str]:
    """What no waiting brings comes first."""
    return [lack.words for lack in sorted(missing, key=lambda lack: not lack.never)]


def _gathered(lines: Sequence[str]) -> list[str]:
    """The core's 'layer: words', with the layers of equal words named together."""
    layers: dict[str, list[str]] = {}
    for line in lines:
        name, _, words = line.partition(": ")
        layers.setdefault(words, []).append(name)
    return [
        f"{', '.join(names[:-1])} and {names[-1]}: {words}"
        if len(names) > 1
        else f"{names[0]}: {words}"
        for words, names in layers.items()
    ]
