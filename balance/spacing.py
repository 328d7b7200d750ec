"""Printed rules of how close nodes, shoots and spurs stand: shown to be compared with, and none a default."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from balance.catalogues import FaultyCatalogue, read_rows

#: Measure → UCUM code of the unit in which its rules are kept.
UNITS: Final = {
    "nodes_per_metre": "/m",
    "shoots_per_metre": "/m",
    "spur_spacing": "m",
    "nodes_per_spur": "1",
    "spurs_per_cordon": "1",
}


@dataclass(frozen=True)
class SpacingRule:
    """One version of one printed rule, from ``low`` to ``high``; one figure stands at both ends.

    ``printed`` says it in the source's own units, from which ``low`` and ``high`` were converted.
    """

    code: str
    version: int
    label: str
    measure: str
    low: float
    high: float
    unit: str
    printed: str
    group: str
    cultivar: str
    region: str
    year: int | None
    source: str
    source_mark: str
    note: str

    def __post_init__(self) -> None:
        if UNITS.get(self.measure) != self.unit or not 0 < self.low <= self.high:
            raise FaultyCatalogue(f"{self.code}: {self.measure} from {self.low} to {self.high} {self.unit} is no rule.")

    def total_on(self, metres: float) -> tuple[float, float]:
        """Give the lowest and highest count on a length [m] of what is counted a metre."""
        if self.unit != "/m":
            raise ValueError(f"{self.measure} is not counted a metre")
        return self.low * metres, self.high * metres


def spacing_rules(measure: str | None = None, group: str | None = None) -> tuple[SpacingRule, ...]:
    """Give the printed rules, of one measure or group of cultivars or of all; rules for no group in particular too."""
    rows = read_rows("spacing_rules", SpacingRule)
    wanted = (row for row in rows if measure in {None, row.measure} and (group is None or row.group in {"", group}))
    return tuple(wanted)
