"""Put the sums of farms through the privacy rules: what comes out may be told, and nothing else leaves.

Whoever must not be seen through is a grower, not a farm: farms with an owner in common count as one, and so do all
farms on which a lead of the program has a role, because whoever reads the report knows those.
"""

from __future__ import annotations

import math
import uuid
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import reduce
from operator import add
from typing import Final

from balance.formulas.cordons.forecast import replacements_ahead
from balance.formulas.privacy.cells import CellAnswer, band, release_cells, rounded
from balance.formulas.privacy.hierarchy import TOTAL, Contribution, Hierarchy, single_margins
from balance.formulas.privacy.rules import RULES, contributors, why_withheld
from balance.reports.programs import sums
from balance.reports.programs.contributions import NOT_GROUPED, clock_of
from balance.reports.programs.document import Released, ReleasedCell, ReleasedOutlook, ReleasedWinter
from balance.reports.programs.labels import ALL, CULTIVAR, REGION, TRAINING, common_labels, key_of
from balance.reports.programs.sums import BlockSums, CordonSums, FarmSums, Sum

DIMENSIONS: Final = (REGION, CULTIVAR, TRAINING)
#: The group of everything that is too rare to stand by itself, or not stated; it is always listed.
REST: Final = "All others"
WINTERS: Final = 5
#: Mean of the squares of a measure, beside its mean.
SQUARES: Final = "squares of "
Growers = dict[uuid.UUID, str]


@dataclass(frozen=True)
class Asked:
    """One measure: what of each block's sum is added up; ``rest`` where what is left of it must not tell either."""

    name: str
    top: Callable[[Sum], float]
    rest: Callable[[Sum], float] | None = None


def _top(each: Sum) -> float:
    return each.top


def _left(each: Sum) -> float:
    return each.under - each.top


def _squares(each: Sum) -> float:
    return each.squares


MEASURES: Final = (
    Asked(sums.PRUNING_WEIGHT, _top),
    Asked(SQUARES + sums.PRUNING_WEIGHT, _squares),
    Asked(sums.TARGET, _top),
    Asked(sums.KEPT, _top),
    Asked(sums.ON_TARGET, _top, _left),
    Asked(sums.CROP_LOAD, _top),
    Asked(sums.BLANK, _top, _left),
)
GUESSES: Final = (sums.GUESS_PERCENT, SQUARES + sums.GUESS_PERCENT)


def release_season(farms: Sequence[FarmSums], season: int) -> Released:
    """Give what may be told of a season's farms; nothing at all where they are too few."""
    growers = growers_of(farms)
    vines = [Contribution(growers[farm.farm], farm.vines, farm.vines, ()) for farm in farms if farm.vines]
    if why_withheld(vines) is not None:
        return Released()
    cells = [cell for asked in MEASURES for cell in _released(asked, farms, growers)]
    return Released(
        farms=band(len(contributors(vines))),
        blocks=_tens(sum(len(farm.blocks) for farm in farms)),
        vines=_tens(sum(farm.vines for farm in farms)),
        cells=tuple(cells) + tuple(_guesses(farms, growers)),
        outlook=_outlook(farms, growers, season),
    )


def growers_of(farms: Sequence[FarmSums]) -> Growers:
    """Name the grower behind each farm: farms that share a person belong together, and so do all of the leads."""
    names = {farm.farm: str(farm.farm) for farm in farms}
    of_person: dict[uuid.UUID | str, uuid.UUID] = {}
    for farm in farms:
        persons: list[uuid.UUID | str] = [*sorted(farm.owners), *(["leads"] if farm.own else [])]
        for person in persons:
            other = of_person.setdefault(person, farm.farm)
            old, new = names[farm.farm], names[other]
            if old != new:
                names = {each: new if name == old else name for each, name in names.items()}
    return names


def _released(asked: Asked, farms: Sequence[FarmSums], growers: Growers) -> Iterator[ReleasedCell]:
    """Release a measure by each dimension; what is left of a share obeys the rules as well.

    A group that is not told is not even named: that it is there may tell something.
    """
    question = question_of(asked, farms, growers)
    held_back = {}
    if question.rest is not None:
        rest = release_cells(question.rest, question.hierarchy)
        held_back = {answer.cell: answer.withheld for answer in rest.answers if answer.withheld is not None}
    release = release_cells(question.top, question.hierarchy, RULES, held_back)
    cells = (_cell(asked.name, answer) for answer in release.answers)
    return (cell for cell in cells if cell.shown or cell.label == REST or cell.dimension == ALL)


