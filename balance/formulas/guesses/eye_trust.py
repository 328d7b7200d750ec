"""Whether a pruner's eye can stand in for the scale, and how many more weighings it takes to tell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from balance.formulas.errors import OutOfRange
from balance.formulas.guesses.agreement_factors import LIMITS, bias_margin, limit_factors, spread_factors
from balance.formulas.guesses.calibration import CONFIDENCE, FEWEST_PAIRS, Agreement
from balance.formulas.methods import NO_SOURCE, Method
from balance.formulas.searching import smallest_enough

TRUSTED: Final = "trusted"
NOT_TRUSTED: Final = "not_trusted"
OPEN: Final = "cannot_tell_yet"
VERDICTS: Final = (TRUSTED, NOT_TRUSTED, OPEN)
#: Count the first 20 vines, then one now and then: Westover, Wines & Vines, May 2016 (READ), of counting nodes.  That
#: guesses of weight are held to as many is ours.
FEWEST_FOR_TRUST: Final = 20
#: More weighings than this are not asked of anybody.
MOST_ASKED: Final = 10_000
#: The bias known to half the tolerance, the spread to a quarter of itself: ours.
BIAS_WITHIN: Final = 0.5
SPREAD_WITHIN: Final = 0.25
_DIGITS: Final = 9

TRUST: Final = Method(
    "eye-for-the-scale",
    1,
    "Whether the eye can stand in for the scale",
    "trusted where both limits of agreement surely lie inside ± tolerance, from 20 weighings on; not trusted where one "
    "of them surely lies outside",
    "Common practice, no source: a criterion of this service. Its 20 weighings follow Westover, Wines & Vines, May "
    "2016, who has a pruner count the first 20 vines",
    NO_SOURCE,
    "'Surely' is with the confidence of the intervals. The tolerance is yours. A pruner who is trusted still weighs a "
    "vine now and then: the eye drifts.",
)


@dataclass(frozen=True)
class Trust:
    """What the weighings say of a pruner's eye.

    Attributes
    ----------
    verdict : str or None
        ``trusted``, ``not_trusted`` or ``cannot_tell_yet``; None below three pairs.
    tolerance : float
        In the unit of the agreement.
    settled_at : int or None
        Pairs at which it can be told if bias and spread stay as they are; None where they stand at the tolerance
        itself, or below three pairs.
    more : int or None
        How many more weighings that is.
    once_corrected : bool
        Whether the eye would be trusted if the pruner allowed for the bias.
    """

    verdict: str | None
    tolerance: float
    settled_at: int | None
    more: int | None
    once_corrected: bool


@dataclass(frozen=True)
class PairsNeeded:
    """How many pairs a wanted precision takes; None where more than 10,000."""

    for_bias: int | None
    bias_within: float
    for_spread: int | None
    spread_within: float


def trust_in(agreement: Agreement, tolerance: float) -> Trust:
    r"""Say whether guesses can stand in for the scale within a tolerance.

    Parameters
    ----------
    agreement : Agreement
        Of the guesses with the scale.
    tolerance : float
        How far off a guess may be, above 0, in the unit of the agreement.

    Returns
    -------
    Trust

    Raises
    ------
    OutOfRange

    Notes
    -----
    With bias *b*, spread *s*, tolerance *T* and the exact factors :math:`k_i < 1.96 < k_o` of *n* pairs: trusted where
    :math:`|b| + k_o s \le T` and :math:`n \ge 20`; not trusted where :math:`|b| + k_i s > T`; else it cannot be told.
    As *n* grows both factors close in on 1.96, so with the same bias and spread it can be told from the smallest *n*
    on at which one of the two holds.  Compared to nine significant digits, so that pounds and kilograms agree.

    References
    ----------
    Common practice, no source; see ``TRUST``.

    Examples
    --------
    >>> from balance.formulas.guesses.calibration import Differences, agreement_of
    >>> seen = agreement_of(Differences(20, -0.02, 0.05, 1.0))
    >>> trust_in(seen, 0.2).verdict, trust_in(seen, 0.08).verdict, trust_in(seen, 0.15).verdict
    ('trusted', 'not_trusted', 'cannot_tell_yet')
    >>> trust_in(seen, 0.15).settled_at
    43
    """
    if not 0 < tolerance < float("inf"):
        raise OutOfRange("the tolerance", tolerance, "above 0", "any finite number")
    if agreement.bias is None or agreement.spread is None:
        return Trust(None, tolerance, None, None, once_corrected=False)
    off, spread = abs(agreement.bias), agreement.spread

    def told(pairs: int) -> str:
        return _told(pairs, off, spread, tolerance, agreement.confidence)

    verdict = told(agreement.pairs)
    settled = None
    if _rounded(off + LIMITS * spread) != _rounded(tolerance):
        least = max(agreement.pairs, FEWEST_PAIRS)
        settled = smallest_enough(lambda pairs: told(pairs) != OPEN, least, max(MOST_ASKED, least))
    return Trust(
        verdict=verdict,
        tolerance=tolerance,
        settled_at=settled,
        more=None if settled is None else settled - agreement.pairs,
        once_corrected=_told(agreement.pairs, 0.0, spread, tolerance, agreement.confidence) == TRUSTED,
    )


def _told(pairs: int, off: float, spread: float, tolerance: float, confidence: float) -> str:
    inner, outer = limit_factors(pairs, confidence)
    if pairs >= FEWEST_FOR_TRUST and _rounded(off + outer * spread) <= _rounded(tolerance):
        return TRUSTED
    return NOT_TRUSTED if _rounded(off + inner * spread) > _rounded(tolerance) else OPEN


def _rounded(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}")


def pairs_needed(
    spread: float, bias_within: float, spread_within: float, confidence: float = CONFIDENCE
) -> PairsNeeded:
    r"""Give how many pairs make bias and spread known as closely as wanted.

    Parameters
    ----------
    spread : float
        Standard deviation of the differences, 0 or more.
    bias_within : float
        Wanted half width of the interval of the bias, above 0, in the unit of the spread.
    spread_within : float
        By how much the upper end of the spread's interval may exceed the spread, above 0, as a share of it.
    confidence : float
        0.5 to 0.999.

    Returns
    -------
    PairsNeeded

    Raises
    ------
    OutOfRange

    Notes
    -----
    The smallest *n* of 3 or more with

    .. math:: t_{n-1,\,1-\alpha/2}\; s/\sqrt n \le h
       \qquad\text{and}\qquad \sqrt{(n-1)/\chi^2_{n-1,\,\alpha/2}} \le 1 + r

    References
    ----------
    From memory; held to scipy in the tests.

    Examples
    --------
    >>> needed = pairs_needed(0.2, 0.1, 0.25)
    >>> needed.for_bias, needed.for_spread
    (18, 49)
    """
    for name, value in (("the wanted precision of the bias", bias_within), ("that of the spread", spread_within)):
        if not 0 < value < float("inf"):
            raise OutOfRange(name, value, "above 0", "any finite number")
    if not 0 <= spread < float("inf"):
        raise OutOfRange("the spread", spread, 0, "any finite number")
    if not 0.5 <= confidence <= 0.999:
        raise OutOfRange("the confidence", confidence, 0.5, 0.999)
    wanted, factor = _rounded(bias_within), 1 + spread_within
    return PairsNeeded(
        for_bias=smallest_enough(
            lambda pairs: _rounded(bias_margin(pairs, spread, confidence)) <= wanted, FEWEST_PAIRS, MOST_ASKED
        ),
        bias_within=bias_within,
        for_spread=smallest_enough(
            lambda pairs: spread_factors(pairs, confidence)[1] <= factor, FEWEST_PAIRS, MOST_ASKED
        ),
        spread_within=spread_within,
    )
