"""A report as it could be told, invented, and the same report with hostile text wherever a person could write."""

from __future__ import annotations

from typing import Any

from balance.advice import CAUTIONS
from balance.reports.charts import (
    Assigned,
    Centre,
    Quantity,
    SeasonPoint,
    ShareRow,
    histogram,
    over_seasons,
    shares,
)
from balance.reports.document import (
    GOOD,
    IN_BALANCE,
    LOW,
    NOT_KNOWN,
    OVER,
    UNDER,
    BlockLine,
    BlockPage,
    Chart,
    Column,
    FarmReport,
    Figure,
    Section,
    Source,
    Table,
    as_json,
)

#: What no person writes: codes that choose a word, the moment, and what is drawn.
NOT_WRITTEN = {"schema", "taken_at", "units", "standing", "verdict", "confidence", "spec", "check_code"}

CROP_LOAD = Figure(
    "crop_load", "Crop load", 12.345678901, "kg/kg", 1, n=24, low=10.9, high=13.8, interval="95 % interval",
    range_low=5, range_high=10, range_source="the farm's own range, set 2026-11-02", verdict="above",
)  # fmt: skip
CHANGE = Figure("change", "Change of mean pruning weight", -0.25, "lb", 2, n=24)
NO_FIGURE = Figure("crop_load", "Crop load", None, "kg/kg", 1, reason="No vine of the block was weighed.")
COUNTS = Table(
    "counts_against_targets",
    "Counts against targets",
    (Column("outcome", "Counts against targets"), Column("vines", "Vines", number=True)),
    (("On target, within what the scale can tell", 17), ("More nodes than the target", 5), ("Not counted", None)),
    note="A vine without a weight has no target.",
)
SUSPECTS = Table(
    "suspicious_records",
    "Records that need a look",
    (
        Column("season", "Season", number=True), Column("row", "Row", number=True),
        Column("vine", "Vine", number=True), Column("weight", "Pruning weight", "lb", number=True, digits=2),
        Column("change", "Change to the year before", "lb", number=True, digits=2), Column("why", "Why"),
    ),
    ((2026, 3, 14, 12.5, 10.25, "four times what its neighbours weigh"), (2026, 4, 2, 0.0, -2.5, "zero, and counted")),
)  # fmt: skip


def charts(title: str = "Pruning weights", name: str = "Lower Terrace") -> tuple[Chart, ...]:
    """Give one chart of each kind, as the sections make them, with a text of somebody's in title, row and source."""
    weights = [0.4, 0.9, 1.1, 1.3, 1.6, 1.6, 1.9, 2.2, 2.4, 3.1, None]
    years = [
        SeasonPoint(2023, 8.25, 24, 7.1, 9.4), SeasonPoint(2024, None, reason=f"Nothing was weighed. {title}"),
        SeasonPoint(2025, 10.5, 24, 9.3, 11.7), SeasonPoint(2026, 12.345678901, 24, 10.9, 13.8),
    ]  # fmt: skip
    rows = [ShareRow(name, (17, 5, 2)), ShareRow("Hill", None, "not counted")]
    load = Quantity("Crop load", "kg/kg", 1)
    weight = Quantity("Pruning weight of a vine", "lb")
    return (
        histogram("weights", title, weights, of=weight, centre=Centre("mean", 1.65, 1.2, 2.1, "95 % interval")),
        over_seasons("crop_load", title, years, of=load, assigned=Assigned(5, 10, title, 0)),
        shares("counts", title, ("On target", "More than the target", "Fewer than the target"), rows),
    )


def report(charts: tuple[Chart, ...] = ()) -> FarmReport:
    """Give the report of an invented farm with a block of each standing."""
    lines = (
        _line("b1", "Lower Terrace", OVER, "Crop load is above the range.", (CROP_LOAD, CHANGE)),
        _line("b2", "Upper Terrace", UNDER, "Crop load is below the range.", ()),
        _line("b3", "Hill", IN_BALANCE, "Crop load is within the range.", ()),
        _line("b4", "West", NOT_KNOWN, "No vine was weighed.", (NO_FIGURE,)),
    )
    sources = (Source("concord_20_10", 1, "20 + 10", "an invented bulletin", "READ", "targets"),)
    said = FarmReport(
        farm="f", farm_name="Tern Hill Vineyard (invented)", region="Harrow Vale (invented)", season=2026, units="us",
        taken_at="2026-11-20T15:04:06+00:00", made_by="1.0.0", summary=lines,
        blocks=tuple(_page(line, charts) for line in lines), sources=sources, cautions=CAUTIONS,
    )  # fmt: skip
    return said.checked()


def _line(block: str, name: str, standing: str, why: str, figures: tuple[Figure, ...]) -> BlockLine:
    known = standing != NOT_KNOWN
    return BlockLine(
        block, name, "Concord", standing, why, figures, ("Mean pruning weight fell by 0.25 lb.",) if known else (),
        ("Leave 40 to 50 nodes on a vine of mean size.", "Weigh again."), GOOD if known else LOW, "24 vines weighed.",
    )  # fmt: skip


def _page(line: BlockLine, charts: tuple[Chart, ...]) -> BlockPage:
    empty = Section("prunings", "Prunings, targets and counts", reason="No vine of the block was weighed.")
    full = Section(
        "prunings", "Prunings, targets and counts", ("24 of 120 places have a weight.",), (CROP_LOAD, CHANGE),
        (COUNTS, SUSPECTS), charts,
    )  # fmt: skip
    sections = (empty,) if line.standing == NOT_KNOWN else (full,)
    return BlockPage(line.block, line.name, line.cultivar, "own roots", "Hudson River umbrella", 118, sections)


def document(charts: tuple[Chart, ...] = ()) -> dict[str, Any]:
    return as_json(report(charts))


def with_text(plain: Any, text: str) -> Any:
    """Give the document with a text in every place where a person could have written one."""
    if isinstance(plain, dict):
        return {name: said if name in NOT_WRITTEN else with_text(said, text) for name, said in plain.items()}
    if isinstance(plain, list):
        return [with_text(said, text) for said in plain]
    return text if isinstance(plain, str) and plain else plain
