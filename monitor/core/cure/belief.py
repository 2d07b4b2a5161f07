"""What a resin has taught us: marks -> posterior of its rate and activation energy.

Unknown are x = ln(true speed / label speed) at the reference temperature and the
activation energy Ea, on a grid. Before any mark they are what the label allows:
x ~ N(0, 0.30), Ea ~ N(profile). All widths are common practice, no published source:

- finger: one judgement errs by 0.15 on the log scale, of which 0.10 is common to all
  judgements of one layer (the same hand, the same light, the same cup);
- wrong mark: one interval in thirty says nothing at all (wrong layer, wrong button), so
  its likelihood is a mixture, and no single mark can drag the rate away;
- bottle: bottles of one resin differ by 0.08, so layers of one batch teach each other
  more than layers of another;
- ageing: a bottle's rate wanders by 0.01 per root month, so old marks slowly fade;
- default stages: a time that the label does not state is itself uncertain by 0.25, the
  same for every layer, however many marks speak of it.

The tree (resin -> bottle -> wandering bottle -> layer -> mark) is summed exactly on the
grid by passing messages (a hidden Markov model), so the update is a few milliseconds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from monitor.core.cure.durations import spoken_hours
from monitor.core.cure.evidence import Evidence, beyond_label, ea_grid_of
from monitor.core.cure.likelihood import FLOOR, interval_probability, normal_cdf, smoothed
from monitor.core.vocabulary import FloatArray, RateDraws, ResinProfile

PRIOR_SD = 0.30
FINGER_SD = 0.15
SHARED_FINGER_SD = 0.10
WRONG_MARK = 0.03
WRONG_MARK_SD = 1.0
BATCH_SD = 0.08
AGEING_SD_PER_ROOT_MONTH = 0.01
DEFAULT_STAGE_SD = 0.25
LOW_EVIDENCE = 0.01

_X_STEP = 0.025
_X: FloatArray = np.linspace(-2.0, 2.0, 161)
_MONTH_S = 30.44 * 86_400.0
_SILENT_BEYOND = 3.0 * float(np.hypot(PRIOR_SD, FINGER_SD))  # one chance in 700

_FELT_STEP_MIN = 5  # a finger is no finer
# As the page names the stages.
_EVENT_WORDS: Mapping[str, str] = {
    "tape_window_open": "Tape may come off",
    "tape_window_close": "Tape window closes",
    "recoat_window_open": "Recoat window opens",
    "tack_free": "Tack-free",
    "sandable": "Sandable",
    "working_time_end": "Working time ends",
    "handling_set": "Handling set",
}


class BeliefError(ValueError):
    """Evidence that cannot be weighed: what it is, and what to do."""


@dataclass(frozen=True)
class Belief:
    """A resin's posterior, for the bottle named by `batch`.

    `weight` (len(x_grid), len(ea_grid)) sums to one over the grid of log rates and of
    activation energies [J/mol]. `log_rate` 0 is the label's speed, ln 2 twice as fast.
    """

    x_grid: FloatArray
    ea_grid: FloatArray
    weight: FloatArray
    log_rate_mean: float
    log_rate_sd: float
    ea_mean_j_mol: float
    ea_sd_j_mol: float
    batch: str
    layers_learned: int
    why: str
    evidence: tuple[Evidence, ...] = ()
    finger_sd: float = FINGER_SD
    wrong_mark: float = WRONG_MARK


@dataclass(frozen=True)
class Explanation:
    """What one layer taught, so that a person can judge its marks.

    `fits_label` is False where label and layer contradict each other (less than one
    chance in a hundred); `fits` is False where the layer stands apart from what all
    marks together say: a mark of `mark_ids` is then worth setting aside. `words` has a line
    for each stage.
    """

    layer_id: int
    words: str
    fits: bool
    fits_label: bool
    mark_ids: tuple[int, ...]


def posterior(
    profile: ResinProfile,
    evidence: Sequence[Evidence],
    now_s: float,
    *,
    batch: str | None = None,
    since_s: float | None = None,
    finger_sd: float = FINGER_SD,
    wrong_mark: float = WRONG_MARK,
) -> Belief:
    """Belief about a bottle of this resin, now, from the evidence of its layers.

    Parameters
    ----------
    evidence
        From `evidence_of`, of layers of this resin only, on `ea_grid_of(profile)`.
        Evidence later than `now_s` does not count yet.
    batch
        The bottle asked about; None means the one of the latest evidence.
    since_s
        A reset: evidence from before this time does not count.
    finger_sd, wrong_mark
        Error of one judgement (log scale), and the share of marks that say nothing.

    Raises
    ------
    BeliefError
        The evidence lies on another grid of activation energies.
    """
    ea_grid = ea_grid_of(profile)
    counted = _counted(evidence, ea_grid, now_s, since_s)
    bottle = batch if batch is not None else (counted[-1].batch if counted else "")

    resin = _prior(profile, ea_grid)
    for event in {item.event for item in counted if item.basis == "default"}:
        pooled = np.ones_like(resin)
        for item in counted:
            if item.event == event and item.basis == "default":
                pooled = _scaled(pooled * _mixture(item, ea_grid, finger_sd, wrong_mark))
        resin = _scaled(resin * (_blur(pooled, DEFAULT_STAGE_SD)))

    stated = [item for item in counted if item.basis != "default"]
    for name in {item.batch for item in stated} - {bottle}:
        layers = _layers([item for item in stated if item.batch == name])
        message, later_s = np.ones_like(resin), layers[-1][0]
        for at_s, items in reversed(layers):
            message = _aged(message, later_s - at_s)
            message = _scaled(message * _layer_likelihood(items, ea_grid, finger_sd, wrong_mark))
            later_s = at_s
        resin = _scaled(resin * (_blur(message, BATCH_SD)))

    state = _blur(resin, BATCH_SD)
    earlier_s = None
    for at_s, items in _layers([item for item in stated if item.batch == bottle]):
        state = _aged(state, 0.0 if earlier_s is None else at_s - earlier_s)
        state = _scaled(state * _layer_likelihood(items, ea_grid, finger_sd, wrong_mark))
        earlier_s = at_s
    state = _aged(state, 0.0 if earlier_s is None else now_s - earlier_s)

    weight = state / state.sum()
    rate, energy = weight.sum(axis=1), weight.sum(axis=0)
    mean, ea_mean = float(rate @ _X), float(energy @ ea_grid)
    learned = len({item.layer_id for item in counted})
    fresh = learned > 0 and all(item.batch != bottle for item in counted)
    return Belief(
        x_grid=_X,
        ea_grid=ea_grid,
        weight=weight,
        log_rate_mean=mean,
        log_rate_sd=float(np.sqrt(rate @ (_X - mean) ** 2)),
        ea_mean_j_mol=ea_mean,
        ea_sd_j_mol=float(np.sqrt(energy @ (ea_grid - ea_mean) ** 2)),
        batch=bottle,
        layers_learned=learned,
        why=_why(rate, learned, fresh),
        evidence=tuple(counted),
        finger_sd=finger_sd,
        wrong_mark=wrong_mark,
    )


def log_rate_quantiles(belief: Belief, levels: Sequence[float]) -> FloatArray:
    """Quantiles of ln(true speed / label speed) at the reference temperature."""
    return _quantiles(belief.weight.sum(axis=1), np.asarray(levels, dtype=np.float64))


def draws(belief: Belief, paths: int = 200, seed: int = 0) -> RateDraws:
    """Evenly spread joint draws of log rate and activation energy, shapes (paths,).

    The log rates are one from each of `paths` equally likely strata, in random order,
    so that a band of a few hundred paths has little noise of its own.
    """
    if paths < 1:
        raise BeliefError(f"Draws asked for: {paths}. Ask for at least one.")
    random = np.random.default_rng(seed)
    rate = belief.weight.sum(axis=1)
    level = (np.arange(paths) + random.random(paths)) / paths
    log_rate = _quantiles(rate, level)

    cell = np.clip(np.rint((log_rate - _X[0]) / _X_STEP).astype(np.intp), 0, _X.size - 1)
    share = np.cumsum(belief.weight[cell], axis=1)
    golden = (np.arange(paths) * 0.6180339887498949 + random.random()) % 1.0
    column = np.sum(share < (golden * share[:, -1])[:, None], axis=1)
    ea_step = belief.ea_grid[1] - belief.ea_grid[0]
    energy = belief.ea_grid[column] + ea_step * (random.random(paths) - 0.5)

    order = random.permutation(paths)
    return RateDraws(
        log_rate=log_rate[order],
        ea_j_mol=np.maximum(energy[order], 0.0),
        layers_learned=belief.layers_learned,
        why=belief.why,
    )


def explain(belief: Belief) -> tuple[Explanation, ...]:
    """One explanation per layer that taught something, in the order of the marks."""
    return tuple(
        _explanation(belief, [item for item in belief.evidence if item.layer_id == layer_id])
        for layer_id in dict.fromkeys(item.layer_id for item in belief.evidence)
    )


def _explanation(belief: Belief, items: Sequence[Evidence]) -> Explanation:
    words, fits, fits_label = [], True, True
    for item in items:
        sentence = _interval_words(item, belief)
        if item.contradictory:
            sentence += "; its marks contradict each other, so only the outer ones count"
        if _label_chance(item, belief) < LOW_EVIDENCE:
            fits_label = False
            sentence += "; does not fit this label"
        if belief.layers_learned > 1 and _chance_wrong(item, belief) > 0.5:
            fits = False
            sentence += "; stands apart from the other layers, so it hardly counts"
        words.append(sentence + ".")
    marks = sorted({mark for item in items for mark in item.mark_ids})
    return Explanation(
        layer_id=items[0].layer_id,
        words="\n".join(words),
        fits=fits,
        fits_label=fits_label,
        mark_ids=tuple(marks),
    )


def _interval_words(item: Evidence, belief: Belief) -> str:
    middle = int(np.argmax(belief.weight.sum(axis=0)))
    label_h = item.label_h or item.label_age_h
    per_age = label_h / item.label_age_h
    low, high = (float(age[middle]) * per_age for age in (item.age_lower_h, item.age_upper_h))
    after = spoken_hours(low, _FELT_STEP_MIN)
    by = spoken_hours(high, _FELT_STEP_MIN) if np.isfinite(high) else ""
    said = "nothing certain"
    if low > 0.0 and by:
        said = f"between {after} and {by}"
    elif by:
        said = f"by {by}"
    elif low > 0.0:
        said = f"after more than {after}"
    source = "common practice says" if item.basis == "default" else "the label says"
    return f"{_EVENT_WORDS.get(item.event, item.event)}: {said}, {source} {spoken_hours(label_h)}"


def _label_chance(item: Evidence, belief: Belief) -> float:
    """The smaller tail of the label's own prediction on the far side of the interval."""
    middle = belief.ea_grid.size // 2
    stage_sd = DEFAULT_STAGE_SD if item.basis == "default" else 0.0
    sd = float(np.sqrt(PRIOR_SD**2 + belief.finger_sd**2 + stage_sd**2))
    low, high = beyond_label(item)
    reached = float(normal_cdf(high[middle] / sd))
    not_yet = float(normal_cdf(-low[middle] / sd))
    return min(reached, not_yet)


