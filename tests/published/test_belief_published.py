"""The belief against the outside world: survival-analysis software and worked tables."""

import math
import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.cure.belief import log_rate_quantiles, posterior
from monitor.core.cure.evidence import Evidence, ea_grid_of, evidence_of
from monitor.core.cure.likelihood import interval_log_likelihood, normal_cdf, smoothed
from monitor.core.vocabulary import Layer, Mark, ResinProfile, StageTime

INF = math.inf

# Breast cosmesis data, months to retraction: radiotherapy alone (46), and with
# chemotherapy (48). Recalled, then verified one to one against a public gist.
RT = (
    "0-7 0-8 0-5 4-11 5-12 5-11 6-10 7-16 7-14 11-15 11-18 15+ 17+ 17-25 17-25 18+ 19-35 18-26 "
    "22+ 24+ 24+ 25-37 26-40 27-34 32+ 33+ 34+ 36-44 36-48 36+ 36+ 37-44 37+ 37+ 37+ 38+ 40+ "
    "45+ 46+ 46+ 46+ 46+ 46+ 46+ 46+ 46+"
)
RT_CHEMO = (
    "0-22 0-5 4-9 4-8 5-8 8-12 8-21 10-35 10-17 11-13 11+ 11-17 11+ 11-20 12-20 13+ 13-39 13+ "
    "13+ 14-17 14-19 15-22 16-24 16-20 16-24 16-60 17-27 17-23 17-26 18-25 18-24 19-32 21+ "
    "22-32 23+ 24-31 24-30 30-34 30-36 31+ 32+ 32-40 34+ 34+ 35+ 35-39 44-48 48+"
)

# The table's error is 3e-8 a probability; 48 intervals of probability 0.05 or more lose
# 48 * 2 * 3e-8 / 0.05 = 6e-5 at the very worst, far less in practice.
LOG_LIKELIHOOD_TOLERANCE = 2e-5


def intervals(text):
    pairs = [
        (float(item[:-1]), INF) if item.endswith("+") else tuple(map(float, item.split("-")))
        for item in text.split()
    ]
    low, high = np.array(pairs).T
    return low, high


def profile(**changes):
    stages = {"tack_free": StageTime(8.0, "label")}
    return ResinProfile("r", "resin", "pour", 23.0, changes.pop("stages", stages), **changes)


def touched(lower_h, upper_h, layer_id=1):
    flat = np.ones(ea_grid_of(profile()).size)
    return Evidence(
        layer_id, "layer", "", "tack_free", "label", 8.0, 0.0, lower_h * flat, upper_h * flat
    )


@pytest.mark.parametrize(
    ("data", "mu", "sigma", "expected"),
    [
        # computed independently: lifelines 0.30.3, agreeing with scipy
        (RT, 3.74989, 1.30863, -64.586933),
        (RT_CHEMO, 3.08110, 0.63000, -76.383752),
    ],
)
def test_the_cosmesis_log_likelihood_is_the_one_on_record(data, mu, sigma, expected):
    low, high = intervals(data)

    # mu and sigma are given to five places; at a maximum that moves nothing visible
    assert interval_log_likelihood(low, high, mu, sigma) == pytest.approx(
        expected, abs=LOG_LIKELIHOOD_TOLERANCE
    )


def lifelines_fit(low, high):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own: division by an infinite upper bound
        from lifelines import LogNormalFitter

        return LogNormalFitter().fit_interval_censoring(low, high)


def lifelines_example(name):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from lifelines import datasets

        if name == "diabetes":
            frame = datasets.load_diabetes()
            low, high = frame["left"].to_numpy(float), frame["right"].to_numpy(float)
        else:  # the interval data of lifelines' own unit tests
            low = np.array([1, 8, 8, 7, 7, 17, 37, 46, 46, 45], dtype=float)
            high = np.array([7, 8, 10, 16, 14, INF, 44, INF, INF, INF], dtype=float)
    # an exactly known time is no interval: lifelines gives it a density, a finger never does
    return low[low < high], high[low < high]


@pytest.mark.parametrize("name", ["unit test", "diabetes"])
def test_our_likelihood_equals_lifelines_on_its_own_example_data(name):
    low, high = lifelines_example(name)
    fit = lifelines_fit(low, high)

    ours = interval_log_likelihood(low, high, fit.mu_, fit.sigma_)

    # 1e-6 of some hundreds: the same table error spread over more intervals
    assert ours == pytest.approx(fit.log_likelihood_, rel=1e-6)


@pytest.mark.parametrize("data", [RT, RT_CHEMO])
def test_no_neighbour_of_the_lifelines_maximum_is_likelier(data):
    low, high = intervals(data)
    fit = lifelines_fit(low, high)
    best = interval_log_likelihood(low, high, fit.mu_, fit.sigma_)

    for mu, sigma in [(0.05, 0), (-0.05, 0), (0, 0.05), (0, -0.05)]:
        assert interval_log_likelihood(low, high, fit.mu_ + mu, fit.sigma_ + sigma) < best


