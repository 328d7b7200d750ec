"""The fixed hierarchy of cells that figures of many farms are told by, and what each farm brings to it."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import product
from typing import Final

from balance.formulas.errors import OutOfRange

#: A cell is named by its labels, e.g. ``(("region", "north"),)``.
Cell = tuple[tuple[str, str], ...]
#: All farms of the program.
TOTAL: Final[Cell] = ()
MOST_CELLS: Final = 1_000


@dataclass(frozen=True)
class Dimension:
    """What farms are told apart by, e.g. the region, with every label that it may have, in the order they are shown."""

    name: str
    labels: tuple[str, ...]

    def __post_init__(self) -> None:
        if not 1 <= len(self.labels) == len(set(self.labels)) <= MOST_CELLS:
            raise OutOfRange(f"the labels of {self.name}", len(self.labels), 1, f"{MOST_CELLS}, no label twice")


@dataclass(frozen=True)
class Hierarchy:
    """The cells: the total, and margins below it, named once and for all; nobody asks for another table.

    Attributes
    ----------
    dimensions : tuple of Dimension
    margins : tuple of tuple of str
        Names of dimensions.  ``("region",)`` divides the total by region, ``("region", "cultivar")`` divides each
        region by cultivar; that wants ``("region",)`` before it.
    """

    dimensions: tuple[Dimension, ...]
    margins: tuple[tuple[str, ...], ...]

    def __post_init__(self) -> None:
        known = {each.name: len(each.labels) for each in self.dimensions}
        if len(known) != len(self.dimensions):
            raise OutOfRange("the dimensions", [each.name for each in self.dimensions], "each", "once")
        for place, margin in enumerate(self.margins):
            if not margin or not set(margin) <= set(known) or len(set(margin)) != len(margin):
                raise OutOfRange("a margin", margin, "dimensions of", sorted(known))
            if margin in self.margins[:place] or (len(margin) > 1 and margin[:-1] not in self.margins[:place]):
                raise OutOfRange("a margin", margin, "once", "after the margin that it divides")
        cells = 1 + sum(math.prod(known[name] for name in margin) for margin in self.margins)
        if cells > MOST_CELLS:
            raise OutOfRange("cells", cells, 1, MOST_CELLS)

    def cells(self) -> tuple[Cell, ...]:
        """Give every cell, the total first, then margin by margin.

        Examples
        --------
        >>> len(single_margins({"region": ("north", "south"), "training": ("low", "high", "open")}).cells())
        6
        """
        labels = {each.name: each.labels for each in self.dimensions}
        below = (
            tuple(zip(margin, chosen, strict=True))
            for margin in self.margins
            for chosen in product(*(labels[name] for name in margin))
        )
        return (TOTAL, *below)

    def divisions(self, cell: Cell) -> tuple[tuple[Cell, ...], ...]:
        """Give the ways in which a cell is divided, each as the cells that it is divided into."""
        names = tuple(name for name, _ in cell)
        labels = {each.name: each.labels for each in self.dimensions}
        return tuple(
            tuple((*cell, (margin[-1], label)) for label in labels[margin[-1]])
            for margin in self.margins
            if margin[:-1] == names
        )

    def cells_of(self, labels: tuple[str | None, ...]) -> frozenset[Cell]:
        """Give the cells that labels lie in, one for each dimension in its order; None is in no cell of a margin."""
        said = dict(zip((each.name for each in self.dimensions), labels, strict=True))
        found = {TOTAL}
        for margin in self.margins:
            chosen = [(name, label) for name in margin if (label := said[name]) is not None]
            if len(chosen) == len(margin):
                found.add(tuple(chosen))
        return frozenset(found)


def single_margins(labels: Mapping[str, tuple[str, ...]]) -> Hierarchy:
    """Make the plain hierarchy: the total, divided by each dimension on its own.

    Examples
    --------
    >>> single_margins({"region": ("north", "south")}).cells()
    ((), (('region', 'north'),), (('region', 'south'),))
    """
    return Hierarchy(tuple(Dimension(name, each) for name, each in labels.items()), tuple((name,) for name in labels))


@dataclass(frozen=True)
class Contribution:
    """What one farm brings to the cells that its labels lie in.

    Attributes
    ----------
    farm : str
        Whoever must not be seen through: one name for all that one grower brings.
    value : float
        Sum of weight × figure, 0 or more, e.g. kilograms; the mean told is the sum of values by the sum of weights.
    weight : float
        What the figure is weighted by, above 0, e.g. vines or hectares.
    labels : tuple of (str or None)
        One for each dimension, in its order; None where it is not known.
    """

    farm: str
    value: float
    weight: float
    labels: tuple[str | None, ...]


def gather(contributions: Iterable[Contribution], hierarchy: Hierarchy) -> tuple[Contribution, ...]:
    """Add up what each farm brings under the same labels, in one order whatever the order it came in.

    Raises
    ------
    OutOfRange
        For a negative or endless value, a weight that is not above 0, or a label that its dimension does not have.

    Examples
    --------
    >>> plain = single_margins({"region": ("north", "south")})
    >>> gather([Contribution("b", 1, 1, ("north",)), Contribution("b", 2, 1, ("north",))], plain)
    (Contribution(farm='b', value=3.0, weight=2.0, labels=('north',)),)
    """
    known = [{*each.labels, None} for each in hierarchy.dimensions]
    piles: dict[tuple[tuple[str | None, ...], str], list[Contribution]] = defaultdict(list)
    for each in contributions:
        if not 0 <= each.value < math.inf:
            raise OutOfRange("a farm's value", each.value, 0, "any finite number")
        if not 0 < each.weight < math.inf:
            raise OutOfRange("a farm's weight", each.weight, "above 0", "any finite number")
        if len(each.labels) != len(known) or any(
            label not in those for label, those in zip(each.labels, known, strict=True)
        ):
            raise OutOfRange("a farm's labels", each.labels, "one of each of", [d.name for d in hierarchy.dimensions])
        piles[each.labels, each.farm].append(each)
    # fsum rounds once, so the order of what is added does not matter.
    return tuple(
        Contribution(farm, math.fsum(p.value for p in pile), math.fsum(p.weight for p in pile), labels)
        for (labels, farm), pile in sorted(piles.items(), key=lambda item: (_order(item[0][0]), item[0][1]))
    )


def _order(labels: tuple[str | None, ...]) -> tuple[str, ...]:
    return tuple("" if label is None else f"={label}" for label in labels)
