"""The network that cures: gel point, sol, and what a wrong mixing ratio costs.

Model: Flory-Stockmayer and Macosko-Miller for a tetrafunctional amine (A4) and a
difunctional epoxide (B2), ideal: equal reactivity, no rings. Real systems gel a little
later. `ratio` is amine hydrogens per epoxide, 1 at balance; a label's own ratio counts as 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

AMINE_FUNCTIONALITY = 4
EPOXIDE_FUNCTIONALITY = 2
EPOXIDE_EQUIVALENT_G = 188.0  # liquid bisphenol-A epoxy; typical, for the cost in Tg only
AMINE_EQUIVALENT_G = 60.0
# Tg - Tg_linear = 3.9e4 / Mc, good to 30 % (from memory).
TG_PER_CROSSLINK_K_G_MOL = 3.9e4


@dataclass(frozen=True)
class Network:
    """A network at one ratio and epoxide conversion: `sol` share by weight, strands [mol/g]."""

    sol: float
    strands_mol_g: float


def gel_conversion(
    ratio: float = 1.0,
    amine_functionality: int = AMINE_FUNCTIONALITY,
    epoxide_functionality: int = EPOXIDE_FUNCTIONALITY,
) -> float | None:
    """Epoxide conversion at the gel point [-]; None where this ratio never gels.

    Raises ValueError where the ratio is not above 0.
    """
    _check_ratio(ratio)
    branching = (amine_functionality - 1) * (epoxide_functionality - 1)
    gel = math.sqrt(ratio / branching)
    return gel if gel <= min(ratio, 1.0) else None


def limiting_conversion(ratio: float = 1.0) -> float:
    """The most of the epoxide that can react [-]: min(ratio, 1)."""
    _check_ratio(ratio)
    return min(ratio, 1.0)


def network(ratio: float, epoxide_conversion: float) -> Network:
    """Sol and elastically active strands at one conversion of the epoxide.

    Before gel everything is sol. Macosko-Miller's recursion for A4 + B2.
    """
    _check_ratio(ratio)
    epoxide = min(epoxide_conversion, limiting_conversion(ratio))
    amine = epoxide / ratio
    joined = amine * epoxide
    if joined * (AMINE_FUNCTIONALITY - 1) * (EPOXIDE_FUNCTIONALITY - 1) <= 1.0:
        return Network(sol=1.0, strands_mol_g=0.0)
    out = math.sqrt(1.0 / joined - 0.75) - 0.5
    out_of_epoxide = epoxide * out**3 + 1.0 - epoxide
    # Weights per mole of epoxide groups.
    amine_g = ratio * AMINE_EQUIVALENT_G
    total_g = amine_g + EPOXIDE_EQUIVALENT_G
    sol = (amine_g * out**4 + EPOXIDE_EQUIVALENT_G * out_of_epoxide**2) / total_g
    strands = (3.0 * 4.0 * out * (1.0 - out) ** 3 + 4.0 * (1.0 - out) ** 4) / 2.0
    return Network(sol=sol, strands_mol_g=strands * ratio / AMINE_FUNCTIONALITY / total_g)


def glass_transition_loss_k(ratio: float) -> float:
    """How much lower the final glass transition is than at balance [K], >= 0; +-30 %."""
    at_balance = network(1.0, 1.0).strands_mol_g
    here = network(ratio, limiting_conversion(ratio)).strands_mol_g
    return max(TG_PER_CROSSLINK_K_G_MOL * (at_balance - here), 0.0)


def _check_ratio(ratio: float) -> None:
    if not (math.isfinite(ratio) and ratio > 0.0):
        raise ValueError(
            f"Hardener ratio {ratio} is not above 0. Give the hardener measured, divided by "
            "the hardener the label asks for (1 is right)."
        )
