"""Degree of cure of an epoxy-amine: how fast, how far, and how stiff.

Models: Kamal-Sourour rate da/dt = (k1 + k2 a^m)(a_max - a)^n; DiBenedetto glass transition;
WLF diffusion joined by Rabinowitch's 1/k = 1/k_chem + 1/k_diff; Castro-Macosko viscosity.

Sources: set A, an unfilled infusion epoxy, Thermochim. Acta, DOI 10.1016/j.tca.2015.11.014,
Table 5 (second-hand, as transcribed in an open-source process simulator); WLF constants,
J. Appl. Polym. Sci. 41 (1990) 2885 (second-hand; its 1/min is assumed). Set A's own printed
diffusion term belongs to a hot window and is not used: at 20 degC it would stop the reaction
in its first minute.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from monitor.core.physics.aging import GAS_CONSTANT_J_MOL_K, rate_factor
from monitor.core.physics.network import (
    gel_conversion as gel_conversion,
)
from monitor.core.physics.network import (
    glass_transition_loss_k as glass_transition_loss_k,
)
from monitor.core.physics.network import (
    limiting_conversion as limiting_conversion,
)
from monitor.core.vocabulary import FloatArray

ArrayLike = npt.ArrayLike

WLF_KD0_S = 30.64 / 60.0
WLF_C1 = 42.61
WLF_C2_K = 51.6

# Castro-Macosko exponents of amine-cured systems lie about 1..2 (from memory).
VISCOSITY_C1 = 1.5
VISCOSITY_C2 = 1.0


@dataclass(frozen=True)
class Kamal:
    """A published two-energy Kamal-Sourour set: `a1_s`, `a2_s` [1/s], `e1`, `e2` [J/mol]."""

    a1_s: float
    e1_j_mol: float
    a2_s: float
    e2_j_mol: float
    m: float
    n: float


SET_A = Kamal(35_982.0, 54_960.0, 3_574.1, 44_289.0, 0.39845, 1.5361)


@dataclass(frozen=True)
class CureLaw:
    """One resin's law of cure: rates [1/s] at `ref_k`, one activation energy.

    `alpha_max` is the conversion at which the scarcer part is used up. `diffusion_s` [1/s]
    is the mobility at T = Tg; infinite means no diffusion limit.
    """

    k1_s: float
    k2_s: float
    m: float
    n: float
    ea_j_mol: float
    ref_k: float
    tg0_k: float
    tg_inf_k: float
    tg_lambda: float
    alpha_max: float = 1.0
    diffusion_s: float = WLF_KD0_S
    wlf_c1: float = WLF_C1
    wlf_c2_k: float = WLF_C2_K


def chemical_rate(law: CureLaw, alpha: ArrayLike, temp_k: ArrayLike) -> FloatArray:
    """Rate of cure [1/s] without a diffusion limit; shapes broadcast; 0 at the ceiling."""
    return np.asarray(
        rate_factor(temp_k, law.ref_k, law.ea_j_mol) * speed(law, alpha) * room_left(law, alpha)
    )


def rate(law: CureLaw, alpha: ArrayLike, temp_k: ArrayLike) -> FloatArray:
    """Rate of cure [1/s] with diffusion: never above the chemical rate."""
    chemical_s = rate_factor(temp_k, law.ref_k, law.ea_j_mol) * speed(law, alpha)
    slowed_s = chemical_s / (1.0 + chemical_s / diffusion_speed(law, alpha, temp_k))
    return np.asarray(slowed_s * room_left(law, alpha))


def speed(law: CureLaw, alpha: ArrayLike) -> FloatArray:
    """k1 + k2 a^m at the reference temperature [1/s]."""
    held = np.clip(np.asarray(alpha, dtype=np.float64), 0.0, None)
    return np.asarray(law.k1_s + law.k2_s * held**law.m)


def room_left(law: CureLaw, alpha: ArrayLike) -> FloatArray:
    """(a_max - a)^n, 0 at and past the ceiling [-]."""
    left = np.maximum(law.alpha_max - np.asarray(alpha, dtype=np.float64), 0.0)
    return np.asarray(left**law.n)


def diffusion_speed(law: CureLaw, alpha: ArrayLike, temp_k: ArrayLike) -> FloatArray:
    """Diffusion's own rate constant [1/s]: kd0 exp[C1 (T - Tg)/(C2 + abs(T - Tg))]."""
    above_k = np.asarray(temp_k, dtype=np.float64) - glass_transition_k(law, alpha)
    if math.isinf(law.diffusion_s):
        return np.full_like(above_k, math.inf)
    exponent = law.wlf_c1 * above_k / (law.wlf_c2_k + np.abs(above_k))
    return np.asarray(law.diffusion_s * np.exp(exponent))


