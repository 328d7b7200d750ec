"""Printed rules of how many clusters a shoot keeps by its length: one set a growing system, and none a default."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from balance.catalogues import read_rows
from balance.formulas.methods import Method
from balance.formulas.yields.shoot_thinning import ShootRule
from records.units import Quantity, to_canonical


@dataclass(frozen=True)
class ThinningRule:
    """One version of one printed rule; ``cultivars`` are codes with a space between, empty where none is named."""

    code: str
    version: int
    label: str
    growing_system: str
    cultivars: str
    none_up_to: Decimal | None
    none_at_step: bool
    one_up_to: Decimal | None
    unit: str
    longer: int
    region: str
    year: int | None
    source: str
    source_mark: str
    note: str

    def rule(self) -> ShootRule:
        """Give the rule as the formula takes it."""
        return ShootRule(self._metres(self.none_up_to), self._metres(self.one_up_to), self.longer, self.none_at_step)

    def method(self) -> Method:
        """Give the rule as answers name it."""
        return Method(self.code, self.version, self.label, self._expression(), self.source, self.source_mark, self.note)

    def _metres(self, length: Decimal | None) -> float | None:
        return None if length is None else float(to_canonical(Quantity(length, self.unit), "length"))

    def _expression(self) -> str:
        parts = []
        if self.none_up_to is not None:
            parts.append(f"none {'up to' if self.none_at_step else 'under'} {self.none_up_to} {self.unit}")
        if self.one_up_to is not None:
            parts.append(f"one up to {self.one_up_to} {self.unit}")
        return ", ".join([*parts, f"{self.longer} on {'longer' if parts else 'all'} shoots"])


def thinning_rules() -> tuple[ThinningRule, ...]:
    """Give every rule, each version."""
    return read_rows("thinning_rules", ThinningRule)


def thinning_rule(code: str) -> ThinningRule | None:
    """Give the newest version of a rule; ``code@version`` names another."""
    name, _, number = code.partition("@")
    versions = [row for row in thinning_rules() if row.code == name and number in {"", str(row.version)}]
    return max(versions, key=lambda row: row.version, default=None)
