"""What needs a look now, and why: things that a person should see about a block, the most urgent first."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from balance.cordons.parts_of_year import PartOfYear
from balance.reports.quantities import Units
from balance.summaries.lines import Line

#: It can be mended or done in this part of the year, and not after.
NOW: Final = "now"
SOON: Final = "soon"
#: Nothing is lost if it waits; figures are better once it is done.
LATER: Final = "later"
URGENCIES: Final = (NOW, SOON, LATER)


@dataclass(frozen=True)
class Limits:
    """From where on something is worth a look; each may be asked for otherwise.

    Attributes
    ----------
    off_target_share : float
        More than this share of the judged counts off target [%]. A quarter: common practice, no source.
    error : float
        Half the 95 % interval of the mean weight, wider than this [% of the mean]. Ten, as a sample plan reckons with
        unless told otherwise: common practice, no source.
    edge_share : float
        Nearer to an end of the range than this share of its width [%]. A fifth: common practice, no source.
    """

    off_target_share: float = 25
    error: float = 10
    edge_share: float = 20


@dataclass(frozen=True)
class Asked:
    """What the rules look at beside the block: the limits, the part of the year on its farm, and the units."""

    limits: Limits
    now: PartOfYear
    units: Units


@dataclass(frozen=True)
class Notice:
    """One thing to look at.

    ``weight`` orders notices of one code, the largest first; ``path`` is where more is shown, below the address of the
    farm, with its query.
    """

    code: str
    urgency: str
    line: Line
    sentence: str
    todo: str
    path: str
    figures: tuple[tuple[str, float | None, str], ...] = ()
    weight: float = 0.0


Rule = Callable[[Line, Asked], Iterator[Notice]]
