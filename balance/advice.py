"""What stands beside every number that somebody might cut to."""

from __future__ import annotations

from typing import Final

#: Sources: trust.md section 5 names them; the list follows the pruning-safety page of the extension system.
CAUTIONS: Final = (
    "Guide only, from the weight and formula shown. Check bud survival, cultivar and site with your local "
    "extension or a licensed adviser before cutting.",
    "In doubt leave more and thin later: a bud is easier to take off than to put back. One guide, to table grapes, "
    "says the opposite, too few rather than too many (Michigan State Univ. E-2774).",
    "Sharp tools, eyes, wires and ladders: gloves and eye protection, fingers and wire clear of every cut, and "
    "the tool maker's manual for powered shears. Follow product labels; local rules come first.",
)

BELOW_RANGE: Final = (
    "Below one unit of weight ({unit}) no source prints a formula, so there is no number. A vine this weak is a "
    "matter for a person: look for the cause (winter injury, drought, disease, overcropping, a young vine), and "
    "settle nodes and crop with your local extension or adviser."
)
BELOW_SAID: Final = (
    "Below {0} of prunings the formula's source says nothing, so there is no number. Look why the vine is weak, and "
    "settle nodes and crop with your local extension or adviser, or choose another formula at /api/v1/formulas."
)
ABOVE_SAID: Final = (
    "Above {0} of prunings the formula's source says nothing, so there is no number. Look at more canopy or another "
    "formula for so strong a vine; the choices are at /api/v1/formulas."
)
YOUNG_VINE: Final = (
    "The vine has grown fewer than three seasons, so no formula answers: training comes first. Build trunk and cordon "
    "from the best shoot, take the fruit off early, and let a small crop hang at first when the frame stands; settle "
    "it with your local extension or adviser. If the vine is older, correct year_planted."
)
#: What a target counts, said beside every one.
WHAT_COUNTS: Final = (
    "Count nodes on spurs, canes and renewal spurs together: the nodes of renewal spurs are inside the target. Base "
    "buds are not counted."
)
NOT_WEIGHED: Final = "The prunings were not weighed, so there is nothing to compute from. Send pruning_weight."
NO_FORMULA: Final = (
    "No formula answers for this vine: neither vine, block nor farm names one, and the catalogue has none for the "
    "block's cultivar. Set pruning_formula on the block or the farm; the choices are at /api/v1/formulas."
)
