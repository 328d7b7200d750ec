"""Why each cane is kept or cut, in words and with the numbers that the plan weighed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from balance.formulas.counting import counted
from balance.formulas.spur_plan.candidates import WATER_SHOOT, Candidate
from balance.formulas.spur_plan.evaluation import Kept, linked
from balance.formulas.spur_plan.points import length_points, node_points
from balance.formulas.spur_plan.renewal import asks_for_renewal, most_nodes
from balance.formulas.spur_plan.rules import CANE, LENGTH, SPUR, Rules
from balance.formulas.targets.explanation import plain

RENEWAL_SPUR: Final = "renewal_spur"
CUT: Final = "cut"
ROLES: Final = (SPUR, CANE, RENEWAL_SPUR, CUT)


@dataclass(frozen=True)
class Choice:
    """What becomes of one cane, and why.

    Attributes
    ----------
    name, arm : str
    role : str
        ``spur``, ``cane``, ``renewal_spur`` or ``cut``.
    nodes, living : int
        Kept, and living before the cut [nodes].
    sentence : str
    points : dict of str to int
        What it costs by itself, term by term; all 0 where it is cut. Gaps, renewal and balance lie between canes.
    dearer : int or None
        Of a cane that is cut: how much more the best plan of the same total costs that keeps it [points]; None where
        there is none, and where it is kept.
    """

    name: str
    arm: str
    role: str
    nodes: int
    living: int
    sentence: str
    points: Mapping[str, int]
    dearer: int | None


@dataclass(frozen=True)
class Situation:
    """What a choice is explained from.

    Attributes
    ----------
    kept : dict of str to Kept
        By the name of the cane.
    beside : dict of str to tuple
        Of every kept cane the kept ones beside it, towards the head and outwards; None at the ends.
    standing : dict of str to list of int
        Of every arm, where its kept canes stand [mm].
    spaces : dict of str to int
        Of every arm [mm].
    with_each : dict of str to (int or None)
        Points of the best plan of the total that keeps a cane.
    points, total : int
        Of the plan [points, nodes].
    """

    kept: Mapping[str, Kept]
    beside: Mapping[str, tuple[Kept | None, Kept | None]]
    standing: Mapping[str, Sequence[int]]
    spaces: Mapping[str, int]
    with_each: Mapping[str, int | None]
    points: int
    total: int


def situation_of(
    kept: Sequence[Kept], spaces: Mapping[str, int], with_each: Mapping[str, int | None], points: int, total: int
) -> Situation:
    """Give the situation of a plan; what is kept comes arm by arm, from the head outwards."""
    beside: dict[str, tuple[Kept | None, Kept | None]] = {}
    standing: dict[str, list[int]] = {}
    for arm in spaces:
        here = [one for one in kept if one.candidate.arm == arm]
        standing[arm] = [one.candidate.position_mm for one in here]
        ends = [None, *here, None]
        for (before, one), (_, after) in pairwise(pairwise(ends)):
            if one is not None:
                beside[one.candidate.name] = (before, after)
    return Situation({one.candidate.name: one for one in kept}, beside, standing, spaces, with_each, points, total)


def choice_of(candidate: Candidate, situation: Situation, rules: Rules) -> Choice:
    """Give what becomes of one cane, in words."""
    one = situation.kept.get(candidate.name)
    each = {term: int(points[0]) for term, points in node_points([candidate], rules).items()}
    if one is None:
        dearer = _dearer(candidate, situation)
        sentence = _cut(candidate, situation, dearer, rules)
        nothing = dict.fromkeys([*each, LENGTH], 0)
        return Choice(candidate.name, candidate.arm, CUT, 0, candidate.nodes, sentence, nothing, dearer)
    points = {term: a_node * one.nodes for term, a_node in each.items()}
    points[LENGTH] = int(length_points(one.nodes, rules, one.renews))
    role = RENEWAL_SPUR if one.renews else rules.form
    sentence = _kept(one, situation, rules)
    return Choice(candidate.name, candidate.arm, role, one.nodes, candidate.nodes, sentence, points, None)


def _dearer(candidate: Candidate, situation: Situation) -> int | None:
    with_it = situation.with_each.get(candidate.name)
    return None if with_it is None else with_it - situation.points


def _kept(one: Kept, situation: Situation, rules: Rules) -> str:
    candidate = one.candidate
    good, bad = _properties(candidate, rules)
    beside = situation.beside[candidate.name]
    role = "a renewal spur" if one.renews else f"a {rules.form}"
    said = [f"Kept {one.nodes} of {_nodes(candidate.nodes, 'living ')} as {role}"]
    said.append(f"because it is {', '.join(good)}" if good else "")
    said.append(f"although it is {', '.join(bad)}" if bad else "")
    first = ", ".join(part for part in said if part)
    return f"{first}. {_distances(one, beside, situation, rules)}{_renewal(one, beside, rules)}"


def _nodes(count: int, kind: str = "") -> str:
    return counted(count, f"{kind}node")


def _properties(candidate: Candidate, rules: Rules) -> tuple[list[str], list[str]]:
    """Give what speaks for a cane and what against it; what was not measured says nothing."""
    good: list[str] = []
    bad: list[str] = []
    if candidate.diameter_mm is not None:
        thick = f"{plain(candidate.diameter_mm, 2)} mm thick"
        if candidate.thickness >= rules.wanted:
            good.append(f"{thick} ({plain(rules.wanted_mm, 2)} mm or more is wanted)")
        elif candidate.thickness >= rules.thinnest:
            bad.append(f"{thick}, less than the {plain(rules.wanted_mm, 2)} mm wanted")
        else:
            bad.append(f"{thick}, thinner than {plain(rules.thinnest_mm, 2)} mm")
    if candidate.angle_deg is not None:
        degrees = round(candidate.angle_deg)
        if degrees > 0:
            bad.append(f"upward by {degrees}°")
        else:
            good.append(f"downward by {-degrees}°" if degrees else "sideways")
    if candidate.creep_m is not None:
        crept = candidate.creep_mm > rules.crept_mm
        far = f"{candidate.creep_mm} mm from the cordon" if candidate.creep_mm else "on the cordon"
        (bad if crept else good).append(far)
    if candidate.kind == WATER_SHOOT:
        bad.append("a shoot from older wood")
    return good, bad


def _distances(one: Kept, beside: tuple[Kept | None, Kept | None], situation: Situation, rules: Rules) -> str:
    """Say how far the neighbours are, and, where spacing is asked for, how far apart they would be without it."""
    at, (before, after) = one.candidate.position_mm, beside
    space = situation.spaces[one.candidate.arm]
    inner, outer = (before.candidate.position_mm if before else 0), (after.candidate.position_mm if after else space)
    inwards = "from the kept one before it" if before else "from the head"
    outwards = "from the next one" if after else "from the halfway line"
    said = f"It stands {at - inner} mm {inwards} and {outer - at} mm {outwards}"
    if rules.widest_spacing_mm is None or outer - inner <= rules.widest_spacing_mm:
        return f"{said}."
    return f"{said}; without it {outer - inner} mm would be bare."


def _renewal(one: Kept, beside: tuple[Kept | None, Kept | None], rules: Rules) -> str:
    names = [f"{other.candidate.name!r}" for other in beside if other is not None and linked(one, other, rules)]
    if one.renews:
        outside = "" if rules.renewal_inside else " Its nodes do not count inside the total."
        return f" It renews {' and '.join(names)}.{outside}"
    if not asks_for_renewal(one.candidate, rules):
        return ""
    why = "A long cane asks" if rules.form == CANE else f"It crept beyond {rules.crept_mm} mm and asks"
    found = f"it is {' and '.join(names)}" if names else "no cane beside it could be one at less cost"
    return f" {why} for a renewal spur: {found}."


def _cut(candidate: Candidate, situation: Situation, dearer: int | None, rules: Rules) -> str:
    space = situation.spaces[candidate.arm]
    if candidate.position_mm > space:
        return (
            f"Cut: it stands {candidate.position_mm} mm from the head, beyond the halfway line to the neighbour at "
            f"{space} mm."
        )
    if candidate.nodes == 0:
        return "Cut: it has no living node."
    if dearer is None:
        most = most_nodes(candidate, space, rules)
        if most < rules.fewest:
            return f"Cut: it can keep {_nodes(most)}, and a {rules.form} has {rules.fewest} or more."
        return f"Cut: no plan of {_nodes(situation.total)} keeps it."
    against = [*_properties(candidate, rules)[1], *_crowding(candidate, situation, rules)]
    why = "; ".join(against) if against else "a good cane, but the total is reached without it"
    if dearer == 0:
        return f"Cut: {why}. Another plan of {_nodes(situation.total)} that keeps it is as good."
    more = counted(str(dearer), "point")
    return f"Cut: {why}. The best plan of {_nodes(situation.total)} that keeps it costs {more} more."


def _crowding(candidate: Candidate, situation: Situation, rules: Rules) -> list[str]:
    distances = [abs(candidate.position_mm - at) for at in situation.standing[candidate.arm]]
    if rules.least_spacing_mm is None or not distances or min(distances) >= rules.least_spacing_mm:
        return []
    return [f"{min(distances)} mm from the next one kept"]
