"""How much of a vine to propose for replacement: one cordon, or the whole vine from the trunk."""

from __future__ import annotations

from typing import Final

from balance.formulas.methods import OWN, Method

ONE_CORDON: Final = "cordon"
WHOLE_VINE: Final = "vine"
#: With so many failing cordons the vine is renewed from the trunk.
CORDONS_OF_A_WHOLE_VINE: Final = 2

SCOPE_SOURCE: Final = (
    "Univ. California, trunk-disease extension pages (READ; address not kept): symptoms on one cordon: retrain that "
    "cordon by laying down a healthy cane; on more than one: the whole vine from a trunk sucker"
)
METHOD: Final = Method(
    code="cordon_proposals",
    version=1,
    label="cordons proposed for replacement by the farm's own thresholds",
    expression=(
        "share of blank positions, blank length, dieback or years in decline ≥ threshold, or living positions < "
        "threshold, in the newest inspection; one such cordon: that cordon, more than one: the whole vine"
    ),
    source=f"Thresholds: the farm's own. One cordon or the whole vine: {SCOPE_SOURCE}",
    mark=OWN,
    note=(
        "No source prints a share of blank cordon at which to act, so a threshold that is not set proposes nothing. A "
        "part of a cordon is never proposed: no source says where it would end."
    ),
)


def proposed_scope(failing_cordons: int, *, another_under_way: bool) -> str:
    """Give how much of a vine to propose for replacement.

    Parameters
    ----------
    failing_cordons : int
        Cordons of the vine that are proposed, 1 or more.
    another_under_way : bool
        Another cordon of the vine is being replaced already; then the trunk is kept, and each is proposed by itself.

    Returns
    -------
    {"cordon", "vine"}

    References
    ----------
    See ``SCOPE_SOURCE``. What holds while another cordon is being replaced: common practice, no source.

    Examples
    --------
    >>> proposed_scope(1, another_under_way=False), proposed_scope(2, another_under_way=False)
    ('cordon', 'vine')
    >>> proposed_scope(2, another_under_way=True)
    'cordon'
    """
    return WHOLE_VINE if failing_cordons >= CORDONS_OF_A_WHOLE_VINE and not another_under_way else ONE_CORDON