@given(st.floats(-50.0, 50.0))
def test_the_normal_distribution_function_agrees_with_the_c_library(z):
    assert float(normal_cdf(np.array(z))) == pytest.approx(
        0.5 * math.erfc(-z / math.sqrt(2.0)), abs=3e-8
    )


@pytest.mark.parametrize(
    ("lower_h", "upper_h", "finger", "mean", "sd", "slow", "median", "fast"),
    [
        # computed independently of this code (truncated and smeared normal, 8 h label)
        (6, 9, 0.05, 0.071145, 0.120727, 0.88967, 1.06948, 1.30964),
        (6, 9, 0.15, 0.060091, 0.162213, 0.81415, 1.06125, 1.38804),
        (10, 14, 0.15, -0.288244, 0.153235, 0.58121, 0.75059, 0.96231),
    ],
)
def test_one_pour_teaches_the_rate_of_the_worked_table(
    lower_h, upper_h, finger, mean, sd, slow, median, fast
):
    belief = posterior(
        profile(), [touched(lower_h, upper_h)], 0.0, finger_sd=finger, wrong_mark=0.0
    )

    # moments of smooth functions on a grid are exact to the table's last digit; quantiles
    # are straight lines inside a cell of 0.025, hence a thousandth
    assert belief.log_rate_mean == pytest.approx(mean, abs=1e-6)
    assert belief.log_rate_sd == pytest.approx(sd, abs=1e-6)
    assert np.exp(log_rate_quantiles(belief, [0.05, 0.5, 0.95])) == pytest.approx(
        [slow, median, fast], abs=1e-3
    )


@pytest.mark.parametrize(
    ("lower_h", "upper_h", "mean"),
    # closed form: N(0, 0.30) truncated to (ln 8/U, ln 8/L); same table
    [(6, 9, 0.072814), (10, 14, -0.353284), (2, 4, 0.795150), (12, INF, -0.544013)],
)
def test_a_finger_without_error_truncates_the_prior(lower_h, upper_h, mean):
    belief = posterior(profile(), [touched(lower_h, upper_h)], 0.0, finger_sd=0.0, wrong_mark=0.0)

    # a sharp edge falls inside a grid cell of 0.025: at most half of it is misplaced
    assert belief.log_rate_mean == pytest.approx(mean, abs=0.0125)


def test_three_pours_teach_the_rate_of_the_worked_table():
    pours = [touched(6, 9, 1), touched(7, 10, 2), touched(8, 12, 3)]

    belief = posterior(profile(), pours, 0.0, wrong_mark=0.0)

    # computed independently: mean -0.047784, sd 0.102599, median factor 0.95338
    assert belief.log_rate_mean == pytest.approx(-0.047784, abs=1e-6)
    assert belief.log_rate_sd == pytest.approx(0.102599, abs=1e-6)
    assert np.exp(log_rate_quantiles(belief, [0.5]))[0] == pytest.approx(0.95338, abs=1e-3)


def aged(at_s, temp_c, seen_s):
    layer = Layer(1, 1, "layer", profile(), 0.0)
    (item,) = evidence_of(layer, [Mark(1, 1, "tack_free", seen_s)], at_s, temp_c)
    return item.age_upper_h[ea_grid_of(profile()).size // 2]  # the middle of the grid: 55 kJ/mol


def test_a_mark_on_a_ramp_has_the_age_of_the_exact_integral():
    at_s = np.linspace(0.0, 36_000.0, 601)

    # 15 to 25 C in 10 h, 23 C, 55 kJ/mol: 8.136389 h, computed independently by quadrature;
    # the trapezoid over minutes errs by 1e-7 of it
    assert aged(at_s, 15.0 + at_s / 3600.0, 36_000.0) == pytest.approx(8.136389, abs=2e-6)


def test_a_mark_after_two_steps_has_the_age_of_the_worked_example():
    at_s = np.array([0.0, 36_000.0, 36_000.001, 200_000.0])
    temp_c = np.array([23.0, 23.0, 16.0, 16.0])

    # 10 h at 23 C, then 16 C: 24 h of age at 34.0420 h, computed independently
    assert aged(at_s, temp_c, 34.0420 * 3600.0) == pytest.approx(24.0, abs=1e-4)


@pytest.mark.parametrize("sd", [0.004, 0.015, 0.02, 0.05, 0.15])
def test_smoothing_adds_variances(sd):
    # a property of convolution, exact for normals; grid step 0.025
    x = np.linspace(-2.0, 2.0, 161)
    bell = np.exp(-0.5 * (x[:, None] / 0.2) ** 2)

    blurred = smoothed(bell, 0.025, sd)[:, 0]

    assert blurred @ x**2 / blurred.sum() == pytest.approx(0.04 + sd**2, rel=1e-4)