@dataclass(frozen=True)
class Question:
    """What growers bring to the cells of one measure, and to what is left of it."""

    hierarchy: Hierarchy
    top: tuple[Contribution, ...]
    rest: tuple[Contribution, ...] | None


def question_of(asked: Asked, farms: Sequence[FarmSums], growers: Growers) -> Question:
    """Sort the sums of blocks into the cells of a measure."""
    name = asked.name.removeprefix(SQUARES)
    measured = [(growers[farm.farm], block) for farm in farms for block in farm.blocks if name in block.sums]
    labels = {dimension: _common(measured, dimension) for dimension in DIMENSIONS}
    hierarchy = single_margins({name: (*known, REST) for name, known in labels.items()})
    each = [(grower, block.sums[name], _labels_of(block, labels)) for grower, block in measured]

    def contributions(top: Callable[[Sum], float]) -> tuple[Contribution, ...]:
        return tuple(
            Contribution(grower, max(0.0, top(one)), one.under, at) for grower, one, at in each if one.under > 0
        )

    return Question(hierarchy, contributions(asked.top), contributions(asked.rest) if asked.rest else None)


def _common(measured: Sequence[tuple[str, BlockSums]], dimension: str) -> tuple[str, ...]:
    said = ((grower, said_of(block, dimension)) for grower, block in measured)
    return tuple(sorted(common_labels(said, _NO_GROUPS).values()))


def said_of(block: BlockSums, dimension: str) -> str:
    """Give what a block says of one dimension, whose name is that of the member."""
    return str(getattr(block, dimension))


def _labels_of(block: BlockSums, labels: dict[str, tuple[str, ...]]) -> tuple[str, ...]:
    return tuple(_label_of(said_of(block, dimension), known) for dimension, known in labels.items())


def _label_of(label: str, known: tuple[str, ...]) -> str:
    key = key_of(label)
    return next((each for each in known if key_of(each) == key), REST)


_NO_GROUPS: Final = {key_of(label) for label in (REST, *NOT_GROUPED)}


def _cell(measure: str, answer: CellAnswer) -> ReleasedCell:
    dimension, label = answer.cell[0] if answer.cell != TOTAL else (ALL, "")
    return ReleasedCell(measure, dimension, label, answer.farms or "", answer.mean)


def _guesses(farms: Sequence[FarmSums], growers: Growers) -> Iterator[ReleasedCell]:
    """Release the guesses of all pruners together, in percent of the weights: nobody by himself."""
    for name in GUESSES:
        found = [(growers[farm.farm], farm.guesses) for farm in farms]
        top = _squares if name.startswith(SQUARES) else _top
        parts = [Contribution(grower, top(each), each.under, ()) for grower, each in found if each.under > 0]
        yield _cell(name, release_cells(parts, single_margins({})).answers[0])


def _outlook(farms: Sequence[FarmSums], growers: Growers, season: int) -> ReleasedOutlook | None:
    """Foresee the cordons of all farms together, where standing, following and failing are each of enough growers."""
    clock = clock_of(farms)
    counted = [(growers[farm.farm], farm.cordons[clock]) for farm in farms if clock in farm.cordons]
    for what in ("standing", "exposure", "failures"):
        totals = [(grower, float(getattr(each, what).sum())) for grower, each in counted]
        parts = [Contribution(grower, total, total, ()) for grower, total in totals if total > 0]
        if why_withheld(parts) is not None:
            return None
    together: CordonSums = reduce(add, (each for _, each in counted))
    outlook = replacements_ahead(together.standing, together.exposure, together.failures, winters=WINTERS)
    winters = (
        ReleasedWinter(season + each.winter, *(_rounded(value) for value in (each.mean, each.low, each.high)))
        for each in outlook.by_winter
    )
    return ReleasedOutlook(
        _tens(int(together.standing.sum())), _tens(int(together.exposure.sum())), clock, tuple(winters)
    )


def _rounded(value: float) -> float:
    return rounded(float(value), RULES.digits)[0]


def _tens(count: int) -> int:
    """Round a count to the nearest ten, and to the digits that are told.

    Examples
    --------
    >>> _tens(12), _tens(12345)
    (10, 12300)
    """
    return int(_rounded(count)) if count >= 10**RULES.digits else 10 * math.floor(count / 10 + 0.5)
