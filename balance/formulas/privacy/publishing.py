"""Figures of many farms as they are published: decided, tried by the audit, and held back where it found something."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from balance.formulas.privacy.audit import LIMITS, Finding, Limits, audit
from balance.formulas.privacy.cells import Release, release_cells
from balance.formulas.privacy.groups import sort_into_groups
from balance.formulas.privacy.hierarchy import Cell, Contribution, Hierarchy
from balance.formulas.privacy.rules import RULES, PrivacyRules, Withheld
from balance.formulas.privacy.unknowns import Snapshot

TOO_CLOSE = Withheld(
    "tells_too_closely",
    "Withheld because together with what else is told, now or before, it would tell a farm's figure too closely.",
)


@dataclass(frozen=True)
class Published:
    """What may be published, the snapshot of it to keep, and what the audit still finds.

    Findings are left only where what was published before tells of a farm by itself; nothing new adds to them.
    """

    release: Release
    snapshot: Snapshot
    findings: tuple[Finding, ...]


def audited_release(
    season: int,
    contributions: Iterable[Contribution],
    hierarchy: Hierarchy,
    rules: PrivacyRules = RULES,
    *,
    before: Sequence[Snapshot] = (),
    limits: Limits = LIMITS,
    watch: Callable[[], object] = lambda: None,
) -> Published:
    """Decide which cells are told, try the audit on them and on what was published before, and withhold what it finds.

    Parameters
    ----------
    season : int
    contributions : iterable of Contribution
        Of farms that consented, and of no other.
    hierarchy : Hierarchy
        The same as of ``before``.
    rules : PrivacyRules
    before : sequence of Snapshot
        What was published of the same figure: of the season before, and of this one if it is published again.
    limits : Limits
    watch : callable, optional
        Called often, while it works.

    Returns
    -------
    Published

    Raises
    ------
    OutOfRange

    Notes
    -----
    For each finding the smallest told cell that takes part in it is withheld, with those that hold just the same farms'
    sums, and everything is decided and tried anew.  That ends, because each round holds back more cells.  It solves
    linear programs (scipy's HiGHS, loaded here only): seconds for 60 farms, so it belongs into a job.

    Examples
    --------
    >>> from balance.formulas.privacy.hierarchy import single_margins
    >>> regions = single_margins({"region": ("north", "south")})
    >>> farms = [Contribution(f"farm {n}", 2.0, 1, ("south" if n > 9 else "north",)) for n in range(20)]
    >>> len(audited_release(2031, farms, regions).release.told)
    3
    """
    parts = tuple(contributions)
    groups = sort_into_groups(parts, hierarchy)
    held_back: dict[Cell, Withheld] = {}
    doubtful: set[str] | None = None
    told: frozenset[Cell] = frozenset()
    while True:
        release = release_cells(parts, hierarchy, rules, held_back)
        snapshot = Snapshot(season, parts, release.told)
        # Where less is told than before, no farm can come into doubt that was not.
        asked = doubtful if release.told <= told else None
        findings = audit([*before, snapshot], hierarchy, rules, limits, asked, watch=watch)
        told, doubtful = release.told, {farm for finding in findings for farm in finding.farms}
        fresh: set[Cell] = set()
        for finding in findings:
            mine = [cell for place, cell in finding.told if place == len(before)]
            if mine and fresh.isdisjoint(mine):
                fresh.add(groups.by_size(mine)[0])
        if not fresh:
            return Published(release, snapshot, findings)
        held_back |= dict.fromkeys(groups.with_the_same_sum(fresh), TOO_CLOSE)


@dataclass(frozen=True)
class Replacement:
    """Whether a season may be published anew, and why not."""

    allowed: bool
    sentence: str


def may_replace(
    before: Snapshot, contributions: Iterable[Contribution], hierarchy: Hierarchy, rules: PrivacyRules = RULES
) -> Replacement:
    """Say whether a season that was published may be published again from other contributions.

    A snapshot stays as it is until the farms that joined, left or changed are, in every cell told, either none or as
    many as a cell needs: the difference of the two is a sum over them.

    Parameters
    ----------
    before : Snapshot
        The season as it stands published.
    contributions : iterable of Contribution
        What it would be made from now.
    hierarchy : Hierarchy
    rules : PrivacyRules

    Returns
    -------
    Replacement

    Examples
    --------
    >>> from balance.formulas.privacy.hierarchy import single_margins
    >>> regions = single_margins({"region": ("north",)})
    >>> farms = tuple(Contribution(f"farm {n}", 2.0, 1, ("north",)) for n in range(20))
    >>> may_replace(Snapshot(2031, farms[1:], frozenset({()})), farms, regions).allowed
    False
    >>> may_replace(Snapshot(2031, farms[6:], frozenset({()})), farms, regions).allowed
    True
    """
    then, now = sort_into_groups(before.contributions, hierarchy), sort_into_groups(contributions, hierarchy)
    fewest = None
    for cell in sorted(before.told):
        old, new = Counter(then.parts[cell]), Counter(now.parts[cell])
        changed = len({part.farm for part in (old - new) + (new - old)})
        if changed:
            fewest = changed if fewest is None else min(fewest, changed)
    if fewest is None:
        return Replacement(allowed=False, sentence="Nothing that was told has changed.")
    if fewest < rules.fewest_farms:
        return Replacement(
            allowed=False,
            sentence=f"Farms that joined, left or changed in one cell: {fewest}; it takes {rules.fewest_farms}, "
            "or the difference would tell of them. The season stays as it was published.",
        )
    return Replacement(allowed=True, sentence=f"In each cell that changed, {rules.fewest_farms} farms or more did.")
