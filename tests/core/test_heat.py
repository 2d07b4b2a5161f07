"""What the heat solver keeps, whatever it is given."""

from __future__ import annotations

import math

import numpy as np
import pytest

from monitor.core.physics.heat import Slab, heat_up
from monitor.core.physics.kinetics import SET_A, kamal_rate
from monitor.core.vocabulary import FloatArray


def set_a(alpha: FloatArray, temp_k: FloatArray) -> FloatArray:
    return kamal_rate(SET_A, alpha, temp_k)


def swinging_room(at_s: float) -> float:
    return 295.0 + 2.0 * math.sin(2.0 * math.pi * at_s / 86_400.0)


@pytest.mark.parametrize("depth_mm", [3.0, 6.0, 10.0, 20.0])
def test_heat_released_is_heat_kept_plus_heat_lost(depth_mm: float) -> None:
    slab = Slab(depth_mm / 1000.0, 4.0, 10.0, 446_000.0)
    run = heat_up(slab, set_a, 298.0, swinging_room, 8 * 3600.0, longest_step_s=30.0)
    half_m = slab.depth_m / slab.cells / 2.0
    lost = np.zeros(run.at_s.size)
    for cell, surface in ((0, slab.bottom_w_m2_k), (-1, slab.top_w_m2_k)):
        through = 1.0 / (1.0 / surface + half_m / slab.conductivity_w_m_k)
        lost += through * (run.temp_k[:, cell] - run.room_k)
    out_j = float(np.sum((lost[1:] + lost[:-1]) / 2.0 * np.diff(run.at_s)))
    mass = slab.density_kg_m3 * slab.depth_m
    kept_j = mass * slab.specific_heat_j_kg_k * float(run.mean_k[-1] - run.mean_k[0])
    released_j = mass * slab.heat_j_kg * float(run.alpha[-1].mean())
    assert kept_j + out_j == pytest.approx(released_j, rel=1e-3)


def test_conversion_never_falls_nor_passes_one_even_in_a_runaway() -> None:
    run = heat_up(Slab(0.04, 4.0, 10.0, 446_000.0), set_a, 303.0, 296.0, 72 * 3600.0)
    assert np.all(np.diff(run.alpha, axis=0) >= 0.0)
    assert run.alpha.max() <= 1.0
    assert np.all(np.isfinite(run.temp_k))


def test_a_pour_of_no_heat_follows_its_room() -> None:
    run = heat_up(Slab(0.001, 4.0, 10.0, 0.0), set_a, 295.0, swinging_room, 86_400.0)
    # A 1 mm film lags by 140 s: 2 K swing x 2 pi x 140 / 86400 = 0.02 K.
    assert np.abs(run.mean_k - run.room_k).max() < 0.03


def test_a_warm_mix_peaks_sooner() -> None:
    slab = Slab(0.02, 5.0, 10.0, 446_000.0)
    cool = heat_up(slab, set_a, 296.15, 296.15, 6 * 3600.0).peak()
    warm = heat_up(slab, set_a, 303.15, 296.15, 6 * 3600.0).peak()
    # Poured at 30 into 23 degC the peak comes 20 min earlier (computed independently).
    assert (cool[1] - warm[1]) / 60.0 == pytest.approx(20.0, abs=1.5)


def test_more_steps_and_cells_change_a_benign_peak_by_less_than_a_twentieth_kelvin() -> None:
    peaks = [
        heat_up(
            Slab(0.006, 5.0, 10.0, 446_000.0, cells=cells),
            set_a,
            296.15,
            296.15,
            6 * 3600.0,
            tolerance_k=tolerance_k,
        ).peak()[0]
        for cells, tolerance_k in ((16, 0.03), (80, 0.003))
    ]
    assert peaks[0] == pytest.approx(peaks[1], abs=0.05)


@pytest.mark.parametrize("depth_m", [0.0, -0.01, math.nan])
def test_a_depth_that_is_none_is_refused_in_words(depth_m: float) -> None:
    with pytest.raises(ValueError, match=r"Depth is .* expected above 0"):
        heat_up(Slab(depth_m, 5.0, 10.0, 446_000.0), set_a, 296.0, 296.0, 3600.0)


def test_a_negative_surface_coefficient_is_refused() -> None:
    with pytest.raises(ValueError, match="Surface coefficient of the top"):
        heat_up(Slab(0.01, 5.0, -1.0, 446_000.0), set_a, 296.0, 296.0, 3600.0)
