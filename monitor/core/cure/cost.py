"""What a mix takes out of the bottles, what that costs, and when an opened hardener is old."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Part = Literal["A", "B", "kit"]

# Hardener takes up moisture and carbon dioxide once opened, and slows. After how long is
# common practice, no published source; the marks of each batch then tell how much.
HARDENER_OLD_S = 365.0 * 86400.0


@dataclass(frozen=True)
class Stock:
    """One bottle: what it held when full, what is left [ml], its price."""

    id: int
    part: Part
    held_ml: float
    left_ml: float
    price: float | None = None
    opened_at_s: float | None = None


@dataclass(frozen=True)
class Draw:
    """What is taken from one bottle [ml], what is left in it after, and the cost if known."""

    bottle: int
    part: Part
    ml: float
    left_ml: float
    cost: float | None


@dataclass(frozen=True)
class Drawn:
    """All draws of one mix; `short_ml` is what the bottles cannot give, by part."""

    draws: tuple[Draw, ...]
    short_a_ml: float
    short_b_ml: float

    @property
    def enough(self) -> bool:
        """Whether the bottles suffice."""
        return self.short_a_ml <= 0.0 and self.short_b_ml <= 0.0

    @property
    def cost(self) -> float | None:
        """Cost of the mix; None where it is not all from bottles of known price."""
        costs = [draw.cost for draw in self.draws]
        if not self.enough or not costs or any(one is None for one in costs):
            return None
        return math.fsum(one for one in costs if one is not None)


def draw_mix(
    a_ml: float, b_ml: float, bottles: Sequence[Stock], chosen: Sequence[int] = ()
) -> Drawn:
    """Take both parts of a mix from bottles of one resin.

    Chosen bottles come first, then those opened longest, then unopened ones; a kit stands
    in where the part's own bottles are empty. A bottle never gives more than it has.
    """
    for name, value in (("A", a_ml), ("B", b_ml)):
        if not (math.isfinite(value) and value >= 0.0):
            raise ValueError(f"Part {name} is {value:g} ml; expected 0 or more.")
    left = {bottle.id: max(bottle.left_ml, 0.0) for bottle in bottles}
    taken: dict[int, float] = {}
    short: dict[Part, float] = {}
    wanted: tuple[tuple[Part, float], ...] = (("A", a_ml), ("B", b_ml))
    for part, wish_ml in wanted:
        for bottle in _in_order(bottles, part, chosen):
            take = min(wish_ml, left[bottle.id])
            if take > 0.0:
                left[bottle.id] -= take
                taken[bottle.id] = taken.get(bottle.id, 0.0) + take
                wish_ml -= take
        # Below a hundredth of a millilitre is arithmetic, not want.
        short[part] = wish_ml if wish_ml > 0.01 else 0.0
    draws = tuple(
        Draw(one.id, one.part, taken[one.id], left[one.id], price_of(taken[one.id], one))
        for one in bottles
        if one.id in taken
    )
    return Drawn(draws, short["A"], short["B"])


def price_of(ml: float, bottle: Stock) -> float | None:
    """The share of a bottle's price that `ml` of it are; None without a price."""
    if bottle.price is None or not bottle.held_ml > 0.0:
        return None
    return bottle.price * ml / bottle.held_ml


def hardener_is_old(part: Part, opened_at_s: float | None, now_s: float) -> bool:
    """Whether a bottle with hardener in it has been open for more than a year."""
    return part != "A" and opened_at_s is not None and now_s - opened_at_s > HARDENER_OLD_S


def _in_order(bottles: Sequence[Stock], part: Part, chosen: Sequence[int]) -> list[Stock]:
    def rank(bottle: Stock) -> tuple[bool, bool, float, int]:
        opened = math.inf if bottle.opened_at_s is None else bottle.opened_at_s
        return bottle.id not in chosen, bottle.part == "kit", opened, bottle.id

    return sorted((one for one in bottles if one.part in (part, "kit")), key=rank)
