"""The steps from the spread of a block to a number of vines, and from weights to a mean with its interval."""

from __future__ import annotations

import math

from balance.formulas.counting import counted
from balance.formulas.methods import Working
from balance.formulas.samples.sample_estimate import MeanEstimate, Progress
from balance.formulas.samples.sample_size import SampleSize, quantile_of
from balance.formulas.targets.explanation import plain


def size_steps(
    size: SampleSize,
    wanted: tuple[float | None, float],
    variation: float,
    population: int | None,
    source: str,
) -> list[Working]:
    """Give the steps to a sample size, or from a size that was given to the error to expect.

    Parameters
    ----------
    size : SampleSize
    wanted : tuple of float
        Error and confidence [%]; no error where the size was given.
    variation : float
        Coefficient of variation of single vines [%].
    population : int or None
        Vines that stand; None: not said [vines].
    source : str
        Where the variation comes from, as a sentence.

    Returns
    -------
    list of Working

    Examples
    --------
    >>> from balance.formulas.samples.sample_size import vines_needed
    >>> for step in size_steps(vines_needed(10, 95, 35, 352), (10, 95), 35, 352, "The default."):
    ...     print(step.sentence, step.calculation)
    The default. CV = 35 %
    In a block without end 50 vines would do. (2.01 × 35 ÷ 10)² = 49.5
    Of 352 vines it takes 44. n0 = (2.017 × 35 ÷ 10)² = 49.8; 49.8 ÷ (1 + 49.8 ÷ 352) = 43.6
    So many vines give the mean to ±10 % at 95 % confidence. 2.017 × 35 × √(1/44 − 1/352) = 10
    """
    error, confidence = wanted
    spread = plain(variation, 2)
    steps = [Working("spread of single vines", source, f"CV = {spread} %", variation, "%")]
    if error is not None and size.without_correction > 1:
        steps.append(_endless(size.without_correction, error, confidence, variation))
    if error is not None and population is not None and size.vines > 1:
        steps.append(_corrected(size, error, variation, population))
    if math.isfinite(size.expected_error):
        reached = plain(size.expected_error, 1)
        beyond = f"√(1/{size.vines}{f' − 1/{population}' if population else ''})"
        steps.append(
            Working(
                "error to expect",
                f"So many vines give the mean to ±{reached} % at {plain(confidence)} % confidence.",
                f"{plain(size.quantile, 3)} × {spread} × {beyond} = {reached}",
                size.expected_error,
                "%",
            )
        )
    return steps


def _endless(vines: int, error: float, confidence: float, variation: float) -> Working:
    quantile = quantile_of(max(2, vines), confidence)
    raw = (quantile * variation / error) ** 2
    return Working(
        "vines without the finite correction",
        f"In a block without end {counted(f'{vines:,}', 'vine')} would do.",
        f"({plain(quantile, 3)} × {plain(variation, 2)} ÷ {plain(error)})² = {plain(raw, 1)}",
        vines,
        "{vine}",
    )


def _corrected(size: SampleSize, error: float, variation: float, population: int) -> Working:
    raw = (size.quantile * variation / error) ** 2
    told = plain(raw, 1)
    return Working(
        "finite correction",
        f"Of {counted(f'{population:,}', 'vine')} it takes {size.vines:,}.",
        f"n0 = ({plain(size.quantile, 3)} × {plain(variation, 2)} ÷ {plain(error)})² = {told}; "
        f"{told} ÷ (1 + {told} ÷ {population}) = {plain(raw / (1 + raw / population), 1)}",
        size.vines,
        "{vine}",
    )


def estimate_steps(estimate: MeanEstimate, confidence: float, unit: str, scale: float = 1.0) -> list[Working]:
    """Give the steps to a mean with its interval.

    Parameters
    ----------
    estimate : MeanEstimate
    confidence : float
        [%]
    unit : str
        UCUM code of the figures shown.
    scale : float
        One unit of the estimate in the unit shown.

    Returns
    -------
    list of Working

    Examples
    --------
    >>> from balance.formulas.samples.sample_estimate import estimate_mean
    >>> estimate_steps(estimate_mean([2.0, 3.0, 4.0], 95, 12), 95, "kg")[1].calculation
    '4.303 × 1 × √(1/3 − 1/12) = 2.1513'
    """
    if estimate.mean is None:
        return []
    mean = estimate.mean * scale
    steps = [
        Working(
            "mean",
            f"{counted(f'{estimate.n:,}', 'vine was', 'vines were')} weighed.",
            f"sum ÷ {estimate.n} = {plain(mean)}",
            mean,
            unit,
        )
    ]
    if estimate.half_width is None or estimate.standard_deviation is None:
        return steps
    half, quantile = estimate.half_width * scale, quantile_of(max(2, estimate.n), confidence)
    told, deviation = plain(quantile, 3), plain(estimate.standard_deviation * scale)
    steps.append(
        Working(
            "half the interval",
            f"t of Student with {counted(estimate.n - 1, 'degree')} of freedom at {plain(confidence)} % is {told}; "
            f"of {counted(f'{estimate.population:,}', 'vine')} {estimate.n:,} are known.",
            f"{told} × {deviation} × √(1/{estimate.n} − 1/{estimate.population}) = {plain(half)}",
            half,
            unit,
        )
    )
    return steps


def progress_step(progress: Progress, variation: float, error: float) -> list[Working]:
    """Give the step from a spread to the vines that are still to weigh; none where nothing can be said.

    Examples
    --------
    >>> progress_step(Progress(False, 25, 21), 26.15, 10)[0].sentence
    'At a spread of 26.15 % it takes 25 vines for ±10 %: 21 more.'
    """
    if progress.needed is None or progress.more is None:
        return []
    vines = counted(f"{progress.needed:,}", "vine")
    said = f"At a spread of {plain(variation, 2)} % it takes {vines} for ±{plain(error)} %: "
    rest = f"{progress.more:,} more." if progress.more else "enough are weighed."
    weighed = progress.needed - progress.more
    sum_ = f"{progress.needed} − {weighed} = {progress.more}" if progress.more else ""
    return [Working("vines still to weigh", said + rest, sum_, progress.more, "{vine}")]
