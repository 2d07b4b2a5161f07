"""Whatever recipe, room, belief, wishes and marks are asked for: a plan or a ValueError.

The monitor plans in its tick, and catches that one error alone.
"""

import math
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from monitor.core.cure.planner import Done, Wishes, plan
from monitor.core.cure.recipe import MOMENT_KINDS, NEEDS, STEP_KINDS, Moment, Recipe, Step
from monitor.core.cure.resin import from_mapping
from monitor.core.vocabulary import RateDraws, RoomPaths, RoomSeries

DATA = Path(__file__).resolve().parents[2] / "monitor" / "data"
with (DATA / "resins.toml").open("rb") as file:
    RESINS = {key: from_mapping({"key": key, **t}) for key, t in tomllib.load(file).items()}
NOW_S = 1_759_737_600.0
DAY_S = 86_400.0

odd = some.sampled_from([math.nan, math.inf, -math.inf, 0.0, -1.0, 1e-9, 1e9])
maybe = some.one_of
sizes = maybe(some.none(), some.floats(0.1, 2000.0), odd)
minutes = maybe(some.floats(0.0, 600.0), odd)
moments = some.lists(
    some.builds(Moment, some.sampled_from(MOMENT_KINDS), minutes), max_size=2
).map(tuple)  # fmt: skip
steps = some.builds(
    Step,
    some.sampled_from(["a", "b", "c", "d"]),
    some.sampled_from(STEP_KINDS),
    some.just("Step"),
    some.sampled_from([None, *RESINS]),
    some.sampled_from(NEEDS),
    minutes,
    sizes,
    sizes,
    sizes,
    moments,
)
# Mostly sound ones: a fuzz that is always refused at the door finds nothing behind it.
SOUND = [
    Step("a", "flood_coat", "A", "coating_2_1", depth_mm=3.0, moments=(Moment("pull_tape"),)),
    Step("b", "painted_lines", "B", "paint_lines", "sanded"),
    Step("c", "adhesive_dam", "C", "fast_adhesive", "overcoat_ready"),
    Step("d", "casting", "D", "deep_casting", "handling_set", moments=(Moment("demould"),)),
    Step("e", "sand", "E", None, "sanded", 45.0),
]
lists = maybe(
    some.integers(1, len(SOUND)).map(lambda n: tuple(SOUND[:n])),
    some.lists(steps, max_size=4).map(tuple),
)
hours = maybe(
    some.none(),
    some.tuples(some.floats(0.0, 23.9), some.floats(0.1, 30.0)),
    some.tuples(odd, odd),
)
wishes = some.builds(
    Wishes,
    maybe(
        some.just(((7.0, 22.0),) * 7),
        some.just((None,) * 7),
        some.lists(hours, min_size=6, max_size=8).map(tuple),
    ),
    some.sampled_from([(), ("2025-10-07",), ("Tuesday",), ("0001-01-01",), ("9999-12-31",)]),
    maybe(some.none(), some.floats(NOW_S, NOW_S + 20 * DAY_S), odd),
    maybe(some.floats(0.01, 1.0), odd),
    some.sampled_from(["soonest", "latest"]),
    some.sampled_from(["cured", "hands_off"]),
    some.booleans(),
)


@some.composite
def rooms(draw):
    points, paths = draw(some.integers(0, 60)), draw(some.integers(1, 5))
    at_s = NOW_S + draw(some.sampled_from([0.0, 37.0, -900.0])) + 600.0 * np.arange(float(points))
    level = draw(maybe(some.floats(-40.0, 60.0), some.just(math.nan)))
    swing = draw(some.floats(0.0, 15.0))
    temp_c = level + swing * np.sin(at_s / 9000.0 + np.arange(float(paths))[:, None])
    damp = np.full(temp_c.shape, draw(maybe(some.floats(0.0, 100.0), some.just(math.nan))))
    return RoomPaths(at_s, temp_c, damp)


@some.composite
def beliefs(draw):
    paths = draw(some.integers(0, 5))
    rate = draw(maybe(some.floats(-3.0, 3.0), some.just(math.nan)))
    energy = draw(some.sampled_from([55_000.0, 20_000.0, 0.0, math.nan]))
    rates = rate + 0.1 * np.arange(float(paths))
    return {key: RateDraws(rates, np.full(paths, energy)) for key in RESINS}


marks = some.lists(
    some.builds(
        Done,
        some.sampled_from(["a", "b", "c", "elsewhere"]),
        maybe(some.floats(NOW_S - 40 * DAY_S, NOW_S), odd),
        some.sampled_from([(), ("pull_tape",), ("demould",)]),
        some.dictionaries(
            some.sampled_from(["tape_window_open", "sandable", "recoat_window_close"]),
            maybe(some.floats(NOW_S - 40 * DAY_S, NOW_S + DAY_S), odd),
            max_size=2,
        ),
    ),
    max_size=2,
)


@given(lists, rooms(), beliefs(), wishes, marks, some.booleans(), some.booleans())
@settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)
def test_it_plans_or_says_in_words_why_it_cannot(listed, future, draws, wanted, done, past, other):
    recipe = Recipe("r", "R", listed)
    ago_s = NOW_S - 600.0 * np.arange(30.0, -1.0, -1.0)
    level = np.full(ago_s.size, 20.0)
    seen = RoomSeries(ago_s, level, level + 30.0) if past else None
    # Half of the time the odd wishes and marks are left out, to reach what lies behind them.
    if other:
        wanted = replace(
            wanted, waking_h=((7.0, 22.0),) * 7, days_off=(), probability=0.6,
            deadline_s=NOW_S + 9 * DAY_S if wanted.mode == "latest" else None,
        )  # fmt: skip
        done = [replace(mark, at_s=NOW_S - 9000.0, reached={}) for mark in done if mark.step == "a"]
        draws = {key: RateDraws(np.zeros(3), np.full(3, 55_000.0)) for key in RESINS}
        if not (np.isfinite(future.temp_c).all() and np.isfinite(future.humidity_pct).all()):
            future = replace(future, temp_c=np.full(future.temp_c.shape, 21.0),
                             humidity_pct=np.full(future.temp_c.shape, 50.0))  # fmt: skip
    try:
        found = plan(
            recipe, RESINS, future, draws, wanted, NOW_S,
            past=seen, done=done, otherwise=other, content_from=0.5,
        )  # fmt: skip
    except ValueError:
        return
    assert all(math.isfinite(act.at_s) and 0.0 <= act.chance <= 1.0 for act in found.acts)
    assert found.found or found.reasons
