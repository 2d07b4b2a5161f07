"""Bottles in the store: what is left follows from what layers took, and from nothing else."""

from __future__ import annotations

import pytest

from monitor import shelf
from monitor.store import bottles, pieces
from monitor.store.connection import writing
from monitor.store.errors import StoreError

COATING = next(one for one in shelf.library() if one.key == "coating_2_1")
T0 = 1_790_000_000.0


@pytest.fixture
def layer(con):
    with writing(con):
        piece = pieces.add_piece(con, "Tray", T0)
        return pieces.add_layer(con, piece, "Flood", COATING, T0, T0)


def add(con, part="B", held=500.0, **fields):
    with writing(con):
        return bottles.add_bottle(con, "coating_2_1", part, held, **fields)


def test_a_bottle_comes_back_as_it_was_put_in(con):
    number = add(con, lot="L7", opened_at_s=T0, price=19.5, note="left shelf")
    assert bottles.bottle(con, number) == bottles.Bottle(
        number, "coating_2_1", "B", 500.0, "L7", T0, 19.5, "left shelf"
    )
    assert bottles.bottle(con, 99) is None


def test_what_a_layer_takes_is_gone_and_comes_back_with_the_layer(con, layer):
    number = add(con)
    with writing(con):
        bottles.take(con, number, layer, 30.0, T0)
    assert bottles.bottle(con, number).left_ml == 470.0
    assert [(u.bottle_id, u.ml) for u in bottles.uses(con, layer)] == [(number, 30.0)]
    # Entered anew replaces: the same layer does not take twice.
    with writing(con):
        bottles.take(con, number, layer, 40.0, T0)
    assert bottles.bottle(con, number).left_ml == 460.0
    with writing(con):
        pieces.delete_piece(con, pieces.layer(con, layer).piece_id)
    assert bottles.bottle(con, number).left_ml == 500.0


def test_the_first_use_opens_a_bottle_and_a_later_one_does_not(con, layer):
    number = add(con)
    with writing(con):
        bottles.take(con, number, layer, 5.0, T0 + 60)
        bottles.take(con, number, layer, 6.0, T0 + 999)
    assert bottles.bottle(con, number).opened_at_s == T0 + 60


def test_a_bottle_is_never_less_than_empty(con, layer):
    number = add(con, held=10.0)
    with writing(con):
        bottles.take(con, number, layer, 30.0, T0)
    assert bottles.bottle(con, number).left_ml == 0.0


def test_used_up_bottles_stand_apart(con):
    first, second = add(con), add(con)
    with writing(con):
        bottles.change_bottle(con, first, emptied_at_s=T0)
    assert [one.id for one in bottles.bottles(con, emptied=False)] == [second]
    assert [one.id for one in bottles.bottles(con, emptied=True)] == [first]
    assert bottles.bottle(con, first).left_ml == 0.0
    with writing(con):
        bottles.change_bottle(con, first, emptied_at_s=None)
    assert bottles.bottle(con, first).left_ml == 500.0


def test_the_longest_open_comes_first_and_unopened_last(con):
    new = add(con)
    late = add(con, opened_at_s=T0)
    early = add(con, opened_at_s=T0 - 1000)
    assert [one.id for one in bottles.bottles(con, "coating_2_1")] == [early, late, new]
    assert bottles.bottles(con, "slow_art") == []


def test_what_cannot_be_is_refused_in_words(con, layer):
    number = add(con)
    with pytest.raises(StoreError, match="no bottle 99 to take from"), writing(con):
        bottles.take(con, 99, layer, 1.0, T0)
    with pytest.raises(StoreError, match="0 ml cannot be taken"), writing(con):
        bottles.take(con, number, layer, 0.0, T0)
    with pytest.raises(StoreError, match="'colour' of a bottle"), writing(con):
        bottles.change_bottle(con, number, colour="blue")
    with pytest.raises(StoreError, match="no bottle 99"), writing(con):
        bottles.change_bottle(con, 99, lot="x")
    with writing(con):
        bottles.delete_bottle(con, number)
    assert bottles.bottles(con) == []


def test_the_bottle_last_taken_from_comes_first_then_the_longest_open(con, layer):
    old, young = add(con, opened_at_s=T0 - 900), add(con, opened_at_s=T0 - 10)
    closed = add(con)
    assert [one.id for one in bottles.bottles(con)] == [old, young, closed]
    with writing(con):
        bottles.take(con, young, layer, 5.0, T0)
    assert [one.id for one in bottles.bottles(con)] == [young, old, closed]