def _chance_wrong(item: Evidence, belief: Belief) -> float:
    """Posterior chance that this interval is one of the marks that say nothing."""
    mixture = _mixture(item, belief.ea_grid, belief.finger_sd, belief.wrong_mark)
    said_nothing = belief.wrong_mark * _chance_of_a_stray(item)
    return float(np.sum(belief.weight * said_nothing / np.maximum(mixture, FLOOR)))


def _counted(
    evidence: Sequence[Evidence], ea_grid: FloatArray, now_s: float, since_s: float | None
) -> list[Evidence]:
    for item in evidence:
        if item.age_lower_h.shape != ea_grid.shape or item.age_upper_h.shape != ea_grid.shape:
            raise BeliefError(
                f"Evidence of layer {item.layer_id} lies on {item.age_lower_h.size} activation "
                f"energies, not on the {ea_grid.size} of its resin. Gather it anew."
            )
    counted = [
        item
        for item in evidence
        if item.at_s <= now_s
        and (since_s is None or item.at_s >= since_s)
        and item.label_age_h > 0.0
        and not _silent(item)
    ]
    return sorted(counted, key=lambda item: (item.at_s, item.layer_id))


def _silent(item: Evidence) -> bool:
    """Whether the interval is so wide that no likely rate could fall outside it."""
    low, high = beyond_label(item)
    return bool(np.all(low < -_SILENT_BEYOND) and np.all(high > _SILENT_BEYOND))


