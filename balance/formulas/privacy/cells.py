"""Which cells over many farms are told, which stay untold to protect them, and what is told: a mean, rounded."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from balance.formulas.privacy.groups import Groups, sort_into_groups
from balance.formulas.privacy.hierarchy import TOTAL, Cell, Contribution, Hierarchy
from balance.formulas.privacy.row_space import NotProven, fewest_behind
from balance.formulas.privacy.rules import RULES, PrivacyRules, Withheld, contributors, why_withheld


@dataclass(frozen=True)
class CellAnswer:
    """What is told of one cell.

    Attributes
    ----------
    cell : Cell
    mean : float or None
        Sum of values by sum of weights, rounded; None where nothing is told, be the cell empty or withheld.
    base : float or None
        The mean is a multiple of this.
    farms : str or None
        How many stand behind it, as a band: ``5-9``, ``10-19`` or ``20+``.
    withheld : Withheld or None
        Why nothing is told.  For the lead of the program only: a reader sees withheld and empty cells alike.
    """

    cell: Cell
    mean: float | None = None
    base: float | None = None
    farms: str | None = None
    withheld: Withheld | None = None


@dataclass(frozen=True)
class Release:
    """One answer for each cell of the hierarchy, in its order."""

    answers: tuple[CellAnswer, ...]

    @property
    def told(self) -> frozenset[Cell]:
        """The cells that are told."""
        return frozenset(each.cell for each in self.answers if each.withheld is None)


def release_cells(
    contributions: Iterable[Contribution],
    hierarchy: Hierarchy,
    rules: PrivacyRules = RULES,
    held_back: Mapping[Cell, Withheld] | None = None,
) -> Release:
    r"""Decide which cells are told.

    Parameters
    ----------
    contributions : iterable of Contribution
        Of farms that consented, and of no other.  Their order changes nothing.
    hierarchy : Hierarchy
    rules : PrivacyRules
    held_back : mapping of Cell to Withheld, optional
        Cells that stay untold whatever else holds, each with its reason; see ``audit.audited_release``.

    Returns
    -------
    Release

    Raises
    ------
    OutOfRange

    Notes
    -----
    1. A cell that breaks a rule on its own account is withheld (``rules.why_withheld``).
    2. What is left of a told cell when the told cells of one division are taken away obeys the same rules, or the
       smallest of those is withheld too, until it does.
    3. No withheld cell can be had by adding and subtracting told ones.
    4. Nor can any sum that rests on fewer farms than the rules ask for (``row_space.fewest_behind``).  Where the search
       does not come to an end, the smallest told cell is withheld and it begins anew.

    The smallest cell is the one with the fewest farms, then the least weight, then the first in the hierarchy; the
    total goes last.  The rules take the worst case: that a reader knows all weights, who stands in which cell, and
    unrounded sums.  The mean is rounded to significant digits, half to even, so totals need not add up.

    References
    ----------
    See ``rules.RELEASE``; the search for differences over crossing margins is ours.

    Examples
    --------
    >>> from balance.formulas.privacy.hierarchy import single_margins
    >>> regions = single_margins({"region": ("north", "middle", "south")})
    >>> places = ["north"] * 8 + ["middle"] * 8 + ["south"] * 2
    >>> farms = [Contribution(f"farm {n}", 2.0, 1, (place,)) for n, place in enumerate(places)]
    >>> for answer in release_cells(farms, regions).answers:
    ...     print(answer.cell, answer.mean, answer.farms, answer.withheld and answer.withheld.code)
    () 2.0 10-19 None
    (('region', 'north'),) None None protects_others
    (('region', 'middle'),) 2.0 5-9 None
    (('region', 'south'),) None None too_few_farms
    """
    groups = sort_into_groups(contributions, hierarchy)
    withheld = {cell: why for cell in groups.order if (why := why_withheld(groups.parts[cell], rules))}
    withheld |= {cell: why for cell, why in (held_back or {}).items() if cell not in withheld}
    told = [cell for cell in groups.order if cell not in withheld]
    while told and (found := _next_to_withhold(groups, hierarchy, rules, told)):
        cell, withheld[cell] = found
        told.remove(cell)
    return Release(tuple(_answer(groups, cell, rules, withheld.get(cell)) for cell in groups.order))


def _next_to_withhold(
    groups: Groups, hierarchy: Hierarchy, rules: PrivacyRules, told: list[Cell]
) -> tuple[Cell, Withheld] | None:
    for parent in told:
        for children in hierarchy.divisions(parent):
            shown = [cell for cell in children if cell in told]
            gone = frozenset(part for cell in shown for part in groups.parts[cell])
            rest = [part for part in groups.parts[parent] if part not in gone]
            if shown and rest and (why := why_withheld(rest, rules)):
                return groups.by_size(shown)[0], _protects(
                    f"what is left of {spoken(parent)} without the cells told below it", why
                )
    if hidden := groups.follows((cell for cell in groups.order if cell not in told), told):
        cell = groups.smallest_that_helps(groups.rows[hidden[0]], told)
        return cell, _protects(f"{spoken(hidden[0])}, which could be had by subtraction")
    try:
        found = fewest_behind(groups.matrix(told), groups.farms, rules.fewest_others)
    except NotProven:
        return groups.by_size(told)[0], _protects("the others; not all their differences could be looked at")
    if found is None:
        return None
    cell = groups.smallest_that_helps(found.vector, told)
    return cell, _protects(
        "a difference of cells told", Withheld("", f"Farms with a figure above zero behind it: {len(found.farms)}.")
    )


def _protects(what: str, why: Withheld | None = None) -> Withheld:
    return Withheld("protects_others", f"Withheld to protect {what}." + (f" {why.sentence}" if why else ""))


def spoken(cell: Cell) -> str:
    """Name a cell for people.

    Examples
    --------
    >>> spoken(()), spoken((("region", "north"), ("training", "low")))
    ('the total', 'region north, training low')
    """
    return ", ".join(f"{name} {label}" for name, label in cell) if cell != TOTAL else "the total"


def rounded(number: float, digits: int) -> tuple[float, float]:
    """Round to significant digits; give the number and the base that it is a multiple of.

    Examples
    --------
    >>> rounded(1234.5, 3), rounded(0.04567, 3), rounded(0.0, 3)
    ((1230.0, 10.0), (0.0457, 0.0001), (0.0, 0.0))
    """
    if number == 0:
        return 0.0, 0.0
    text = f"{number:.{digits - 1}e}"
    return float(text), float(f"1e{int(text.split('e')[1]) - digits + 1}")


def band(farms: int) -> str:
    """Give the band of a number of farms: nobody is told how many there are.

    Examples
    --------
    >>> band(6), band(19), band(60)
    ('5-9', '10-19', '20+')
    """
    return "20+" if farms >= 20 else "10-19" if farms >= 10 else "5-9"


def _answer(groups: Groups, cell: Cell, rules: PrivacyRules, withheld: Withheld | None) -> CellAnswer:
    if withheld:
        return CellAnswer(cell, withheld=withheld)
    parts = groups.parts[cell]
    mean, base = rounded(
        math.fsum(part.value for part in parts) / math.fsum(part.weight for part in parts), rules.digits
    )
    return CellAnswer(cell, mean, base, band(len(contributors(parts))))
