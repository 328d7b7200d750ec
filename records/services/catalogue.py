"""Load the catalogues of cultivars and formulas from their files; safe to repeat."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.db import transaction

from records.models import BalanceRange, Cultivar, CultivarGroup, Measure, PruningFormula
from records.models.ranges import UNIT_OF
from records.units import Quantity, to_canonical


class ChangedVersion(Exception):
    """A file changes a version of a formula or range that is in use; a correction must be a new version."""


def load_catalogues(folder: Path) -> dict[str, int]:
    """Bring groups, cultivars, formulas and ranges up to what the files say; give how many rows each has.

    Raises
    ------
    ChangedVersion
        A stored version of a formula or range differs from the file.
    """
    with transaction.atomic():
        for row in _rows(folder / "cultivar_groups.csv"):
            CultivarGroup.objects.update_or_create(code=row.pop("code"), defaults=row)
        for row in _rows(folder / "cultivars.csv", vivc_number=int):
            row["group_id"] = row.pop("group")
            Cultivar.objects.update_or_create(code=row.pop("code"), defaults=row)
        for row in _rows(folder / "pruning_formulas.csv", **_FORMULA_TYPES):
            _load_formula(row)
        for row in _rows(folder / "balance_ranges.csv", **_RANGE_TYPES):
            _load_range(row)
    models = (CultivarGroup, Cultivar, PruningFormula, BalanceRange)
    return {str(model._meta.verbose_name_plural): model._default_manager.count() for model in models}  # noqa: SLF001


_FORMULA_TYPES: dict[str, Callable[[str], Any]] = {
    "version": int,
    "first_nodes": Decimal,
    "further_nodes": Decimal,
    "weight_unit_value": Decimal,
    "lowest_units": Decimal,
    "highest_units": Decimal,
    "minimum_nodes": int,
    "maximum_nodes": int,
    "year": int,
    "is_default": lambda word: word == "yes",
}
_RANGE_TYPES: dict[str, Callable[[str], Any]] = {
    "version": int,
    "low": Decimal,
    "high": Decimal,
    "year": int,
    "is_default": lambda word: word == "yes",
}


def _rows(path: Path, **types: Callable[[str], Any]) -> Iterator[dict[str, Any]]:
    """Give the rows of one file; an empty cell of a typed column is ``None``."""
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            yield {name: (types[name](cell) if cell else None) if name in types else cell for name, cell in row.items()}


def _load_formula(row: dict[str, Any]) -> None:
    row["weight_unit_kg"] = to_canonical(Quantity(row["weight_unit_value"], row["weight_unit"]), "mass")
    _load_version(PruningFormula, "formula_version", row)


def _load_range(row: dict[str, Any]) -> None:
    if row["unit"] != UNIT_OF[Measure(row["measure"])]:
        raise ValueError(
            f"{row['code']} is in {row['unit']}; {row['measure']} is in {UNIT_OF[Measure(row['measure'])]}"
        )
    _load_version(BalanceRange, "range_version", row)


def _load_version(model: type[PruningFormula | BalanceRange], version: str, row: dict[str, Any]) -> None:
    code, number = row.pop("code"), row.pop("version")
    row["group_id"], row["cultivar_id"] = row.pop("group") or None, row.pop("cultivar") or None
    row["is_default"] = bool(row["is_default"])
    shared = model._default_manager.filter(owner_farm=None, owner_program=None)  # noqa: SLF001
    stored, created = shared.get_or_create(**{"code": code, version: number}, defaults=row)
    differing = [name for name, value in row.items() if getattr(stored, name) != value]
    if not created and differing:
        raise ChangedVersion(
            f"{code} version {number} is stored with other {', '.join(differing)}. "
            "A version in use is never changed: add a row with the next version."
        )
