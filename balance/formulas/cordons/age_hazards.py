"""The chance that a cordon fails in a winter, by its age, with what is not known of it: strength shared across ages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaln, expit, logit

from balance.formulas.errors import OutOfRange

#: Ages beyond this are not told apart.
MOST_AGE: Final = 100
MOST_CORDONS: Final = 10_000_000
#: Standard deviation of the prior of the slope: the odds of failing go with a power of the age, and that power lies
#: between -2 and 2 (95 %). Ours: common practice, no source.
SLOPE_SPREAD: Final = 1.0
#: By how much single ages may stray from the line, as a share of the hazard: uniform between 0 and 1, at midpoints.
_STRAYS: Final = (np.arange(8) + 0.5) / 8
#: Nodes of the grid along each axis, in standard deviations of the normal approximation.
_NODES: Final = np.linspace(-4.2, 4.2, 13)


@dataclass(frozen=True, eq=False)
class AgeHazards:
    """Draws of the hazard at each age from its posterior, and what they rest on.

    Attributes
    ----------
    draws : ndarray of float, shape (draws, ages)
        Probability of failing in one winter; one row is one possible truth, so that ages vary together.
    exposure, failures : ndarray of int, shape (ages,)
        Cordon-winters at risk at each age, and failures among them.
    """

    draws: NDArray[np.float64]
    exposure: NDArray[np.int64]
    failures: NDArray[np.int64]


def counts_by_age(name: str, counts: ArrayLike) -> NDArray[np.int64]:
    """Check counts by age.

    Raises
    ------
    OutOfRange
        There are ages beyond ``MOST_AGE``, or a count is no whole number from 0 to ``MOST_CORDONS``.
    """
    given = np.atleast_1d(np.asarray(counts, dtype=np.float64))
    if given.ndim != 1 or given.size > MOST_AGE + 1:
        raise OutOfRange(f"ages of {name}", given.size, 0, MOST_AGE + 1)
    whole = np.isfinite(given) & (given >= 0) & (given <= MOST_CORDONS) & (given == np.floor(given))
    if not whole.all():
        raise OutOfRange(name, float(given[~whole][0]), 0, MOST_CORDONS)
    return given.astype(np.int64)


def hazards_by_age(
    exposure: ArrayLike, failures: ArrayLike, ages: int, *, draws: int, generator: np.random.Generator
) -> AgeHazards | None:
    r"""Draw hazards by age from their posterior, given what was followed.

    Parameters
    ----------
    exposure, failures : array_like of int, shape (n,)
        At index a: cordons that went into a winter a whole years old, summed over the winters, and how many of them
        failed in it.
    ages : int
        How many ages are asked for, 1 to ``MOST_AGE`` + 1; ages that were never followed get hazards, too.
    draws : int
        How many rows are drawn.
    generator : numpy.random.Generator
        Seeded by the caller, so that the answer can be had again.

    Returns
    -------
    AgeHazards or None
        None where no cordon was followed over a winter.

    Raises
    ------
    OutOfRange
        Counts that cannot be, or more failures than cordons at risk.

    Notes
    -----
    Discrete-time hazards with a hierarchical beta-binomial model:

    .. math:: d_a \sim \mathrm{Bin}(n_a, h_a),\quad h_a \sim \mathrm{Beta}(s\,m_a, s\,(1-m_a)),\quad
              \mathrm{logit}\,m_a = b_0 + b_1 \left(\ln(a + 1) - c\right)

    c is the mean of ln(a + 1) over the exposure.  Priors: Jeffreys' Beta(1/2, 1/2) on the hazard there; b1 normal with
    standard deviation ``SLOPE_SPREAD``; the relative spread of single ages about the line, t, uniform between 0 and 1,
    with :math:`s = (1 - m)/(m t^2) - 1` at the pooled hazard m (at least 1).  The posterior of b0, b1 and t is summed
    on a grid; given these, each age's hazard is the conjugate Beta(s m + d, s (1 - m) + n - d).  So an age with much
    history speaks for itself, one with little is drawn towards the line, and one with none lies on the line within
    its spread.

    References
    ----------
    Singer and Willett, Applied Longitudinal Data Analysis (2003), chapters 10 to 12: discrete-time hazard (from
    memory).  Gelman et al., Bayesian Data Analysis (3rd ed.), section 5.3: hierarchical beta-binomial model on a grid
    (from memory).  Jeffreys' prior of a proportion: the same, section 2.8 (from memory).

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> found = hazards_by_age([400, 400], [8, 12], 3, draws=2000, generator=rng)
    >>> found.draws.shape, bool(0.015 < found.draws[:, 1].mean() < 0.035)
    ((2000, 3), True)
    >>> hazards_by_age([0, 0], [0, 0], 3, draws=2000, generator=rng) is None
    True
    """
    at_risk, failed = counts_by_age("exposure", exposure), counts_by_age("failures", failures)
    if at_risk.size != failed.size:
        raise OutOfRange("ages of failures", failed.size, at_risk.size, at_risk.size)
    if (failed > at_risk).any():
        raise OutOfRange("failures at one age", int(failed.max()), 0, "the exposure at that age")
    if not 1 <= ages <= MOST_AGE + 1:
        raise OutOfRange("ages", ages, 1, MOST_AGE + 1)
    if not at_risk.sum():
        return None
    size = max(ages, at_risk.size)
    at_risk, failed = (np.pad(each, (0, size - each.size)) for each in (at_risk, failed))
    lines, strengths, weights = _grid(at_risk, failed)
    # Systematic resampling: one random start, then equal steps through the weights.
    at = np.searchsorted(np.cumsum(weights), (np.arange(draws) + generator.random()) / draws)
    at = np.minimum(at, len(weights) - 1)
    centred = np.log1p(np.arange(size)) - _centre(at_risk)
    middle = np.clip(expit(lines[at, :1] + lines[at, 1:] * centred), 1e-12, 1 - 1e-12)
    strength = strengths[at, None]
    drawn = generator.beta(strength * middle + failed, strength * (1 - middle) + (at_risk - failed))
    return AgeHazards(generator.permutation(drawn, axis=0)[:, :ages], at_risk[:ages], failed[:ages])


def _centre(at_risk: NDArray[np.int64]) -> float:
    return float(np.log1p(np.arange(at_risk.size)) @ at_risk / at_risk.sum())


def _grid(
    at_risk: NDArray[np.int64], failed: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Give lines (b0, b1), strengths and their posterior weights, over a grid laid about the mode of each strength."""
    followed = np.flatnonzero(at_risk)
    n, d, x = at_risk[followed], failed[followed], np.log1p(followed) - _centre(at_risk)
    pooled = (d.sum() + 0.5) / (n.sum() + 1)
    first, second = (each.ravel() for each in np.meshgrid(_NODES, _NODES))
    lines, strengths, logs = [], [], []
    for stray in _STRAYS:
        strength = max((1 - pooled) / (pooled * stray**2) - 1, 1.0)
        mode, root = _normal_about(n, d, x, strength)
        line = mode + np.stack([first, second], axis=1) @ root.T
        middle = np.clip(expit(line[:, :1] + line[:, 1:] * x), 1e-12, 1 - 1e-12)
        alpha, beta = strength * middle, strength * (1 - middle)
        likelihood = (betaln(alpha + d, beta + n - d) - betaln(alpha, beta)).sum(axis=1)
        lines.append(line)
        strengths.append(np.full(len(line), strength))
        logs.append(likelihood + _log_prior(line) + np.log(np.abs(np.linalg.det(root))))
    log = np.concatenate(logs)
    weights = np.exp(log - log.max())
    return np.concatenate(lines), np.concatenate(strengths), weights / weights.sum()


