"""How many cordons of all growers together are expected to need replacing in the winters ahead."""

from __future__ import annotations

from typing import Final

from balance.cordons.survival import AGE, SINCE_FIRST_INSPECTION
from balance.formulas.cordons.forecast import USUAL_CONFIDENCE
from balance.formulas.counting import counted
from balance.reports.charts import Quantity, SeasonPoint, over_seasons
from balance.reports.document import Chart, Column, Section, Table
from balance.reports.programs.document import Released, ReleasedOutlook
from balance.reports.programs.privacy import NOTHING, WITHHELD
from balance.reports.quantities import Units
from balance.reports.words import number

CODE: Final = "replacement_outlook"
TITLE: Final = "Replacement outlook"
_INTERVAL: Final = f"{USUAL_CONFIDENCE:g} % interval"
_CLOCKS: Final = {AGE: "by the cordon's age", SINCE_FIRST_INSPECTION: "by the years since a cordon was first looked at"}


def section(released: Released, units: Units, season: int) -> Section:  # noqa: ARG001
    """Compose the section."""
    told = released.outlook
    if told is None:
        return Section(CODE, TITLE, reason=WITHHELD if released.shows_anything else NOTHING)
    said = (
        f"It rests on about {counted(number(told.standing), 'cordon that stands', 'cordons that stand')} and about "
        f"{counted(number(told.followed), 'winter')} over which a cordon was followed, {_CLOCKS[told.clock]}.",
        "Every cordon that fails is taken as replaced in the same winter. The interval holds chance and how well the "
        "chance of failing is known, not a winter unlike those on record.",
    )
    return Section(CODE, TITLE, said, tables=(_table(told),), charts=(_chart(told),))


def _table(told: ReleasedOutlook) -> Table:
    columns = (
        Column("season", "Winter before harvest", number=True),
        Column("expected", "Expected", "cordons", number=True),
        Column("low", "Low", "cordons", number=True),
        Column("high", "High", "cordons", number=True),
    )
    rows = tuple((each.season, each.value, each.low, each.high) for each in told.winters)
    return Table(
        "replacements", "Cordons expected to need replacing", columns, rows, note=f"Low and high: {_INTERVAL}."
    )


def _chart(told: ReleasedOutlook) -> Chart:
    points = [SeasonPoint(each.season, each.value, None, each.low, each.high) for each in told.winters]
    of = Quantity("Cordons to replace", "", 0)
    return over_seasons("replacements", "Cordons expected to need replacing", points, of=of, interval=_INTERVAL)
