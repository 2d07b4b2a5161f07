"""The words of plans: a maker's own, whatever the planner found. Chances are told as odds."""

import re

import numpy as np
import pytest
from planned import (
    DAY_S,
    EIGHT_S,
    HOUR_S,
    PATHS,
    RECIPES,
    RESINS,
    flood,
    room,
    speeds,
)

from monitor.core.cure.plan_reasons import odds
from monitor.core.cure.planner import Wishes, plan
from monitor.core.vocabulary import RoomPaths

JARGON = re.compile(
    r"window|future|ensemble|probab|percent|quantile|hands|in sight|out of sight|grid|slot|% (?!RH)"
    r"|\bat ⟦",  # 'at tomorrow 07:40'
    re.IGNORECASE,
)
EVENINGS = ((18.0, 21.0),) * 7


def warm_days(cold_c=15.5):
    """Heated from seven in the morning to eight in the evening."""
    at_s = EIGHT_S + 600.0 * np.arange(433.0)
    hour = (at_s / HOUR_S) % 24.0
    temp_c = np.where((hour >= 7.0) & (hour < 20.0), 21.0, cold_c)
    spread_k = np.linspace(-1.5, 1.5, PATHS)[:, None]
    return RoomPaths(at_s, temp_c + spread_k, np.full((PATHS, at_s.size), 50.0))


def made(recipe, wishes, future, sd=0.08):
    return plan(recipe, RESINS, future, speeds(sd), wishes, EIGHT_S, content_from=0.5)


CASES = {
    "found": lambda: made(RECIPES["layered_panel"], Wishes(), room(21.0)),
    "less sure": lambda: made(RECIPES["layered_panel"], Wishes(), room(21.0, swing_k=2.0), 0.3),
    "latest": lambda: made(
        RECIPES["coaster_set"], Wishes(deadline_s=EIGHT_S + 12 * DAY_S, mode="latest"), room(21.0)
    ),
    "deadline": lambda: made(flood(), Wishes(deadline_s=EIGHT_S + DAY_S), room(21.0)),
    "cold": lambda: made(RECIPES["coaster_set"], Wishes(), room(15.0)),
    "cold nights": lambda: made(RECIPES["coaster_set"], Wishes(), warm_days()),
    "cold all the same": lambda: made(flood(), Wishes(within_limits=False), room(15.0)),
    "short hours": lambda: made(flood(), Wishes(waking_h=EVENINGS), room(21.0)),
    "too short hours": lambda: made(flood(), Wishes(waking_h=((9.0, 9.2),) * 7), room(21.0)),
    "unsanded": lambda: made(flood(second="recoat_window"), Wishes(waking_h=EVENINGS), room(21.0)),
    "weekends": lambda: made(
        RECIPES["small_casting"], Wishes(waking_h=(None,) * 5 + ((9.0, 20.0),) * 2), room(21.0)
    ),
    "days off": lambda: made(flood(), Wishes(days_off=("2025-10-06", "2025-10-07")), warm_days()),
    "no hours": lambda: made(flood(), Wishes(waking_h=(None,) * 7), room(21.0)),
}


def said(found):
    """All that a plan says."""
    words = [reason.words for reason in found.reasons]
    words += [reason.words for act in found.acts for reason in act.reasons]
    words += [act.warning for act in found.acts if act.warning]
    return words + [offer.words for offer in found.alternatives]


@pytest.mark.parametrize("case", CASES)
def test_a_plan_speaks_in_whole_sentences_without_jargon(case):
    words = said(CASES[case]())

    assert words
    assert [one for one in words if JARGON.search(one)] == []
    assert [one for one in words if not re.fullmatch(r"[A-Z].*\.", one)] == []


def test_a_chance_is_told_as_odds_and_never_as_more_than_it_is():
    told = [odds(chance) for chance in (0.0, 0.09, 0.1, 0.55, 0.6, 0.79, 0.8, 0.94, 0.95, 0.99)]

    assert told == [
        "less than 1 in 10", "less than 1 in 10", "1 in 10", "5.5 in 10", "6 in 10",
        "7.5 in 10", "8 in 10", "9 in 10", "19 in 20", "19 in 20",
    ]  # fmt: skip


def test_an_act_too_soon_says_the_chance_it_would_have():
    whys = [reason for act in CASES["less sure"]().acts for reason in act.reasons]
    why = next(reason for reason in whys if reason.key == "too_soon")

    assert why.words == (
        f"If you start as early as ⟦{round(why.values['at_s'])}⟧, "
        f"the chance to hit the right time is only {odds(why.values['chance'])}."
    )


def test_a_cold_that_likely_comes_too_late_to_harm_is_said_to_be_possible_not_certain():
    """Cold for certain after 13 hours, by when the surface has set in three futures of four."""
    at_s = EIGHT_S + 600.0 * np.arange(433.0)
    temp_c = np.where(at_s < EIGHT_S + 13.0 * HOUR_S, 21.0, 16.0)
    future = RoomPaths(at_s, np.tile(temp_c, (PATHS, 1)), np.full((PATHS, at_s.size), 50.0))

    found = made(flood(moments=()), Wishes(done_when="hands_off"), future, 0.3)

    (why,) = found.reasons
    assert why.values["chance"] == 0.75
    assert "the room may be below 18 °C from" in why.words
