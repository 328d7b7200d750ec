"""Decide what a snapshot tells: by the privacy rules, and by trying the audit on it beside all that was told before."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from balance.benchmarks.brought import Brought, contributions_of, one_name_each
from balance.benchmarks.measures import DIMENSIONS, MEASURES, Measured
from balance.formulas.privacy.cells import CellAnswer, band, rounded
from balance.formulas.privacy.groups import Groups, sort_into_groups
from balance.formulas.privacy.hierarchy import TOTAL, Cell, Contribution, Hierarchy, single_margins
from balance.formulas.privacy.publishing import audited_release, may_replace
from balance.formulas.privacy.rules import RULES, contributors, why_withheld
from balance.formulas.privacy.spreads import spread_of, with_spreads
from balance.formulas.privacy.unknowns import Snapshot
from balance.reports.programs.labels import ALL

_ALIKE: Final = (
    "Withheld because the growers are so nearly alike, or so few, that with the mean it would tell of one of them."
)
_LEFT: Final = (
    "farm_left",
    "Withheld because a farm that stood in it takes part no more: without that farm it would show it by subtraction.",
)
Place = tuple[str, str]


@dataclass(frozen=True)
class ToldBefore:
    """A snapshot that was made: its season, what farms brought, and which means and spreads it told by measure."""

    season: int
    brought: tuple[Brought, ...]
    means: Mapping[str, frozenset[Cell]]
    spreads: Mapping[str, frozenset[Cell]]


@dataclass(frozen=True)
class Decided:
    """One cell as it is kept."""

    measure: str
    place: Place
    mean: float | None
    spread: float | None
    growers: str
    reason_code: str
    reason: str
    spread_reason: str


def growers_told(brought: Iterable[Brought]) -> str:
    """Give the band of growers that were counted; empty where not even that may be told."""
    vines = [
        Contribution(each.grower, planting.vines, planting.vines, ())
        for each in brought
        for planting in each.plantings
        if planting.vines
    ]
    return "" if why_withheld(vines) is not None else band(len(contributors(vines)))


def place_of(cell: Cell) -> Place:
    """Give the dimension and label of a cell of the plain hierarchy."""
    return cell[0] if cell != TOTAL else (ALL, "")


def cell_at(place: Place) -> Cell:
    """Give the cell at a place."""
    return TOTAL if place[0] == ALL else (place,)


def hierarchy_of(sources: Iterable[Iterable[Brought]]) -> Hierarchy:
    """Give the one hierarchy of several snapshots: all growers, and each dimension by itself, never two at once."""
    found: dict[str, set[str]] = {dimension: set() for dimension in DIMENSIONS}
    for each in (one for source in sources for one in source):
        for planting in each.plantings:
            for dimension, label in zip(DIMENSIONS, planting.labels, strict=True):
                if label is not None:
                    found[dimension].add(label)
    # A dimension needs a label; nobody stands under an empty one.
    return single_margins({name: tuple(sorted(labels)) or ("",) for name, labels in found.items()})


@dataclass(frozen=True)
class Question:
    """One measure of several snapshots, laid out for the rules: what was told before, and what is brought now."""

    hierarchy: Hierarchy
    before: tuple[Snapshot, ...]
    now: tuple[Contribution, ...]


def question_of(measure: str, now: Sequence[Brought], before: Sequence[ToldBefore]) -> Question:
    """Lay out one measure; a grower has one name in all of it."""
    sources = [now, *(each.brought for each in before)]
    names = one_name_each(sources)
    told = tuple(
        Snapshot(
            each.season, contributions_of(each.brought, measure, names), each.means.get(measure, frozenset()),
            each.spreads.get(measure, frozenset()),
        )
        for each in before
    )  # fmt: skip
    return Question(hierarchy_of(sources), told, contributions_of(now, measure, names))


def decide(
    season: int, now: Sequence[Brought], before: Sequence[ToldBefore], watch: Callable[[], object] = lambda: None
) -> tuple[Decided, ...]:
    """Decide every cell of every measure; where too few growers take part, every one is withheld."""
    return tuple(cell for measure in MEASURES for cell in _decided(measure, season, now, before, watch))


def _decided(
    measure: Measured, season: int, now: Sequence[Brought], before: Sequence[ToldBefore], watch: Callable[[], object]
) -> Iterable[Decided]:
    asked = question_of(measure.name, now, before)
    published = audited_release(season, asked.now, asked.hierarchy, before=asked.before, watch=watch)
    snapshot = with_spreads(published.snapshot, asked.hierarchy, before=asked.before, watch=watch)
    groups = sort_into_groups(asked.now, asked.hierarchy)
    return [_cell(measure.name, answer, snapshot, groups) for answer in published.release.answers if _is_a_cell(answer)]


def _is_a_cell(answer: CellAnswer) -> bool:
    """Leave out the empty label, and labels of other seasons under which nobody stands now."""
    nobody = answer.withheld is not None and answer.withheld.code == "no_farms"
    return answer.cell == TOTAL or not nobody


def _cell(measure: str, answer: CellAnswer, snapshot: Snapshot, groups: Groups) -> Decided:
    withheld, spread = answer.withheld, None
    if answer.cell in snapshot.spreads:
        spread = rounded(spread_of(groups.parts[answer.cell]), RULES.digits)[0]
    return Decided(
        measure,
        place_of(answer.cell),
        answer.mean,
        spread,
        answer.farms or "",
        withheld.code if withheld else "",
        withheld.sentence if withheld else "",
        _ALIKE if withheld is None and spread is None else "",
    )


def as_before(cells: Iterable[Decided], brought: Iterable[Brought], gone: Collection[uuid.UUID]) -> tuple[Decided, ...]:
    """Give the cells of a snapshot as they were told, but for those in which a farm stands that has left.

    What is told again says nothing new, so that nothing can follow from it that did not follow before.
    """
    left = frozenset(at for each in brought if each.farm in gone for at in each.stands_at())
    return tuple(
        Decided(cell.measure, cell.place, None, None, "", *_LEFT, "") if (cell.measure, cell.place) in left else cell
        for cell in cells
    )


def why_not_anew(now: Sequence[Brought], before: Sequence[ToldBefore], last: ToldBefore) -> str | None:
    """Say why a season that was told is not counted anew; None where it may be.

    In each measure and cell that was told, either nobody changed or as many growers as a cell needs.
    """
    reasons, changed = [], False
    place = list(before).index(last)
    for measure in MEASURES:
        asked = question_of(measure.name, now, before)
        answer = may_replace(asked.before[place], asked.now, asked.hierarchy)
        changed |= answer.allowed
        if not answer.allowed and answer.sentence != NOTHING_CHANGED:
            reasons.append(answer.sentence)
    if reasons:
        return reasons[0]
    return None if changed else NOTHING_CHANGED


NOTHING_CHANGED: Final = "Nothing that was told has changed."
