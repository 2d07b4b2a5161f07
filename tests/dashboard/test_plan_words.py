"""Each sentence of a plan is known to a translator."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
from planned import EIGHT_S, HOUR_S, PATHS, RECIPES, RESINS, flood, room, speeds

from dashboard.catalogue import extracted
from dashboard.language import Language
from dashboard.wording import Local
from monitor.core.cure.planner import Wishes, plan

DAY_S = 24 * HOUR_S


def made(recipe, wishes, future, sd=0.08, **rest):
    return plan(recipe, RESINS, future, speeds(sd), wishes, EIGHT_S, **rest)


PLANS = {
    "found": lambda: made(RECIPES["layered_panel"], Wishes(), room(21.0)),
    "less sure": lambda: made(RECIPES["layered_panel"], Wishes(), room(21.0), 0.3,
                              content_from=0.5),
    "latest": lambda: made(RECIPES["coaster_set"],
                           Wishes(deadline_s=EIGHT_S + 12 * DAY_S, mode="latest"), room(21.0)),
    "deadline": lambda: made(flood(), Wishes(deadline_s=EIGHT_S + DAY_S), room(21.0)),
    "cold": lambda: made(flood(), Wishes(), room(15.0)),
    "near the limit": lambda: made(flood(), Wishes(), room(18.6, swing_k=1.2, spread_k=1.0)),
    "warm": lambda: made(flood(), Wishes(), room(29.5, swing_k=1.2)),
    "damp": lambda: made(flood(), Wishes(),
                         replace(room(21.0), humidity_pct=np.full((PATHS, 433), 86.0))),
    "cold all the same": lambda: made(flood(), Wishes(within_limits=False), room(15.0)),
    "evenings": lambda: made(flood(second="recoat_window"),
                             Wishes(waking_h=((18.0, 21.0),) * 7), room(21.0)),
    "minutes": lambda: made(flood(), Wishes(waking_h=((9.0, 9.2),) * 7), room(21.0)),
    "never": lambda: made(flood(), Wishes(waking_h=(None,) * 7), room(21.0)),
}  # fmt: skip


STAYS = {"C", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun", "Oct"}


def bracketed(message):
    """A message in a made-up language: its words in brackets, its fields as they are."""
    parts = re.split(r"(%\(\w+\)s|\{\w+\}|\s+)", message)
    return "".join(
        part if number % 2 or not re.search(r"[^\W\d_]", part) else f"⟨{part}⟩"
        for number, part in enumerate(parts)
    )


def test_every_sentence_of_a_plan_can_be_translated():
    """A word that stands without brackets was glued on where no catalogue knows it."""
    recipes = (*RECIPES.values(), flood(second="recoat_window"))
    names = {step.name for recipe in recipes for step in recipe.steps}
    english = {one: bracketed(one) for one in extracted().places}
    other = Language("de", english).keeping(frozenset(names))
    here = Local("UTC", EIGHT_S)
    left = {}
    for case, make in PLANS.items():
        found = make()
        words = [reason.words for reason in found.reasons]
        words += [reason.words for act in found.acts for reason in act.reasons]
        words += [act.warning for act in found.acts if act.warning]
        words += [offer.words for offer in found.alternatives]
        assert words, case
        for text in map(here.spoken, words):
            bare = re.sub(r"⟨[^⟩]*⟩", " ", other.said(text))
            for name in sorted(names, key=len, reverse=True):
                bare = bare.replace(name, " ")
            if forgotten := {*re.findall(r"[^\W\d_]+", bare)} - STAYS:
                left[text] = forgotten
    assert left == {}
