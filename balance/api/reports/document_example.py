"""One report as its schema shows it: a block, a section, and one of everything; invented."""

from __future__ import annotations

from typing import Any, Final

from balance.advice import CAUTIONS
from balance.formulas.ranges import ABOVE
from balance.reports.charts import Quantity, SeasonPoint, over_seasons
from balance.reports.document import (
    GOOD,
    OVER,
    BlockLine,
    BlockPage,
    Column,
    FarmReport,
    Figure,
    Section,
    Source,
    Table,
    as_json,
)
from balance.reports.models import UnitSystem

_BLOCK: Final = "01991b5e-0000-7000-8000-00000000b10c"
_CROP_LOAD: Final = Figure(
    "crop_load", "Crop load", 12.3456, "kg/kg", 1, n=24, low=10.9, high=13.8, interval="95 % interval", range_low=5,
    range_high=10, range_source="the farm's own range", verdict=ABOVE,
)  # fmt: skip
_COUNTS: Final = Table(
    "counts_against_targets",
    "Counts against targets",
    (Column("outcome", "Counts against targets"), Column("vines", "Vines", number=True)),
    (("On target, within what the scale can tell", 17), ("Not counted", None)),
)
_CHART: Final = over_seasons(
    "crop_load_over_seasons", "Crop load over the seasons",
    [SeasonPoint(2025, 10.5, 24, 9.3, 11.7), SeasonPoint(2026, 12.3456, 24, 10.9, 13.8)],
    of=Quantity("Crop load", "kg/kg", 1),
)  # fmt: skip
_SECTION: Final = Section(
    "crop_load", "Crop load", ("24 of 120 vines were weighed.",), (_CROP_LOAD,), (_COUNTS,), (_CHART,)
)
_LINE: Final = BlockLine(
    _BLOCK, "Lower Terrace", "Concord", OVER, "Crop load is above the range.", (_CROP_LOAD,),
    ("Crop load rose from 10.5 to 12.3 kg/kg.",), ("Leave fewer nodes, and look at the cause.",), GOOD,
    "24 vines were weighed.",
)  # fmt: skip
DOCUMENT_EXAMPLE: Final[dict[str, Any]] = as_json(
    FarmReport(
        farm="01991b5e-0000-7000-8000-00000000fa01",
        farm_name="Tern Hill Vineyard (invented)",
        region="Harrow Vale (invented)",
        season=2026,
        units=UnitSystem.METRIC,
        taken_at="2026-11-20T15:04:06+00:00",
        made_by="1.0.0",
        summary=(_LINE,),
        blocks=(BlockPage(_BLOCK, "Lower Terrace", "Concord", "own roots", "high wire cordon", 118, (_SECTION,)),),
        sources=(Source("concord_20_10", 1, "20 + 10", "as the catalogue of formulas says", "READ", "targets"),),
        cautions=CAUTIONS,
    ).checked()
)
