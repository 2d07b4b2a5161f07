"""Bad numbers get a clear error or an honest answer; never NaN, never a traceback."""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor import shelf
from monitor.core.cure.outlook import outlook
from monitor.core.vocabulary import Layer, Mark, Outlook, RateDraws, RoomPaths, RoomSeries

NOW_S = 1_760_000_000.0
HOUR_S = 3600.0
LIBRARY = {profile.key: profile for profile in shelf.library()}
ODD = [math.nan, math.inf, -math.inf, 0.0, -1.0, 1e-9, 400.0, 1e6, 1e300]
KINDS = ["still_liquid", "stringy", "tacky", "tack_free", "nail_dents", "hard", "tape_pulled"]


Numbers = st.SearchStrategy[float]


def rarely(odd: Numbers, usual: Numbers) -> Numbers:
    """One in sixteen odd: else nearly every example would be refused at the door."""
    return st.integers(0, 15).flatmap(lambda die: odd if die == 7 else usual)


def odd_or(low: float, high: float) -> Numbers:
    return rarely(st.sampled_from(ODD), st.floats(low, high))


layers = st.builds(
    Layer,
    id=st.just(1),
    piece_id=st.just(1),
    name=st.just("coat"),
    resin=st.sampled_from(sorted(LIBRARY)).map(LIBRARY.__getitem__),
    poured_at_s=rarely(
        st.sampled_from([math.nan, math.inf, 0.0]),
        st.floats(-900.0, 400.0).map(lambda hours: NOW_S + hours * HOUR_S),
    ),
    depth_mm=st.none() | odd_or(0.1, 80.0),
    area_cm2=st.none() | odd_or(1.0, 5000.0),
    volume_ml=st.none() | odd_or(1.0, 5000.0),
    base=st.sampled_from(["wood", "silicone", "glass"]),
    pour_temp_c=st.none() | odd_or(5.0, 40.0),
    hardener_ratio=st.just(1.0) | odd_or(0.2, 4.0),
)

readings = st.lists(
    st.tuples(
        rarely(
            st.sampled_from([math.nan, math.inf, 0.0]),
            st.floats(-400.0, 1.0).map(lambda hours: NOW_S + hours * HOUR_S),
        ),
        odd_or(-15.0, 45.0),
        odd_or(0.0, 110.0),
    ),
    max_size=8,
).map(lambda rows: RoomSeries(*(np.array(column) for column in _columns(rows, 3))))


@st.composite
def forecasts(draw: st.DrawFn) -> RoomPaths:
    hours = draw(
        st.sampled_from(
            [[], [0.0], [30.0], [0.0, 1.0], [-5.0, 80.0], list(range(73)), [0.0, 500.0]]
        )
    )
    paths = draw(st.integers(1, 3))
    shape = (paths, len(hours))
    number = rarely(st.sampled_from([math.nan, 400.0, -300.0, 1e300]), st.floats(-10.0, 45.0))
    temp_c = np.full(shape, draw(number) if draw(st.booleans()) else 21.0)
    damp = np.full(shape, draw(odd_or(0.0, 110.0)) if draw(st.booleans()) else 50.0)
    return RoomPaths(NOW_S + HOUR_S * np.array(hours), temp_c, damp)


drawn = st.builds(
    lambda rates, energy: RateDraws(np.array(rates), np.full(len(rates), energy)),
    st.lists(odd_or(-1.0, 1.0), min_size=1, max_size=4) | st.just([0.0]),
    odd_or(40e3, 70e3),
)

marks = st.lists(
    st.builds(
        lambda kind, hours, verdict: Mark(1, 1, kind, NOW_S - hours * HOUR_S, verdict),
        st.sampled_from(KINDS),
        st.floats(-2.0, 500.0),
        st.none() | st.sampled_from(["good", "too_early", "too_late"]),
    ),
    max_size=3,
)


def _columns(rows: list[tuple[float, ...]], count: int) -> list[list[float]]:
    return [[row[place] for row in rows] for place in range(count)]


