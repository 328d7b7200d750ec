"""What sources say of a shoot that is to become a cordon, as advice with its source; nothing is refused."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from balance.formulas.counting import counted
from balance.formulas.targets.explanation import plain

#: Basal diameters [m].
QUARTER_INCH_M: Final = 0.00635
KEPT_FROM_M: Final = 0.008
#: Nodes of a first-year arm: weak vines and vigorous ones.
MOST_NODES_WEAK: Final = 10
MOST_NODES_VIGOROUS: Final = 15
MOST_WRAPS: Final = 1

OREGON: Final = "Oregon State Univ., How to renew a grapevine cordon (READ)"
THICKNESS: Final = (
    "A pencil: Univ. Illinois Extension (READ); 8 mm or more kept: a United Kingdom grower page (READ*); 1/4 in: a "
    "garden page (READ*)"
)
NODES: Final = (
    "8 to 10 nodes on weak vines, 12 to 15 on vigorous ones in the first dormant season: North Carolina Cooperative "
    "Extension, seedless trial planted 2005 (READ)"
)
RIPENESS: Final = "Zabadal 2002, Michigan State Univ. E-2774: poorly ripened wood limits canes to 6 to 8 nodes (READ)"


@dataclass(frozen=True)
class Advice:
    """One thing that a source says of the candidate.

    Attributes
    ----------
    code : str
        What it is about.
    warning : bool
        The candidate does not agree with it.
    sentence : str
        What was compared, and what the source says to do.
    source : str
        With its mark.
    """

    code: str
    warning: bool
    sentence: str
    source: str


@dataclass(frozen=True)
class Shoot:
    """What is known of the candidate; None where nobody said.

    Attributes
    ----------
    diameter_m : float or None
        Near its base [m].
    springs_from : str
        ``head``, ``cordon_base``, ``trunk``, ``below_head``, ``below_graft_union``; empty: not said.
    ripeness : str
        ``well_ripened``, ``partly_ripened``, ``poorly_ripened``; empty: not said.
    above_graft_union : bool or None
    nodes_laid_down, wraps : int or None
        Nodes of the arm, and turns round the wire.
    """

    diameter_m: float | None = None
    springs_from: str = ""
    ripeness: str = ""
    above_graft_union: bool | None = None
    nodes_laid_down: int | None = None
    wraps: int | None = None


def advice_on(shoot: Shoot) -> list[Advice]:
    """Hold a candidate against what sources say.

    Parameters
    ----------
    shoot : Shoot

    Returns
    -------
    list of Advice
        Only about what was said of it.

    References
    ----------
    See ``OREGON``, ``THICKNESS``, ``NODES`` and ``RIPENESS``.

    Examples
    --------
    >>> [each.code for each in advice_on(Shoot(diameter_m=0.009, wraps=3)) if each.warning]
    ['wraps']
    """
    return [*_thickness(shoot.diameter_m), *_origin(shoot), *_ripeness(shoot.ripeness), *_nodes(shoot), *_wraps(shoot)]


def _thickness(diameter_m: float | None) -> Iterator[Advice]:
    if diameter_m is None:
        return
    thick = round(diameter_m, 9)
    measured = f"The shoot is {plain(thick * 1000, 1)} mm thick near its base"
    if thick < QUARTER_INCH_M:
        yield Advice(
            "thickness", True, f"{measured}, thinner than a pencil: let it grow a year longer, or lay down less of it.",
            THICKNESS,
        )  # fmt: skip
    elif thick < KEPT_FROM_M:
        yield Advice(
            "thickness", False, f"{measured}: pencil-thick by one source, below the 8 mm of another.", THICKNESS
        )
    else:
        yield Advice("thickness", False, f"{measured}: pencil-thick or more.", THICKNESS)


def _origin(shoot: Shoot) -> Iterator[Advice]:
    if shoot.above_graft_union is False or shoot.springs_from == "below_graft_union":
        yield Advice(
            "graft_union",
            True,
            "The shoot springs from below the graft union, so it is the rootstock's: choose one above it.",
            OREGON,
        )
    elif shoot.springs_from:
        yield Advice(
            "origin",
            False,
            "Choose a one-year-old cane from the head or the trunk, above the graft union, and keep a renewal spur at "
            "the head.",
            OREGON,
        )


def _ripeness(ripeness: str) -> Iterator[Advice]:
    if ripeness in {"partly_ripened", "poorly_ripened"}:
        poor = ripeness == "poorly_ripened"
        yield Advice("ripeness", poor, "Cut back to ripe wood; poorly ripened canes carry 6 to 8 nodes.", RIPENESS)


def _nodes(shoot: Shoot) -> Iterator[Advice]:
    nodes = shoot.nodes_laid_down
    if nodes is None:
        return
    laid = counted(nodes, "node was laid down", "nodes were laid down")
    if nodes > MOST_NODES_VIGOROUS:
        yield Advice("nodes", True, f"{laid}; at most 15 even on a vigorous vine.", NODES)
    elif nodes > MOST_NODES_WEAK:
        yield Advice("nodes", False, f"{laid}: for a vigorous vine; a weak one takes 8 to 10.", NODES)
    else:
        yield Advice("nodes", False, f"{laid}: within what a weak vine takes.", NODES)


def _wraps(shoot: Shoot) -> Iterator[Advice]:
    if shoot.wraps is None:
        return
    sentence = (
        f"The shoot goes round the wire {counted(shoot.wraps, 'time')}; at most once, and unwrap it next winter: "
        "what stays wrapped girdles."
    )
    yield Advice("wraps", shoot.wraps > MOST_WRAPS, sentence, OREGON)