def glass_transition_k(law: CureLaw, alpha: ArrayLike) -> FloatArray:
    """Glass transition [K] at degree of cure `alpha` (DiBenedetto, Pascault-Williams form)."""
    conversion = np.asarray(alpha, dtype=np.float64)
    share = law.tg_lambda * conversion / (1.0 - (1.0 - law.tg_lambda) * conversion)
    return np.asarray(law.tg0_k + (law.tg_inf_k - law.tg0_k) * share)


def conversion_at_glass_transition(law: CureLaw, tg_k: ArrayLike) -> FloatArray:
    """Degree of cure at which the glass transition is `tg_k` [K]; held within 0..a_max."""
    share = (np.asarray(tg_k, dtype=np.float64) - law.tg0_k) / (law.tg_inf_k - law.tg0_k)
    held = np.clip(share, 0.0, 1.0)
    conversion = held / (law.tg_lambda + (1.0 - law.tg_lambda) * held)
    return np.asarray(np.minimum(conversion, law.alpha_max))


def relative_viscosity(alpha: ArrayLike, gel: float) -> FloatArray:
    """Viscosity over that of the fresh mix at one temperature [-]; infinite from gel on.

    Castro-Macosko (a_gel/(a_gel - a))^(c1 + c2 a), form and exponents from memory.
    """
    conversion = np.asarray(alpha, dtype=np.float64)
    left = np.maximum(gel - conversion, 0.0)
    with np.errstate(divide="ignore"):
        thickening = (gel / left) ** (VISCOSITY_C1 + VISCOSITY_C2 * conversion)
    return np.asarray(np.where(left > 0.0, thickening, math.inf))


def arrhenius(pre_exponential: float, energy_j_mol: float, temp_k: ArrayLike) -> FloatArray:
    """Rate constant A exp(-E/RT), in the unit of A."""
    temperature = np.asarray(temp_k, dtype=np.float64)
    return np.asarray(
        pre_exponential * np.exp(-energy_j_mol / (GAS_CONSTANT_J_MOL_K * temperature))
    )


def kamal_rate(kamal: Kamal, alpha: ArrayLike, temp_k: ArrayLike) -> FloatArray:
    """Rate [1/s] of a published two-energy set, without diffusion."""
    conversion = np.clip(np.asarray(alpha, dtype=np.float64), 0.0, 1.0)
    k1_s = arrhenius(kamal.a1_s, kamal.e1_j_mol, temp_k)
    k2_s = arrhenius(kamal.a2_s, kamal.e2_j_mol, temp_k)
    return np.asarray((k1_s + k2_s * conversion**kamal.m) * (1.0 - conversion) ** kamal.n)


def law_at(
    kamal: Kamal,
    temp_k: float,
    ea_j_mol: float,
    tg0_k: float,
    tg_inf_k: float,
    tg_lambda: float,
    time_scale: float = 1.0,
) -> CureLaw:
    """The one-energy law that keeps a published set's shape at `temp_k`, `time_scale` faster."""
    return CureLaw(
        k1_s=time_scale * float(arrhenius(kamal.a1_s, kamal.e1_j_mol, temp_k)),
        k2_s=time_scale * float(arrhenius(kamal.a2_s, kamal.e2_j_mol, temp_k)),
        m=kamal.m,
        n=kamal.n,
        ea_j_mol=ea_j_mol,
        ref_k=temp_k,
        tg0_k=tg0_k,
        tg_inf_k=tg_inf_k,
        tg_lambda=tg_lambda,
    )


def chern_poehlein_factor(
    steepness: float, alpha: ArrayLike, alpha_critical: ArrayLike
) -> FloatArray:
    """Diffusion factor 1/(1 + exp[C (a - a_c)]) of Chern and Poehlein [-]."""
    above = np.asarray(alpha, dtype=np.float64) - np.asarray(alpha_critical, dtype=np.float64)
    return np.asarray(1.0 / (1.0 + np.exp(steepness * above)))