def numbers(value: object) -> Iterator[float]:
    """Every number anywhere in a value."""
    if isinstance(value, float | int):
        yield float(value)
    elif isinstance(value, np.ndarray):
        yield from value.ravel().tolist()
    elif is_dataclass(value):
        for field in fields(value):
            yield from numbers(getattr(value, field.name))
    elif isinstance(value, Mapping):
        yield from numbers(tuple(value.values()))
    elif isinstance(value, tuple | list):
        for each in value:
            yield from numbers(each)


def words(value: Outlook) -> str:
    return " ".join([*value.notes, *value.surface.reasons, *(each.why for each in value.stages)])


@given(layers, readings, forecasts(), drawn, marks)
@settings(max_examples=80, deadline=None)
def test_whatever_is_entered_the_answer_is_numbers_or_a_sentence(
    layer: Layer,
    past: RoomSeries,
    future: RoomPaths,
    draws: RateDraws,
    seen: list[Mark],
) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)
        try:
            found = outlook(layer, past, future, draws, seen, NOW_S)
        except ValueError as refused:
            said = str(refused)
            assert len(said.split()) > 4
            assert said.endswith(".")
            return
    assert all(math.isfinite(number) for number in numbers(found))
    assert not {"nan", "inf", "-inf"} & set(words(found).replace(",", " ").split())
    assert 0.0 <= found.degree_of_cure <= 1.0
    for each in found.stages:
        levels = [at_s for at_s in (each.p10_s, each.p50_s, each.p90_s) if at_s is not None]
        assert levels == sorted(levels)


def here(temp_c: float = 21.0) -> RoomPaths:
    hours = np.arange(0.0, 72.1, 1.0 / 6.0)
    shape = (3, hours.size)
    return RoomPaths(NOW_S + HOUR_S * hours, np.full(shape, temp_c), np.full(shape, 50.0))


def room(temp_c: float, hours: np.ndarray) -> RoomSeries:
    at_s = NOW_S - HOUR_S * hours[::-1]
    return RoomSeries(at_s, np.full(at_s.size, temp_c), np.full(at_s.size, 50.0))


SURE = RateDraws(np.zeros(3), np.full(3, 55e3))
COAT = Layer(1, 1, "coat", LIBRARY["coating_2_1"], NOW_S - 6.0 * HOUR_S, depth_mm=3.0)


def test_readings_that_no_room_can_give_count_as_a_gap() -> None:
    steady = room(21.0, np.arange(0.0, 8.0, 0.1))
    broken = replace(steady, temp_c=np.where(steady.at_s > NOW_S - 3.0 * HOUR_S, 400.0, 21.0))
    sound, found = (outlook(COAT, past, here(), SURE, (), NOW_S) for past in (steady, broken))

    assert found.degree_of_cure == pytest.approx(sound.degree_of_cure, abs=5e-3)
    assert found.knowledge_age_s == pytest.approx(3.0 * HOUR_S, abs=400.0)
    assert any("3.0 h old" in note or "3.1 h old" in note for note in found.notes)


def test_a_layer_poured_years_ago_is_cured() -> None:
    old = replace(COAT, poured_at_s=NOW_S - 10.0 * 8766.0 * HOUR_S)
    found = outlook(old, room(21.0, np.arange(0.0, 8.0, 0.1)), here(), SURE, (), NOW_S)

    assert found.state == "cured"
    assert all(math.isfinite(number) for number in numbers(found))


@pytest.mark.parametrize(
    ("future", "draws", "said"),
    [
        (here(400.0), SURE, "temperature runs from 400 to 400 °C; expected"),
        (here(math.nan), SURE, "temperature runs from nan"),
        (here(), RateDraws(np.empty(0), np.empty(0)), "give at least one"),
        (here(), RateDraws(np.array([50.0]), np.array([55e3])), "expected within 4 of 0"),
        (here(), RateDraws(np.array([0.0]), np.array([-5e3])), "-5000 J/mol; expected"),
    ],
)
def test_what_the_program_itself_got_wrong_is_refused_in_words(
    future: RoomPaths, draws: RateDraws, said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        outlook(COAT, room(21.0, np.arange(0.0, 8.0, 0.1)), future, draws, (), NOW_S)