def _layers(items: Sequence[Evidence]) -> list[tuple[float, list[Evidence]]]:
    """Evidence of one bottle by layer, in the order of each layer's latest mark."""
    ordered = sorted(items, key=lambda item: item.layer_id)
    layers = [list(group) for _, group in groupby(ordered, key=lambda item: item.layer_id)]
    timed = [(max(item.at_s for item in group), group) for group in layers]
    return sorted(timed, key=lambda layer: layer[0])


def _prior(profile: ResinProfile, ea_grid: FloatArray) -> FloatArray:
    """Prior of (mean log rate of the resin's bottles, activation energy)."""
    rate = np.exp(-0.5 * _X**2 / (PRIOR_SD**2 - BATCH_SD**2))
    spread = max(profile.ea_sd_j_mol, 1.0)
    return np.outer(rate, np.exp(-0.5 * ((ea_grid - profile.ea_j_mol) / spread) ** 2))


def _layer_likelihood(
    items: Sequence[Evidence], ea_grid: FloatArray, finger_sd: float, wrong_mark: float
) -> FloatArray:
    """Likelihood of one layer's marks over the grid, summed over its shared error."""
    if len(items) == 1:  # one judgement: its whole error is in the likelihood already
        return _mixture(items[0], ea_grid, finger_sd, wrong_mark)
    shared = finger_sd * SHARED_FINGER_SD / FINGER_SD
    own = float(np.sqrt(finger_sd**2 - shared**2))
    product = np.ones((_X.size, ea_grid.size))
    for item in items:
        product = np.maximum(product * _mixture(item, ea_grid, own, wrong_mark), FLOOR)
    return _blur(product, shared)


