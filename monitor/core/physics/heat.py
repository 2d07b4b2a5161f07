"""Self-heating: transient conduction through a pour, one dimension, with reaction heat.

Model: a slab, well wider than deep, loses heat at top and bottom through surface
coefficients (Robin boundaries); dT/dt = k/(rho cp) d2T/dx2 + (H/cp) da/dt. A mixing cup is
the same with one cell (Semenov's uniform temperature). Properties are constant.

Method: equal finite volumes; conduction is exact over a step (matrix exponential), the
reaction's heat and the room are taken straight in time over it (exponential Runge-Kutta of
second order, Cox and Matthews 2002, from memory), so a thin film's quick relaxation does
not shorten the steps. The step follows the difference of first and second order.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from monitor.core.vocabulary import FloatArray

STEFAN_BOLTZMANN_W_M2_K4 = 5.670374e-8
SPECIFIC_HEAT_J_KG_K = 1_700.0  # unfilled epoxy, 1400..1900 (open-source material file)
CONDUCTIVITY_W_M_K = 0.20  # unfilled epoxy (open-source material file, materials tables)
EMISSIVITY = 0.92  # resin, paint, wood (from memory, 0.90..0.95)
GRAVITY_M_S2 = 9.81

RateLaw = Callable[[FloatArray, FloatArray], FloatArray]
RoomLaw = Callable[[float], float]

_FIRST_STEP_S = 1.0
_LONGEST_LEVEL = 28  # steps are _FIRST_STEP_S * 2**(level / 2): at most 4.6 h
_SHORTEST_LEVEL = -20
_CURE_WEIGHT_K = 100.0  # an error of 0.01 in cure weighs like 1 K


@dataclass(frozen=True)
class Slab:
    """A slab of resin, SI units. `bottom` and `top` are surface coefficients [W/m2K].

    One cell with infinite conductivity is a lumped mass of depth volume / surface.
    """

    depth_m: float
    bottom_w_m2_k: float
    top_w_m2_k: float
    heat_j_kg: float
    density_kg_m3: float = 1_150.0
    specific_heat_j_kg_k: float = SPECIFIC_HEAT_J_KG_K
    conductivity_w_m_k: float = CONDUCTIVITY_W_M_K
    cells: int = 24


@dataclass(frozen=True, eq=False)
class SlabRun:
    """History of a slab: `at_s` (n,) uneven; `temp_k`, `alpha` (n, cells), bottom first."""

    at_s: FloatArray
    temp_k: FloatArray
    alpha: FloatArray
    room_k: FloatArray

    @property
    def mean_k(self) -> FloatArray:
        """Mean temperature of the resin [K], (n,)."""
        return np.asarray(self.temp_k.mean(axis=1))

    def peak(self) -> tuple[float, float, float]:
        """Peak temperature [K], when [s], and at what share of the depth from below.

        A parabola through the three instants about the hottest gives value and time.
        """
        step, cell = np.unravel_index(int(np.argmax(self.temp_k)), self.temp_k.shape)
        share = (int(cell) + 0.5) / self.temp_k.shape[1]
        here = int(step)
        if here in (0, self.at_s.size - 1):
            return float(self.temp_k[here, cell]), float(self.at_s[here]), share
        t0, t1, t2 = (float(at) for at in self.at_s[here - 1 : here + 2])
        y0, y1, y2 = (float(temp) for temp in self.temp_k[here - 1 : here + 2, cell])
        rising, falling = (y1 - y0) / (t1 - t0), (y2 - y1) / (t2 - t1)
        bend = (falling - rising) / (t2 - t0)
        if bend >= 0.0:
            return y1, t1, share
        at = (t0 + t1) / 2.0 - rising / (2.0 * bend)
        return y0 + rising * (at - t0) + bend * (at - t0) * (at - t1), at, share


def heat_up(
    slab: Slab,
    rate: RateLaw,
    start_k: float,
    room_k: RoomLaw | float,
    duration_s: float,
    *,
    tolerance_k: float = 0.03,
    longest_step_s: float = math.inf,
    stop_above_k: float = math.inf,
    stop_at_alpha: float = math.inf,
) -> SlabRun:
    """Temperature and degree of cure through a slab poured at `start_k` with no cure yet.

    Parameters
    ----------
    rate
        da/dt [1/s] of (alpha, temp_k), each (cells,).
    room_k
        Room temperature [K]: constant, or a function of seconds since the pour.
    tolerance_k
        Largest difference of first and second order in a step (grows with the rise, since
        a runaway needs no tenth of a kelvin). 0.03 K gives benign peaks to 0.02 K.
    stop_above_k, stop_at_alpha
        End once any cell is hotter, or the mean cure is further, than this.

    Raises ValueError where a size or property is out of sense.
    """
    _check(slab, start_k, duration_s)
    room = room_k if callable(room_k) else _constant(room_k)
    steps = _Steps(slab)
    warming = slab.heat_j_kg / slab.specific_heat_j_kg_k
    base_k = room(0.0)
    at, level = 0.0, 0
    rise = np.full(slab.cells, start_k - base_k)
    alpha = np.zeros(slab.cells)
    speed = rate(alpha, base_k + rise)
    outside = base_k
    source = warming * speed
    history = [(at, base_k + rise, alpha, outside)]
    while at < duration_s * (1.0 - 1e-12):
        step_s = _FIRST_STEP_S * 2.0 ** (level / 2.0)
        matrices = None
        if step_s > min(longest_step_s, duration_s - at):
            step_s = min(longest_step_s, duration_s - at)
            matrices = steps.build(step_s)
        decay, first, second = matrices or steps.at_level(level)
        new_outside = room(at + step_s)
        # A room that changes evenly is exact, so it has no part in the error.
        drift = (outside - base_k) * (first @ steps.exchange)
        drift += (new_outside - outside) * (second @ steps.exchange)
        guess = decay @ rise + first @ source + drift
        guess_alpha = alpha + step_s * speed
        new_speed = rate(guess_alpha, base_k + guess)
        change = second @ (warming * new_speed - source)
        cured = 0.5 * step_s * (new_speed - speed)
        error_k = max(
            float(np.abs(change).max()),
            float(np.abs(cured).max()) * min(warming, _CURE_WEIGHT_K),
        )
        allowed_k = tolerance_k + 0.1 * tolerance_k * float(np.abs(rise).max())
        if error_k > 2.0 * allowed_k and level > _SHORTEST_LEVEL:
            level = max(min(level, _level_of(step_s)) - 2, _SHORTEST_LEVEL)
            continue
        at, outside = at + step_s, new_outside
        rise = guess + change
        alpha = np.minimum(np.maximum(guess_alpha + cured, alpha), 1.0)
        # The corrected state, not the guess, feeds the next step: half the error for one
        # more evaluation.
        speed = rate(alpha, base_k + rise)
        source = warming * speed
        history.append((at, base_k + rise, alpha, outside))
        if base_k + rise.max() > stop_above_k:
            break
        if stop_at_alpha < 1.0 and alpha.mean() > stop_at_alpha:
            break
        if error_k < 0.4 * allowed_k and level < _LONGEST_LEVEL:
            level += 1
        elif error_k > allowed_k and level > _SHORTEST_LEVEL:
            level -= 1
    times, temps, cures, rooms = zip(*history, strict=True)
    return SlabRun(np.array(times), np.array(temps), np.array(cures), np.array(rooms))


class _Steps:
    """exp(-A t) of one slab's conduction and its first two integrals, by length of step."""

    def __init__(self, slab: Slab) -> None:
        cells, width_m = slab.cells, slab.depth_m / slab.cells
        capacity = slab.density_kg_m3 * slab.specific_heat_j_kg_k * width_m
        inner = slab.conductivity_w_m_k / width_m
        matrix = np.zeros((cells, cells))
        for cell in range(cells - 1):
            matrix[cell : cell + 2, cell : cell + 2] += inner * np.array([[1.0, -1.0], [-1.0, 1.0]])
        edges = np.zeros(cells)
        for cell, surface in ((0, slab.bottom_w_m2_k), (cells - 1, slab.top_w_m2_k)):
            # Surface and half a cell in series.
            edges[cell] += surface / (1.0 + surface / (2.0 * inner))
        matrix += np.diag(edges)
        self.exchange = edges / capacity
        self._rates, self._modes = np.linalg.eigh(matrix / capacity)
        self._kept: dict[int, tuple[FloatArray, FloatArray, FloatArray]] = {}

    def at_level(self, level: int) -> tuple[FloatArray, FloatArray, FloatArray]:
        if level not in self._kept:
            self._kept[level] = self.build(_FIRST_STEP_S * 2.0 ** (level / 2.0))
        return self._kept[level]

    def build(self, step_s: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        z = np.maximum(self._rates, 0.0) * step_s
        safe = np.maximum(z, 1e-4)
        small = z < 1e-4  # there the quotients lose their digits; the series does not
        first = np.where(small, 1.0 - z / 2.0, -np.expm1(-safe) / safe)
        second = np.where(small, 0.5 - z / 6.0, (safe + np.expm1(-safe)) / safe**2)
        return (
            self._matrix(np.exp(-z)),
            self._matrix(step_s * first),
            self._matrix(step_s * second),
        )

    def _matrix(self, values: FloatArray) -> FloatArray:
        return np.asarray((self._modes * values) @ self._modes.T)


def natural_convection(
    warmer_k: float, air_k: float, length_m: float, facing: Literal["up", "down"] = "up"
) -> float:
    """Free convection of a warm horizontal plate [W/m2K]; `length_m` is area / perimeter.

    McAdams: Nu = 0.54 Ra^(1/4), above Ra 1e7 0.15 Ra^(1/3), facing up; 0.27 Ra^(1/4) down.
    Air at film temperature, 1 atm.
    """
    film_k = (warmer_k + air_k) / 2.0
    conductivity = 0.0257 * math.pow(film_k / 293.15, 0.82)
    viscosity = 1.516e-5 * math.pow(film_k / 293.15, 1.75)
    diffusivity = viscosity / 0.71
    rayleigh = (
        GRAVITY_M_S2 * abs(warmer_k - air_k) * length_m**3 / (film_k * viscosity * diffusivity)
    )
    return nusselt(rayleigh, facing) * conductivity / length_m


def nusselt(rayleigh: float, facing: Literal["up", "down"] = "up") -> float:
    """Nusselt number of a warm horizontal plate by McAdams [-]."""
    if facing == "down":
        return 0.27 * float(rayleigh**0.25)
    return 0.54 * float(rayleigh**0.25) if rayleigh < 1e7 else 0.15 * float(rayleigh ** (1.0 / 3.0))


def radiation(surface_k: float, room_k: float, emissivity: float = EMISSIVITY) -> float:
    """Linear coefficient of radiation between a surface and its room [W/m2K]."""
    squares = surface_k**2 + room_k**2
    return emissivity * STEFAN_BOLTZMANN_W_M2_K4 * squares * (surface_k + room_k)


def _constant(value_k: float) -> RoomLaw:
    return lambda _: value_k


def _level_of(step_s: float) -> int:
    return math.floor(2.0 * math.log2(step_s / _FIRST_STEP_S))


def _check(slab: Slab, start_k: float, duration_s: float) -> None:
    wanted = (
        ("Depth", slab.depth_m, "m"),
        ("Density", slab.density_kg_m3, "kg/m³"),
        ("Specific heat", slab.specific_heat_j_kg_k, "J/kgK"),
        ("Conductivity", slab.conductivity_w_m_k, "W/mK"),
        ("Starting temperature", start_k, "K"),
        ("Duration", duration_s, "s"),
        ("Number of cells", slab.cells, ""),
    )
    for name, value, unit in wanted:
        if not value > 0.0:
            raise ValueError(f"{name} is {value:g} {unit}".strip() + "; expected above 0.")
    for name, value in (("bottom", slab.bottom_w_m2_k), ("top", slab.top_w_m2_k)):
        if not value >= 0.0:
            raise ValueError(f"Surface coefficient of the {name} is {value:g}; expected 0 or more.")