def _log_prior(line: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the prior of lines on the logit scale: Jeffreys' at the mean age, a normal one for the slope."""
    at_centre = expit(line[:, 0])
    prior: NDArray[np.float64] = 0.5 * np.log(at_centre) + 0.5 * np.log1p(-at_centre)
    return prior - 0.5 * (line[:, 1] / SLOPE_SPREAD) ** 2


def _normal_about(
    n: NDArray[np.int64], d: NDArray[np.int64], x: NDArray[np.float64], strength: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Approximate the posterior of a line by Fisher scoring, the binomial variance widened by the spread of ages.

    Jeffreys' prior acts as half a failure in one winter at the centre.
    """
    weight = 1 / (1 + (n - 1) / (strength + 1))
    n_, d_, x_ = np.append(n * weight, 1.0), np.append(d * weight, 0.5), np.append(x, 0.0)
    design = np.stack([np.ones_like(x_), x_], axis=1)
    prior = np.diag([0.0, SLOPE_SPREAD**-2])
    line = np.array([logit(d_.sum() / n_.sum()), 0.0])
    information = prior
    for _ in range(25):
        middle = expit(design @ line)
        information = (design * (n_ * middle * (1 - middle))[:, None]).T @ design + prior
        step = np.linalg.solve(information, design.T @ (d_ - n_ * middle) - prior @ line)
        line = line + np.clip(step, -2.0, 2.0)
        if np.abs(step).max() < 1e-6:
            break
    root: NDArray[np.float64] = np.linalg.cholesky(np.linalg.inv(information)).astype(np.float64)
    return line.astype(np.float64), root
