"""Bud injury from a sample cut open, and what the vine could still bear when secondary buds stand in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from balance.formulas.errors import OutOfRange
from balance.formulas.methods import MEMORY, READ, Method
from balance.formulas.proportions import USUAL_CONFIDENCE, Share, exact_share

INJURY: Final = Method(
    "bud-injury",
    1,
    "Primary bud injury with its exact interval",
    "100 × (nodes examined − primary buds alive) ÷ nodes examined; interval by Clopper and Pearson",
    "Share of buds: Cornell Cooperative Extension, northern New York grape update, 28 Feb 2014 (READ). Interval: "
    "Clopper & Pearson 1934, Biometrika 26:404-413",
    MEMORY,
    "The interval takes every node for a draw of its own. Nodes of one cane, and canes of one low spot, fare alike, so "
    "the true uncertainty is larger.",
)
POTENTIAL: Final = Method(
    "crop-potential",
    1,
    "Crop potential with secondary buds",
    "primaries alive + dead primaries with a living secondary × fruitfulness of a secondary",
    "Howell, Michigan State Univ., Estimating grapevine potential productivity after spring frost or winter bud "
    "damage, grapes.extension.org, 2019",
    READ,
    "A living primary counts 100 %. How much a secondary bears belongs to the cultivar and is disputed: about 35 % of "
    "a primary for Concord by Michigan State, nothing by Cornell 2012. So it counts for nothing unless you set it, "
    "and no target is changed by it.",
)


@dataclass(frozen=True)
class CropPotential:
    """What the nodes examined could bear, as a share of what they would bear with every primary alive.

    Attributes
    ----------
    low_percent, high_percent : float
        Ends of what the counts allow [%]; equal where the counts settle it.
    rescued_low, rescued_high : int
        Dead primaries with a living secondary, at least and at most [nodes].
    """

    low_percent: float
    high_percent: float
    rescued_low: int
    rescued_high: int

    @property
    def percent(self) -> float | None:
        """The potential [%]; None where the counts leave it open."""
        return self.low_percent if self.rescued_low == self.rescued_high else None


def bud_injury(nodes_examined: int, primaries_alive: int, confidence: float = USUAL_CONFIDENCE) -> Share:
    """Give the share of primary buds that is dead, with its exact interval.

    Parameters
    ----------
    nodes_examined : int
        Nodes cut open, 1 or more; a node is counted once though it holds several buds.
    primaries_alive : int
        Of them, nodes whose primary bud lives.
    confidence : float
        0.5 to 0.999.

    Returns
    -------
    Share
        Dead primary buds [%].

    Raises
    ------
    OutOfRange

    Notes
    -----
    See :func:`balance.formulas.proportions.exact_share`.

    References
    ----------
    Cornell Cooperative Extension, northern New York grape update, 28 Feb 2014 (READ).

    Examples
    --------
    >>> injury = bud_injury(100, 65)
    >>> injury.percent, round(injury.margin_percent, 1)
    (35.0, 10.2)
    """
    if not 0 <= primaries_alive <= nodes_examined:
        raise OutOfRange("the primary buds alive", primaries_alive, 0, nodes_examined)
    return exact_share(nodes_examined - primaries_alive, nodes_examined, confidence)


def crop_potential(
    nodes_examined: int, primaries_alive: int, secondaries_alive: int, fruitfulness_percent: float
) -> CropPotential:
    r"""Give what the nodes could bear when secondary buds stand in for dead primaries.

    Parameters
    ----------
    nodes_examined : int
        Nodes cut open, 1 or more.
    primaries_alive, secondaries_alive : int
        Of them, nodes whose primary, and whose secondary bud lives.
    fruitfulness_percent : float
        What a secondary bears, 0 to 100 [% of a primary]; of the cultivar, and set by the caller.

    Returns
    -------
    CropPotential

    Raises
    ------
    OutOfRange

    Notes
    -----
    With *n* nodes, *a* primaries alive, *r* dead primaries with a living secondary and fruitfulness *f*,

    .. math:: 100\,(a + r f) / n

    A secondary counts only at a node whose primary is dead.  Two counts of a sample do not say at how many nodes that
    is so, but they bound it: :math:`\max(0, s - a) \le r \le \min(n - a, s)`.

    References
    ----------
    Howell, Michigan State Univ., grapes.extension.org, 2019 (35 % for Concord and Niagara: READ).

    Examples
    --------
    >>> crop_potential(100, 60, 100, 35).percent
    74.0
    >>> open_case = crop_potential(100, 65, 88, 35)
    >>> open_case.percent, open_case.low_percent, open_case.high_percent
    (None, 73.05, 77.25)
    """
    if nodes_examined < 1:
        raise OutOfRange("the nodes examined", nodes_examined, 1, "as many as you like")
    for name, count in (("the primary buds alive", primaries_alive), ("the secondary buds alive", secondaries_alive)):
        if not 0 <= count <= nodes_examined:
            raise OutOfRange(name, count, 0, nodes_examined)
    if not 0 <= fruitfulness_percent <= 100:
        raise OutOfRange("the fruitfulness of a secondary bud [%]", fruitfulness_percent, 0, 100)
    least = max(0, secondaries_alive - primaries_alive)
    most = min(nodes_examined - primaries_alive, secondaries_alive)

    def potential(rescued: int) -> float:
        return round((100 * primaries_alive + rescued * fruitfulness_percent) / nodes_examined, 9)

    return CropPotential(potential(least), potential(most), least, most)
