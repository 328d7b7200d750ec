"""Whether what was told of many farms tells of one: everything a reader could work out, tried."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from balance.formulas.errors import OutOfRange
from balance.formulas.privacy.bounds import STEADY, WITHIN, Marked, Worlds
from balance.formulas.privacy.hierarchy import Hierarchy
from balance.formulas.privacy.other_worlds import CurvedWorlds
from balance.formulas.privacy.row_space import NotProven, Numbers, basis, fewest_behind
from balance.formulas.privacy.rules import RULES, PrivacyRules
from balance.formulas.privacy.unknowns import Snapshot, Told, Unknowns, unknowns_of

EXPOSED: Final = "exposed"
FEW: Final = "few_behind_a_difference"
BOUNDED: Final = "bounded"
NOT_PROVEN: Final = "not_proven"


@dataclass(frozen=True)
class Finding:
    """Something that a reader could work out.  It names farms: for whoever runs the audit, and nobody else.

    Attributes
    ----------
    kind : str
        ``exposed``: a farm's sum follows from what was told and one other farm's own sums.
        ``few_behind_a_difference``: a difference of told sums rests on fewer farms than the rules ask for.
        ``bounded``: a farm's sum is known within a share of it.  ``not_proven``: a search came to no end.
    farms : tuple of str
        Whom it tells of.
    reader : str or None
        The farm whose own sums it takes; None where anybody can.
    told : tuple of Told
        What takes part in it.
    low, high : float or None
        Bounds of the sum, for ``bounded``.
    """

    kind: str
    farms: tuple[str, ...]
    reader: str | None
    told: tuple[Told, ...]
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Limits:
    """How near is too near (``within``), and how well a reader knows changes between seasons (``steady``)."""

    within: float = WITHIN
    steady: float = STEADY

    def __post_init__(self) -> None:
        for name, value in (("the share that a sum is known within", self.within), ("steadiness", self.steady)):
            if not 0 < value <= 1:
                raise OutOfRange(name, value, "above 0", 1)


LIMITS: Final = Limits()


def audit(
    snapshots: Sequence[Snapshot],
    hierarchy: Hierarchy,
    rules: PrivacyRules = RULES,
    limits: Limits = LIMITS,
    farms: Collection[str] | None = None,
    *,
    watch: Callable[[], object] = lambda: None,
) -> tuple[Finding, ...]:
    """Try everything that a reader of all snapshots could work out about one farm.

    Parameters
    ----------
    snapshots : sequence of Snapshot
        In the order that they were published, of one figure; of one season or of several.
    hierarchy : Hierarchy
    rules : PrivacyRules
    limits : Limits
    farms : collection of str, optional
        Ask about these alone; about all, if left out.
    watch : callable, optional
        Called after each farm, while it works.

    Returns
    -------
    tuple of Finding
        Empty where nothing was found.

    Notes
    -----
    The reader is taken to know who stands in which cell, all weights, all sums unrounded, that no sum is negative, and
    everything of one farm of their own.  Tried are, in this order: whether a farm's sum lies in the row space of what
    was told and of any one other farm's own sums; whether anything in that row space rests on fewer farms than the
    rules ask for; and the bounds of each farm's sum, whole and in each cell, for each reader.

    Examples
    --------
    >>> from balance.formulas.privacy.hierarchy import Contribution, single_margins
    >>> regions = single_margins({"region": ("north", "south")})
    >>> farms = tuple(Contribution(f"farm {n}", 1.0, 1, ("south" if n == 9 else "north",)) for n in range(10))
    >>> naive = Snapshot(2031, farms, frozenset({(), (("region", "north"),)}))
    >>> {(each.kind, each.farms) for each in audit([naive], regions)} == {
    ...     (kind, ("farm 9",)) for kind in (EXPOSED, FEW, BOUNDED)}
    True
    """
    unknowns = unknowns_of(snapshots, hierarchy)
    worlds = Worlds(unknowns, limits.steady)
    asked = sorted(set(unknowns.farms) if farms is None else set(unknowns.farms) & set(farms))
    return (
        *(finding for season in unknowns.by_season() for finding in _exposed(season, asked)),
        *(finding for season in unknowns.by_season() for finding in _few(season, rules)),
        *(finding for farm in asked for finding in _bounded(worlds, farm, limits.within, watch)),
    )


def _exposed(unknowns: Unknowns, asked: Iterable[str]) -> Iterator[Finding]:
    """Ask for every reader, and for none, whether what is left of a farm lies in the row space."""
    left = {farm: mine for farm in asked if (mine := unknowns.of_farm(farm)).any()}
    for reader in (None, *sorted(set(unknowns.farms))):
        own = unknowns.of_farm(reader)
        base = basis(np.where(own, 0.0, unknowns.rows))
        for farm, mine in list(left.items()):
            if farm != reader and _lies_in(base[:, mine]):
                yield Finding(EXPOSED, (farm,), reader, unknowns.told_of(mine))
                del left[farm]


def _lies_in(columns: Numbers) -> bool:
    """Say whether a vector on these columns alone lies in the space: their part of the projection has eigenvalue 1."""
    return bool(columns.size and np.linalg.norm(columns, 2) >= 1 - 1e-9)


def _few(unknowns: Unknowns, rules: PrivacyRules) -> Iterator[Finding]:
    groups: dict[bytes, list[int]] = {}
    for place, column in enumerate(unknowns.rows.T):
        groups.setdefault(column.tobytes(), []).append(place)
    firsts = [places[0] for places in groups.values()]
    behind = [
        frozenset(unknowns.farms[place] for place in places if unknowns.values[place] > 0) for places in groups.values()
    ]
    try:
        found = fewest_behind(unknowns.rows[:, firsts], behind, rules.fewest_others)
    except NotProven:
        yield Finding(NOT_PROVEN, (), None, unknowns.told)
        return
    if found:
        weights = np.linalg.lstsq(unknowns.rows[:, firsts].T, found.vector, rcond=None)[0]
        told = tuple(
            name for name, weight in zip(unknowns.told, weights, strict=True) if abs(weight) > 1e-6 * max(abs(weights))
        )
        yield Finding(FEW, tuple(sorted(found.farms)), None, told)


def _targets(unknowns: Unknowns, farm: str) -> list[Marked]:
    """Give what is asked of a farm: each of its sums by itself, in each told cell, and in each snapshot whole."""
    mine = unknowns.of_farm(farm)
    marks = [np.arange(len(mine)) == place for place in np.flatnonzero(mine)]
    marks += [mine & (row > 0) for row in unknowns.rows]
    return list({mark.tobytes(): mark for mark in marks if mark.any()}.values())


def _bounded(worlds: Worlds, farm: str, within: float, watch: Callable[[], object]) -> Iterator[Finding]:
    unknowns = worlds.unknowns
    watch()
    nearby = CurvedWorlds(replace(unknowns, spreads=(), squares=unknowns.squares[:0]), worlds.steady)
    for target in _targets(unknowns, farm):
        if not unknowns.links and _many_alike(unknowns, target):
            continue
        # Most are found by two steps; the linear programs, which find every one, are for the rest.
        if len(set(np.array(unknowns.seasons)[target])) == 1 and not nearby.closed_to(target, farm, within):
            continue
        # Who owns a farm knows what anybody knows, so where others cannot tell, nor can anybody.
        safe = worlds.safe_from(target, within)
        anybody: list[str | None] = [] if safe else [None]
        readers = [*anybody, *sorted(set(worlds.names) - {farm} - safe)]
        while readers:
            reader = readers.pop(0)
            if not worlds.leave_open(target, reader, within):
                low, high = worlds.bounds(target, reader)
                yield Finding(BOUNDED, (farm,), reader, unknowns.told_of(target), low, high)
                break
            safe = worlds.safe_from(target, within)
            readers = [other for other in readers if other not in safe]


def _many_alike(unknowns: Unknowns, target: Marked) -> bool:
    """Say whether two other farms stand in just the same sums: what one has less of, either may have more of."""
    if unknowns.values[target].sum() == 0:
        return False
    farm = unknowns.farms[int(np.argmax(target))]
    for place in np.flatnonzero(target):
        alike = (unknowns.rows == unknowns.rows[:, [place]]).all(axis=0)
        if len({unknowns.farms[other] for other in np.flatnonzero(alike)} - {farm}) < 2:
            return False
    return True
