"""What a young arm carries: an arm that was laid down, and one that is being filled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from balance.formulas.cordons.candidate_advice import MOST_NODES_VIGOROUS, MOST_NODES_WEAK
from balance.formulas.counting import counted
from balance.formulas.errors import OutOfRange
from balance.formulas.methods import NO_SOURCE, READ

WEAK: Final = "weak"
VIGOROUS: Final = "vigorous"
VIGOURS: Final = (WEAK, VIGOROUS)
#: Nodes that the source prints for an arm: fewest and most; where nobody said how vigorous the vine is, all of it.
PRINTED: Final = {WEAK: (8, MOST_NODES_WEAK), VIGOROUS: (12, MOST_NODES_VIGOROUS), "": (8, MOST_NODES_VIGOROUS)}


@dataclass(frozen=True)
class YoungArm:
    """One arm that is laid down or being filled.

    Attributes
    ----------
    cordon : str
        Its name; empty: the whole vine is renewed from the trunk, and this arm takes the place of all cordons.
    first_winter : bool
        Whether this is the dormant season in which it was laid down.
    nodes_laid_down : int or None
        Where the cane was cut: its nodes as far as it is pencil-thick [nodes], 0 to 200; None: not said.
    vigour : str
        ``weak`` or ``vigorous``; empty: not said.
    part : bool
        Only a part of the cordon is renewed, and the rest of it still bears.
    """

    cordon: str
    first_winter: bool = True
    nodes_laid_down: int | None = None
    vigour: str = ""
    part: bool = False

    @property
    def name(self) -> str:
        return f"{self.cordon.replace('_', ' ')} arm" if self.cordon else "arm of the renewed vine"


def carried_by(arm: YoungArm) -> tuple[int, str, str]:
    """Give the most nodes that a young arm carries, the reason in words, and how well that is known.

    Parameters
    ----------
    arm : YoungArm

    Returns
    -------
    nodes : int
        0 to 15 [nodes].
    sentence, mark : str

    Raises
    ------
    OutOfRange

    References
    ----------
    North Carolina Cooperative Extension, seedless trial planted 2005 (READ): 8 to 10 nodes on a weak vine, 12 to 15 on
    a vigorous one in the first dormant season, or as far as the cane is pencil-thick.  What holds for the winters
    after: common practice, no source.

    Examples
    --------
    >>> [carried_by(YoungArm("left", vigour=each))[0] for each in ("weak", "vigorous", "")]
    [10, 15, 10]
    >>> carried_by(YoungArm("left", nodes_laid_down=7, vigour="vigorous"))[0]
    7
    """
    laid = arm.nodes_laid_down
    if laid is not None and not 0 <= laid <= 200:
        raise OutOfRange("the nodes laid down", laid, 0, 200)
    low, most = PRINTED[arm.vigour]
    vine = f"a {arm.vigour} vine" if arm.vigour else "a weak vine; how vigorous this one is, nobody said"
    if not arm.vigour:
        low, most = PRINTED[WEAK]
    if not arm.first_winter:
        sentence = (
            f"{low} to {most} nodes are printed for the first winter of an arm on {vine}. For later winters nothing is "
            f"printed: {most} stay the limit until it bears."
        )
        return most, sentence, NO_SOURCE
    if laid is None:
        return most, f"{low} to {most} nodes in the first winter on {vine}.", READ if arm.vigour else NO_SOURCE
    if not arm.vigour:  # whoever laid it down saw the vine
        most = MOST_NODES_VIGOROUS
    told = counted(laid, "node was laid down", "nodes were laid down")
    if laid <= most:
        return laid, f"{told}, so it carries no more.", READ
    who = f"a {arm.vigour} vine" if arm.vigour else "even a vigorous vine"
    return most, f"{told}, but {who} carries at most {most} in the first winter.", READ
