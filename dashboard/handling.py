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

    sign: str
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
    over = piece.ended_at_s is not None
    # A record is read weeks later, and a finished piece too: no 'tomorrow' there.
    dated = paper or over
    here = local().on_paper() if dated else local()
    found = shipping.verdicts(reader(), piece, now_s())
    moment = here.full if dated else here.clock
    shown = [
        Readiness(
            "✓" if one.allowed else "?" if one.probable else "✗",
            here.spoken(one.words),
            tuple(here.spoken(said) for said in _gathered(_weightiest(one.missing))),
            tuple(here.spoken(said) for said in _gathered(one.reasons)),
            "" if one.likely_from_s is None else moment(one.likely_from_s),
        )
        for one in found
    ]
    longest = max((one.caution for one in found), key=len, default="")
    return {"uses": shown, "caution": longest, "ended": here.full(piece.ended_at_s) if over else ""}


def _weightiest(missing: Sequence[Missing]) -> list[str]:
    """What no waiting brings comes first."""
    return [lack.words for lack in sorted(missing, key=lambda lack: not lack.never)]


def _gathered(lines: Sequence[str]) -> list[str]:
    """The core's 'layer: words', with the layers of equal words named together."""
    layers: dict[str, list[str]] = {}
    for line in lines:
        name, _, words = line.partition(": ")
        layers.setdefault(words, []).append(name)
    return [f"{_listed(names)}: {words}" for words, names in layers.items()]


def _listed(names: Sequence[str]) -> str:
    first = ", ".join(names[:-1])
    return f"{first} and {names[-1]}" if first else names[-1]