def _mixture(
    item: Evidence, ea_grid: FloatArray, finger_sd: float, wrong_mark: float
) -> FloatArray:
    """Likelihood of one interval over the grid: an honest mark, or one that says nothing."""
    low, high = beyond_label(item)
    honest = interval_probability(low, high, -_X[:, None], finger_sd)
    mixture: FloatArray = (1.0 - wrong_mark) * honest + wrong_mark * _chance_of_a_stray(item)
    return np.maximum(mixture, FLOOR)


def _chance_of_a_stray(item: Evidence) -> float:
    """Chance of this interval from a mark that knows nothing of the resin's rate."""
    low, high = beyond_label(item)
    middle = low.size // 2
    return float(interval_probability(low[middle], high[middle], 0.0, WRONG_MARK_SD))


def _blur(state: FloatArray, sd: float) -> FloatArray:
    return smoothed(state, _X_STEP, sd)


def _aged(state: FloatArray, elapsed_s: float) -> FloatArray:
    months = max(elapsed_s, 0.0) / _MONTH_S
    return _blur(state, AGEING_SD_PER_ROOT_MONTH * float(np.sqrt(months)))


def _scaled(state: FloatArray) -> FloatArray:
    """Kept near one, so that the product of hundreds of layers stays a number."""
    scaled: FloatArray = state / state.max()
    return scaled


def _quantiles(rate: FloatArray, levels: FloatArray) -> FloatArray:
    edges = np.append(_X - 0.5 * _X_STEP, _X[-1] + 0.5 * _X_STEP)
    summed = np.append(0.0, np.cumsum(rate))
    quantiles: FloatArray = np.interp(levels, summed / summed[-1], edges)
    return quantiles


def _why(rate: FloatArray, learned: int, fresh_bottle: bool) -> str:
    if learned == 0:
        return "No marks yet: the band is wide because the label is all there is."
    slow, middle, fast = (float(np.exp(q)) for q in _quantiles(rate, np.array([0.1, 0.5, 0.9])))
    layers = "Your one marked layer" if learned == 1 else f"Your last {learned} layers"
    pace = _pace(middle)
    told = "ran at the label's pace" if pace is None else f"ran {pace} than the label"
    span = f"{_pace(slow) or 'level'} to {_pace(fast) or 'level'}"
    bottle = " This bottle has no marks of its own yet." if fresh_bottle else ""
    return f"{layers} {told} (8 times in 10: {span}).{bottle}"


def _pace(speed: float) -> str | None:
    """`18 % slower`, or None where the difference rounds to nothing."""
    per_cent = round(abs(100.0 * (speed - 1.0)))
    if per_cent == 0:
        return None
    return f"{per_cent} % {'slower' if speed < 1.0 else 'faster'}"
