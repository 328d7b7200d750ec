"""The head and the foot of every answer with a summary."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any, Final

from balance.advice import CAUTIONS
from balance.formulas.methods import Method
from balance.reports.quantities import Units
from balance.summaries.lines import BLOCK, FARM, Read

#: What stands in the examples; all invented.
FARM_ID: Final = "01991b5e-0000-7000-8000-00000000fa12"
BLOCK_ID: Final = "01991b5e-0000-7000-8000-0000000b10c1"
AS_OF: Final = "2027-02-01T08:00:00Z"
PLACE: Final[dict[str, Any]] = {
    "farm": FARM_ID,
    "farm_name": "Tern Hill Vineyard (invented)",
    "region": "Harrow Vale (invented)",
    "block": BLOCK_ID,
    "block_name": "Lower Terrace (invented)",
    "cultivar": "concord",
    "cultivar_name": "Concord",
    "rootstock": "own roots",
    "training": "bilateral_cordon",
    "shelter": "open_field",
}


def head_of(read: Read, units: Units) -> dict[str, Any]:
    """Say what a summary is about, and as of when it holds."""
    scope = read.scope
    farms = list(scope.farms)
    return {
        "scope": scope.kind,
        "farm": str(farms[0].pk) if scope.kind in {FARM, BLOCK} else None,
        "block": str(scope.block) if scope.block else None,
        "season": read.season,
        "as_of": _written(read.as_of),
        "units": str(units.system),
    }


def _written(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="microseconds").removesuffix("+00:00") + "Z"


def says(methods: Iterable[Method]) -> dict[str, Any]:
    """Say by what the figures were computed, with the cautions that stand beside every one."""
    return {"methods": [asdict(method) for method in methods], "cautions": list(CAUTIONS)}


def example_head(scope: str, *, season: int | None = 2027) -> dict[str, Any]:
    """Give the head of an example."""
    return {
        "scope": scope,
        "farm": None if scope == "portfolio" else FARM_ID,
        "block": BLOCK_ID if scope == BLOCK else None,
        "season": season,
        "as_of": AS_OF,
        "units": "metric",
    }
