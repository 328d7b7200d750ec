"""When a sum over farms tells too much of one of them: too few behind it, or one or two that are nearly all of it."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from balance.formulas.errors import OutOfRange
from balance.formulas.methods import MEMORY, Method
from balance.formulas.privacy.hierarchy import Contribution

FEWEST_OTHERS: Final = 5
LARGEST_SHARE: Final = 0.60
TWO_LARGEST_SHARE: Final = 0.85
PERCENT: Final = 0.10
MOST_DIGITS: Final = 3

RELEASE: Final = Method(
    code="cell-release",
    version=1,
    label="Which figures of many farms are told",
    expression="told where at least 5 farms besides the reader's own, largest ≤ 60 %, two largest ≤ 85 %, "
    "others ≥ 10 % of the largest, and no difference of told sums rests on fewer farms",
    source="Threshold, (n,k) with n=2, k=85, and p % rules of statistical disclosure control: Hundepool et al. 2012, "
    "Statistical Disclosure Control, chapter 4; Eurostat CODED and the ESSnet handbook (from memory)",
    mark=MEMORY,
    note="Five others and 60 % for the largest are our own choice; offices ask for 3 to 5 contributors.",
)


@dataclass(frozen=True)
class PrivacyRules:
    """Limits that may be drawn tighter than here, never wider.

    Attributes
    ----------
    fewest_others : int
        Farms besides the reader's own, ``FEWEST_OTHERS`` or more.
    largest_share : float
        What the largest farm may be of the sum, above 0 to ``LARGEST_SHARE``; of values and of weights.
    two_largest_share : float
        What the two largest may be together, above 0 to ``TWO_LARGEST_SHARE``.
    percent : float
        What all but the two largest are at least, as a share of the largest: ``PERCENT`` to 1.  Who owns the second
        largest comes no nearer to the largest than that.
    digits : int
        Significant digits that are told, 1 to ``MOST_DIGITS``.
    """

    fewest_others: int = FEWEST_OTHERS
    largest_share: float = LARGEST_SHARE
    two_largest_share: float = TWO_LARGEST_SHARE
    percent: float = PERCENT
    digits: int = MOST_DIGITS

    def __post_init__(self) -> None:
        for name, value, low, high in (
            ("the fewest other farms", self.fewest_others, FEWEST_OTHERS, 1_000),
            ("the share of the largest", self.largest_share, 0.01, LARGEST_SHARE),
            ("the share of the two largest", self.two_largest_share, 0.01, TWO_LARGEST_SHARE),
            ("what the others are of the largest", self.percent, PERCENT, 1),
            ("significant digits", self.digits, 1, MOST_DIGITS),
        ):
            if not low <= value <= high:
                raise OutOfRange(name, value, low, high)

    @property
    def fewest_farms(self) -> int:
        """Farms that a sum needs: the reader's own may be one of them."""
        return self.fewest_others + 1


RULES: Final = PrivacyRules()


@dataclass(frozen=True)
class Withheld:
    """Why a cell is not told: a code, and a sentence for the lead of the program (nobody else: a reason tells)."""

    code: str
    sentence: str


def contributors(parts: Iterable[Contribution]) -> frozenset[str]:
    """Give the farms that stand behind a sum; one that brings nothing to it hides nobody, and is not counted."""
    return frozenset(part.farm for part in parts if part.value > 0)


def why_withheld(parts: Iterable[Contribution], rules: PrivacyRules = RULES) -> Withheld | None:
    r"""Say why a sum must not be told on its own account, or None where it may.

    Parameters
    ----------
    parts : iterable of Contribution
        Everything that is added up.
    rules : PrivacyRules

    Returns
    -------
    Withheld or None

    Notes
    -----
    With farms' sums :math:`x_1 \ge x_2 \ge \dots` of the values (and again of the weights) and :math:`T = \sum x`:
    at least six farms with a value above 0, :math:`x_1 \le 0.6\,T`, :math:`x_1 + x_2 \le 0.85\,T` and
    :math:`T - x_1 - x_2 \ge 0.1\,x_1`.

    References
    ----------
    See ``RELEASE``.

    Examples
    --------
    >>> why_withheld([Contribution(f"farm {n}", 1, 1, ()) for n in range(6)]) is None
    True
    >>> why_withheld([Contribution(f"farm {n}", 1, 1, ()) for n in range(5)]).code
    'too_few_farms'
    >>> why_withheld([Contribution(f"farm {n}", 1 + 9 * (n == 0), 1, ()) for n in range(6)]).code
    'largest_too_large'
    """
    those = list(parts)
    farms = len(contributors(those))
    if not those:
        return Withheld("no_farms", "No farm stands behind it.")
    if farms < rules.fewest_farms:
        return Withheld(
            "too_few_farms",
            f"Farms with a figure above zero behind it: {farms}; it takes {rules.fewest_farms}, which is "
            f"{rules.fewest_others} besides whoever reads it.",
        )
    by_value, by_weight = _by_farm(those)
    return _dominated(by_value, "figure", rules) or _dominated(by_weight, "weight", rules)


def _by_farm(parts: list[Contribution]) -> tuple[list[float], ...]:
    values: dict[str, list[float]] = defaultdict(list)
    weights: dict[str, list[float]] = defaultdict(list)
    for part in parts:
        values[part.farm].append(part.value)
        weights[part.farm].append(part.weight)
    return tuple(sorted(map(math.fsum, each.values()), reverse=True) for each in (values, weights))


def _dominated(sums: list[float], of: str, rules: PrivacyRules) -> Withheld | None:
    total = math.fsum(sums)
    others = math.fsum(sums[2:])
    slack = 1 + 1e-9  # a share that is the limit but for rounding is the limit
    if sums[0] > rules.largest_share * total * slack:
        return Withheld(
            "largest_too_large",
            f"The largest farm is {sums[0] / total:.0%} of the {of}; {rules.largest_share:.0%} is allowed.",
        )
    if sums[0] + sums[1] > rules.two_largest_share * total * slack:
        return Withheld(
            "two_largest_too_large",
            f"The two largest farms are {(sums[0] + sums[1]) / total:.0%} of the {of}; "
            f"{rules.two_largest_share:.0%} is allowed.",
        )
    if others * slack < rules.percent * sums[0]:
        return Withheld(
            "others_too_small",
            f"All but the two largest farms are {others / sums[0]:.0%} of the largest by {of}; it takes "
            f"{rules.percent:.0%}, or the second largest could tell what the largest has.",
        )
    return None
