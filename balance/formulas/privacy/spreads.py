"""Whether means and spreads together tell of one farm, and which spreads may be told."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from balance.formulas.privacy.audit import LIMITS, Finding, Limits
from balance.formulas.privacy.groups import sort_into_groups
from balance.formulas.privacy.hierarchy import Cell, Contribution, Hierarchy
from balance.formulas.privacy.other_worlds import CurvedWorlds, Marked
from balance.formulas.privacy.unknowns import Snapshot, Unknowns, unknowns_of

WITH_SPREAD: Final = "bounded_with_spread"


def spread_of(parts: Iterable[Contribution]) -> float:
    r"""Give how far what farms bring lies about its mean: the standard deviation, each weighted.

    Notes
    -----
    With sums x and weights w, :math:`\sqrt{\sum x^2 / w \,/ \sum w - (\sum x / \sum w)^2}`: of all there are, not an
    estimate from a sample.  It is computed about the mean, so that nothing is lost by subtraction.

    Examples
    --------
    >>> spread_of([Contribution("a", 2.0, 2, ()), Contribution("b", 9.0, 3, ())])
    0.9797958971132712
    """
    those = list(parts)
    weight = math.fsum(part.weight for part in those)
    mean = math.fsum(part.value for part in those) / weight
    return math.sqrt(math.fsum((part.value / part.weight - mean) ** 2 * part.weight for part in those) / weight)


def audit_spreads(
    snapshots: Sequence[Snapshot],
    hierarchy: Hierarchy,
    limits: Limits = LIMITS,
    farms: Collection[str] | None = None,
    *,
    watch: Callable[[], object] = lambda: None,
) -> tuple[Finding, ...]:
    """Try what a reader of all means and spreads could work out about one farm.

    Parameters
    ----------
    snapshots : sequence of Snapshot
        As for ``audit.audit``, which looks at the means alone and comes first.
    hierarchy : Hierarchy
    limits : Limits
    farms : collection of str, optional
        Ask about these alone; about all, if left out.
    watch : callable, optional
        Called after each farm.

    Returns
    -------
    tuple of Finding
        Of kind ``bounded_with_spread``: sums for which no world was found that some reader could not tell from this
        one, and in which the sum is another by the share of ``limits``.

    Notes
    -----
    The reader is taken to know what ``audit.audit`` says, and all spreads unrounded.  See ``other_worlds.Curved``.

    Examples
    --------
    >>> from balance.formulas.privacy.hierarchy import TOTAL, single_margins
    >>> plain = single_margins({})
    >>> told = frozenset({TOTAL})
    >>> alike = tuple(Contribution(f"farm {n}", 2.0 + n / 100, 1, ()) for n in range(8))
    >>> unlike = tuple(Contribution(f"farm {n}", 2.0 + n / 2, 1, ()) for n in range(8))
    >>> [len(audit_spreads([Snapshot(2031, farms, told, told)], plain)) for farms in (alike, unlike)]
    [8, 0]
    """
    unknowns = unknowns_of(snapshots, hierarchy)
    if not unknowns.spreads:
        return ()
    asked = sorted(set(unknowns.farms) if farms is None else set(unknowns.farms) & set(farms))
    return tuple(_found(CurvedWorlds(unknowns, limits.steady), asked, limits.within, watch))


def _found(worlds: CurvedWorlds, asked: Sequence[str], within: float, watch: Callable[[], object]) -> Iterator[Finding]:
    unknowns = worlds.unknowns
    for farm in asked:
        for target in _targets(unknowns, farm):
            told = tuple(
                name for name, row in zip(unknowns.spreads, unknowns.squares, strict=True) if (row[target] > 0).any()
            )
            # Where no spread holds it, the spreads have nothing to do with what is known of it.
            reader = _who_can_tell(worlds, target, farm, within) if told else None
            if reader is not None:
                yield Finding(WITH_SPREAD, (farm,), reader or None, told)
        watch()


def _targets(unknowns: Unknowns, farm: str) -> list[Marked]:
    """Give what is asked of a farm: each of its sums by itself, and in each cell that was told."""
    own = unknowns.of_farm(farm)
    marks = [np.arange(len(own)) == place for place in np.flatnonzero(own)]
    marks += [own & (row > 0) for row in unknowns.rows]
    return list({mark.tobytes(): mark for mark in marks if mark.any()}.values())


def _who_can_tell(worlds: CurvedWorlds, target: Marked, farm: str, within: float) -> str | None:
    """Give a reader for whom no other world is found, an empty name for anybody; None where each finds one."""
    left = worlds.closed_to(target, farm, within)
    if not left:
        return None
    names = np.array(worlds.unknowns.farms)
    if not worlds.leave_open(target, np.ones(len(names), bool), within):
        return ""
    return next((each for each in sorted(left) if not worlds.leave_open(target, names != each, within)), None)


def with_spreads(
    snapshot: Snapshot,
    hierarchy: Hierarchy,
    *,
    before: Sequence[Snapshot] = (),
    limits: Limits = LIMITS,
    watch: Callable[[], object] = lambda: None,
) -> Snapshot:
    """Give a snapshot of means with the spreads that may be told beside them.

    Parameters
    ----------
    snapshot : Snapshot
        Of means that have been through ``publishing.audited_release``.
    hierarchy : Hierarchy
    before : sequence of Snapshot
        What was published of the same figure, with its spreads.
    limits : Limits
    watch : callable, optional
        Called often, while it works.

    Returns
    -------
    Snapshot

    Notes
    -----
    For each finding the spread of the smallest cell that takes part is held back, and all is tried anew until nothing
    is found that a spread of this snapshot has a part in.  Means are never held back for a spread.
    """
    groups = sort_into_groups(snapshot.contributions, hierarchy)
    spreads: frozenset[Cell] = snapshot.told
    doubtful: set[str] | None = None
    while spreads:
        tried = replace(snapshot, spreads=spreads)
        findings = audit_spreads([*before, tried], hierarchy, limits, doubtful, watch=watch)
        doubtful = {farm for finding in findings for farm in finding.farms}
        fresh: set[Cell] = set()
        for finding in findings:
            mine = [cell for place, cell in finding.told if place == len(before)]
            if mine and fresh.isdisjoint(mine):
                fresh.add(groups.by_size(mine)[0])
        if not fresh:
            break
        spreads -= fresh
    return replace(snapshot, spreads=spreads)
