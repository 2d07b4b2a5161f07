"""A wrong mixing ratio against the network theory of Flory, Stockmayer, Macosko, Miller."""

from __future__ import annotations

import math

import pytest

from monitor.core.cure.mixing import amounts, off_ratio, ratio_error
from monitor.core.physics.network import network
from monitor.core.vocabulary import ResinProfile


# Computed independently (fixed-point iteration): sol to four decimals, loss to 0.1 K.
@pytest.mark.parametrize(
    ("ratio", "ceiling", "sol", "loss_k"),
    [
        (0.70, 0.70, 0.0877, 48.4),
        (0.80, 0.80, 0.0345, 32.0),
        (0.85, 0.85, 0.0185, 23.6),
        (0.90, 0.90, 0.0079, 15.3),
        (0.95, 0.95, 0.0019, 7.3),
        (1.00, 1.0, 0.0, 0.0),
        (1.05, 1.0, 0.0000, 1.5),
        (1.10, 1.0, 0.0000, 3.7),
        (1.20, 1.0, 0.0003, 9.8),
        (1.30, 1.0, 0.0011, 17.0),
        (1.50, 1.0, 0.0074, 32.2),
        (2.00, 1.0, 0.0909, 62.9),
    ],
)
def test_what_a_wrong_ratio_costs(ratio: float, ceiling: float, sol: float, loss_k: float) -> None:
    found = off_ratio(ratio)
    assert found.ceiling == pytest.approx(ceiling)
    assert found.sol_fraction == pytest.approx(sol, abs=6e-5)
    assert found.final_tg_loss_c == pytest.approx(loss_k, abs=0.06)


def test_sol_by_its_own_recursion() -> None:
    """The finite-chain probabilities, iterated rather than solved, as a second opinion."""
    for ratio in (0.8, 1.0, 1.3):
        epoxide = 0.9 * min(ratio, 1.0)
        amine = epoxide / ratio
        out = 0.3
        for _ in range(5000):
            out = amine * (epoxide * out**3 + 1.0 - epoxide) + 1.0 - amine
        through = epoxide * out**3 + 1.0 - epoxide
        by_hand = (60.0 * ratio * out**4 + 188.0 * through**2) / (60.0 * ratio + 188.0)
        assert network(ratio, epoxide).sol == pytest.approx(by_hand, abs=1e-9)


def test_outside_one_third_to_three_it_never_gels() -> None:
    # Flory-Stockmayer, A4 + B2: gel needs 1/3 <= r <= 3.
    for ratio in (0.30, 3.2):
        assert off_ratio(ratio).verdict == "scrape off and start again"
        assert "never sets" in off_ratio(ratio).words


def test_too_little_hardener_costs_more_than_as_much_too_much() -> None:
    # Published: the glass transition has its maximum at balance for diamine systems.
    for error in (0.05, 0.10, 0.20):
        starved, rich = off_ratio(1.0 - error), off_ratio(1.0 + error)
        assert starved.final_tg_loss_c > 3.0 * rich.final_tg_loss_c > 0.0


def test_verdicts_get_no_better_away_from_balance() -> None:
    order = ["fine", "soft", "scrape off and start again"]
    for ratios in ([1.0, 0.95, 0.9, 0.8, 0.7, 0.5, 0.2], [1.0, 1.1, 1.3, 1.5, 2.0, 4.0]):
        ranks = [order.index(off_ratio(ratio).verdict) for ratio in ratios]
        assert ranks == sorted(ranks)
        assert set(ranks) == {0, 1, 2}


def test_a_ratio_is_judged_from_what_was_weighed() -> None:
    # 100:32 by weight with 10 % too little hardener: r 0.902 (computed independently with
    # equivalents 188 and 60, where the label itself stands at 1.0027).
    label = ResinProfile("r", "Resin", "pour", 23.0, {}, ratio_by_weight=(100.0, 32.0))
    at_label = (32.0 / 60.0) / (100.0 / 188.0)
    short = at_label * ratio_error(label, 100.0, 28.8, "g")
    assert short == pytest.approx(0.902, abs=5e-4)
    # One gram short on 20 g + 6.4 g: r 0.846.
    coarse = at_label * ratio_error(label, 20.0, 5.4, "g")
    assert coarse == pytest.approx(0.846, abs=5e-4)


@pytest.mark.parametrize("ratio", [0.0, -1.0, math.nan])
def test_a_ratio_that_is_none_is_refused_in_words(ratio: float) -> None:
    with pytest.raises(ValueError, match="not above 0"):
        off_ratio(ratio)


# The splits a maker checks by hand, to the tenth of a millilitre and of a gram. Arithmetic
# worked by hand; densities 1.13 and 1.00 g/ml are the profile's.
def _label(by_volume=None, by_weight=None) -> ResinProfile:
    return ResinProfile(
        "r",
        "Resin",
        "pour",
        23.0,
        {},
        ratio_by_volume=by_volume,
        ratio_by_weight=by_weight,
        density_a_kg_m3=1130.0,
        density_b_kg_m3=1000.0,
    )


@pytest.mark.parametrize(
    ("ratio", "a_ml", "b_ml", "a_g", "b_g"),
    [
        ((2.0, 1.0), 60.0, 30.0, 67.8, 30.0),
        ((1.0, 1.0), 45.0, 45.0, 50.85, 45.0),
        ((3.0, 1.0), 67.5, 22.5, 76.275, 22.5),
    ],
)
def test_ninety_millilitres_split_to_the_tenth(ratio, a_ml, b_ml, a_g, b_g) -> None:
    found = amounts(_label(by_volume=ratio), 90.0)
    assert (found.part_a_ml, found.part_b_ml) == pytest.approx((a_ml, b_ml), abs=0.05)
    assert (found.part_a_g, found.part_b_g) == pytest.approx((a_g, b_g), abs=0.05)


def test_ninety_millilitres_by_weight_split_to_the_tenth() -> None:
    # 100:45 by weight is 100/1.13 = 88.496 ml to 45 ml, 133.496 ml together, so 90 ml are
    # 59.66 ml and 30.34 ml, and 67.42 g and 30.34 g: again 100:45.
    found = amounts(_label(by_weight=(100.0, 45.0)), 90.0)
    assert (found.part_a_ml, found.part_b_ml) == pytest.approx((59.66, 30.34), abs=0.05)
    assert (found.part_a_g, found.part_b_g) == pytest.approx((67.42, 30.34), abs=0.05)
    assert found.part_b_g / found.part_a_g == pytest.approx(0.45, rel=1e-12)
