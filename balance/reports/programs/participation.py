"""How many farms, blocks and vines stand behind the report: bands and tens, never the exact number."""

from __future__ import annotations

from typing import Final

from balance.reports.document import Column, Section, Table
from balance.reports.programs.document import Released
from balance.reports.programs.privacy import GROUPS_SAID, NOTHING, farms_said
from balance.reports.quantities import Units
from balance.reports.words import number

CODE: Final = "participation"
TITLE: Final = "Participation"
_COLUMNS: Final = (Column("what", "What"), Column("many", "How many"))


def section(released: Released, units: Units, season: int) -> Section:  # noqa: ARG001
    """Compose the section."""
    if not released.shows_anything:
        return Section(CODE, TITLE, reason=NOTHING)
    rows = (
        ("Growers counted", farms_said(released.farms)),
        ("Blocks", _about(released.blocks)),
        ("Vines standing", _about(released.vines)),
    )
    said = (
        f"Counted are the farms whose owner lets the program count them in its summaries, as it was when the report of "
        f"{season} was made. Farms with one owner count as one grower."
    )
    return Section(CODE, TITLE, (said, GROUPS_SAID), tables=(Table("counted", "What is counted", _COLUMNS, rows),))


def _about(many: int | None) -> str:
    return f"about {number(many or 0)}"
