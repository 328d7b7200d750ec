"""Which canes ask for a renewal spur beside them, and which may be one; and how many nodes a cane could keep."""

from __future__ import annotations

from balance.formulas.spur_plan.candidates import Candidate, whole
from balance.formulas.spur_plan.rules import CANE, Rules


def asks_for_renewal(candidate: Candidate, rules: Rules) -> bool:
    """Tell whether a kept spur or cane asks for a renewal spur beside it: it crept, or it is a long cane."""
    return rules.form == CANE or candidate.creep_mm > rules.crept_mm


def may_renew(spur: Candidate, asking: Candidate, rules: Rules) -> bool:
    """Tell whether a cane may be the renewal spur of another: on its arm, within reach, itself near the cordon.

    Where a spur crept, its renewal spur must also be nearer to the cordon than it.

    Examples
    --------
    >>> from balance.formulas.spur_plan.rules import SPUR_RULES
    >>> crept, low = Candidate("a", "left", 0.5, 5, creep_m=0.2), Candidate("b", "left", 0.45, 3, creep_m=0.01)
    >>> may_renew(low, crept, SPUR_RULES), may_renew(crept, low, SPUR_RULES)
    (True, False)
    """
    near = spur.creep_mm <= rules.crept_mm
    nearer = rules.form == CANE or spur.creep_mm < asking.creep_mm
    reach = abs(spur.position_mm - asking.position_mm) <= rules.reach_mm
    return spur.name != asking.name and spur.arm == asking.arm and near and nearer and reach


def most_nodes(candidate: Candidate, space_mm: int, rules: Rules) -> int:
    """Give the most nodes that a cane could keep as a spur or cane: it lives so far, and has so much space.

    With a mean internode, a cane laid outwards along the wire ends before the halfway line.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from balance.formulas.spur_plan.rules import CANE_RULES
    >>> cane = Candidate("a", "left", 0.2, 12)
    >>> most_nodes(cane, 900, CANE_RULES), most_nodes(cane, 900, replace(CANE_RULES, internode_m=0.09))
    (10, 7)
    """
    if candidate.position_mm > space_mm:
        return 0
    most = min(candidate.nodes, rules.most)
    if rules.form == CANE and rules.internode_m:
        most = min(most, (space_mm - candidate.position_mm) // max(1, whole(rules.internode_m, 1000)))
    return most
