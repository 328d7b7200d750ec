"""By which rules a plan chooses: the two forms of pruning, their sourced limits, and weights that are ours."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from balance.formulas.methods import NO_SOURCE, READ, READ_LOW, Method

SPUR: Final = "spur"
CANE: Final = "cane"
FORMS: Final = (SPUR, CANE)


@dataclass(frozen=True)
class Weights:
    """What each shortcoming costs, in points; all of them ours (common practice, no source).

    Only their proportions matter.  They are whole numbers, so that two plans can be compared exactly.
    """

    below_wanted: int = 1  #: a node, for 0.01 mm below the wanted diameter
    below_thinnest: int = 4  #: a node, for 0.01 mm below the thinnest, on top of that
    upward: int = 2  #: a node, for a degree above sideways
    creep: int = 2  #: a node, for a millimetre from the cordon
    water_shoot: int = 60  #: a node on a shoot from older wood
    odd_length: int = 30  #: a cane, for a node more or fewer than preferred
    crowding_mm2: int = 8  #: one point for so many square millimetres below the least spacing
    gap_mm2: int = 50  #: one point for so many square millimetres beyond the widest spacing
    renewal: int = 400  #: a cane that asks for a renewal spur beside it and has none; above 0
    balance: int = 10  #: for the squared deviation of an arm's nodes from its share, over that share


@dataclass(frozen=True)
class Rules:
    """The rules of one plan.

    Attributes
    ----------
    form : str
        ``spur`` or ``cane``.
    fewest, most, preferred : int
        Nodes on one spur, or on one cane where the form is ``cane``.
    renewal_fewest, renewal_most : int
        Nodes on a renewal spur.
    renewal_inside : bool
        Whether nodes of renewal spurs count inside the total.
    least_spacing_mm, widest_spacing_mm : int or None
        Between neighbouring spurs along an arm; None where spacing is not asked for.
    wanted_mm, thinnest_mm : float
        Basal diameters: what is wanted, and below what wood is too thin.
    crept_mm : int
        A spur farther from the cordon than this has crept, and asks for a renewal spur beside it.
    reach_mm : int
        How far along the arm a renewal spur may stand from what it is to replace.
    internode_m : float or None
        Mean length of an internode; with it a cane is kept no longer than its arm's space.
    weights : Weights
    """

    form: str
    fewest: int
    most: int
    preferred: int
    least_spacing_mm: int | None
    widest_spacing_mm: int | None
    reach_mm: int
    renewal_fewest: int = 1
    renewal_most: int = 2
    renewal_inside: bool = True
    wanted_mm: float = 8.0
    thinnest_mm: float = 6.35
    crept_mm: int = 100
    internode_m: float | None = None
    weights: Weights = Weights()

    @property
    def wanted(self) -> int:
        """The wanted diameter in hundredths of a millimetre."""
        return round(self.wanted_mm * 100)

    @property
    def thinnest(self) -> int:
        """The thinnest diameter in hundredths of a millimetre."""
        return round(self.thinnest_mm * 100)


#: Spurs of two nodes 8 to 20 cm apart (NC State, READ); two or three nodes (Minnesota, READ); one node is ours.
SPUR_RULES: Final = Rules(
    form=SPUR, fewest=1, most=3, preferred=2, least_spacing_mm=80, widest_spacing_mm=200, reach_mm=100
)
#: Four 8-node canes rather than three of 10; 6 to 8 nodes where wood ripened poorly (E-2774, READ); the reach is ours.
CANE_RULES: Final = Rules(
    form=CANE, fewest=6, most=10, preferred=8, least_spacing_mm=None, widest_spacing_mm=None, reach_mm=200
)


def rules_of(form: str) -> Rules:
    """Give the rules of a form as they stand unless somebody says otherwise."""
    return {SPUR: SPUR_RULES, CANE: CANE_RULES}[form]


METHOD: Final = Method(
    code="spur-plan",
    version=1,
    label="The cheapest choice of nodes on each cane, by points",
    expression="points = Σ nodes × (thin + upward + far + water shoot) + odd lengths + spacing + missing renewal spurs "
    "+ 10 × (Σ arm's nodes² ÷ arm's share − nodes²)",
    source="Objective and weights are ours; what each term asks for is sourced where a source was read",
    mark=NO_SOURCE,
    note="The choice is exactly the cheapest by these points, found by dynamic programming; the points are a way to "
    "weigh one thing against another, not a measurement. Nodes of renewal spurs count inside the total unless asked "
    "otherwise: sources differ.",
)


@dataclass(frozen=True)
class Term:
    """One thing that the plan weighs, with the source of what it asks for."""

    code: str
    label: str
    asks_for: str
    source: str
    mark: str


WOOD, ANGLE, NEARNESS, KIND, LENGTH, SPACING, RENEWAL, BALANCE = (
    "wood", "angle", "nearness", "kind", "length", "spacing", "renewal", "balance",
)  # fmt: skip

_NC_STATE: Final = "NC State Extension Gardener, fig. 14-33"
_E2774: Final = "Zabadal 2002, Michigan State Univ. E-2774"

TERMS: Final = (
    Term(
        WOOD,
        "pencil-thick wood",
        "By default a basal diameter of 8 mm or more is kept without cost; below 1/4 in (6.35 mm) wood is too thin.",
        "8 mm: a grower page of the United Kingdom; 1/4 in: a garden page; Univ. Illinois Extension says a pencil",
        READ_LOW,
    ),
    Term(
        ANGLE,
        "sideways or downward",
        "A cane that stands upward costs more the steeper it stands.",
        "common practice",
        NO_SOURCE,
    ),
    Term(
        NEARNESS,
        "growth reined in",
        "A cane costs more the farther from the cordon it springs.",
        "common practice",
        NO_SOURCE,
    ),
    Term(
        KIND,
        "fruitful wood",
        "A shoot from older wood costs more than a cane on last year's wood.",
        "common practice",
        NO_SOURCE,
    ),
    Term(
        LENGTH,
        "nodes on one spur or cane",
        "By default spurs of two nodes are preferred; canes of eight.",
        f"Two-bud spurs: {_NC_STATE}; four 8-node canes rather than three of 10: {_E2774}",
        READ,
    ),
    Term(
        SPACING,
        "evenness along the cordon",
        "By default spurs stand 3 to 8 in (8 to 20 cm) apart; head and halfway line are the middle of a gap.",
        _NC_STATE,
        READ,
    ),
    Term(
        RENEWAL,
        "renewal spurs",
        "A renewal spur of one or two nodes stands beside a spur that crept, and beside a cane.",
        f"Two nodes: {_E2774}; one or two: a garden page (READ*)",
        READ,
    ),
    Term(
        BALANCE,
        "balance of the arms",
        "Each arm carries nodes in proportion to its space.",
        "common practice",
        NO_SOURCE,
    ),
)
