"""Put together what the report of a program says, out of what was released and nothing else."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Final

from balance.advice import CAUTIONS
from balance.formulas.cordons import blank_share
from balance.formulas.cordons.forecast import FORECAST
from balance.formulas.crops import crop_load as crop_loads
from balance.formulas.guesses.calibration import AGREEMENT
from balance.formulas.methods import Method
from balance.formulas.privacy.rules import RELEASE
from balance.models import ProgramReport
from balance.reports.document import Section, Source
from balance.reports.programs import calibration, outlook, participation, privacy
from balance.reports.programs.document import ProgramDocument, Released
from balance.reports.programs.groups import CROP_LOADS, STRUCTURE, TARGETS, VINE_SIZE, grouped
from balance.reports.quantities import Units, units_of

Part = Callable[[Released, Units, int], Section]
#: In the order in which they stand.
SECTIONS: Final[tuple[Part, ...]] = (
    participation.section,
    grouped(VINE_SIZE),
    grouped(TARGETS),
    grouped(CROP_LOADS),
    grouped(STRUCTURE),
    calibration.section,
    outlook.section,
    privacy.left_out,
    privacy.rules,
)
_METHODS: Final[tuple[tuple[Method, str], ...]] = (
    (RELEASE, "which figures are shown"),
    (crop_loads.METHOD, "crop load"),
    (blank_share.METHOD, "blank cordon"),
    (AGREEMENT, "guesses of pruners"),
    (FORECAST, "replacement outlook"),
)


def compose(report: ProgramReport, released: Released, taken_at: datetime, made_by: str) -> ProgramDocument:
    """Compose the whole report."""
    units = units_of(report.units)
    return ProgramDocument(
        program=str(report.program_id),
        program_name=report.program.name,
        region=report.program.region,
        season=report.season,
        units=report.units,
        taken_at=taken_at.astimezone(UTC).isoformat(timespec="seconds"),
        made_by=made_by,
        sections=tuple(part(released, units, report.season) for part in SECTIONS),
        sources=tuple(_sources()),
        cautions=CAUTIONS,
        released=released,
    ).checked()


def _sources() -> Iterator[Source]:
    for method, used_for in _METHODS:
        yield Source(method.code, method.version, method.label, method.source, method.mark, used_for)
