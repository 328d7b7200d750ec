"""How pruners guess, all of them together: no pruner, no farm."""

from __future__ import annotations

import math
from typing import Final

from balance.reports.document import Section
from balance.reports.figures import PERCENT, figure
from balance.reports.programs import sums
from balance.reports.programs.document import Released
from balance.reports.programs.privacy import NOTHING, WITHHELD
from balance.reports.programs.releasing import SQUARES
from balance.reports.quantities import Measure, Units

CODE: Final = "calibration"
TITLE: Final = "Calibration of pruners"
_POINTS: Final = Measure(PERCENT.unit, 1, 0)


def section(released: Released, units: Units, season: int) -> Section:  # noqa: ARG001
    """Compose the section."""
    if not released.shows_anything:
        return Section(CODE, TITLE, reason=NOTHING)
    cells = {cell.measure: cell.value for cell in released.cells}
    share, squares = cells.get(sums.GUESS_PERCENT), cells.get(SQUARES + sums.GUESS_PERCENT)
    bias = None if share is None else round(share - 100, 6)
    spread = None if bias is None or squares is None else math.sqrt(max(0.0, squares - bias * bias))
    return Section(
        CODE,
        TITLE,
        (
            f"Guesses that were weighed after, in the winter before the harvest of {season}, each in percent of its "
            "weight; every pair counts once.",
            "A pruner's own calibration is for that farm alone; it is neither here nor in any other report of the "
            "program.",
        ),
        (
            figure("bias", "Mean of guess less weight", _POINTS, bias, reason=WITHHELD),
            figure(
                "spread", "Standard deviation of guess less weight", _POINTS,
                None if spread is None else float(f"{spread:.2g}"), reason=WITHHELD,
            ),
        ),
    )  # fmt: skip
