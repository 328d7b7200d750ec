"""Load the catalogues of cultivars and formulas from their files; safe to repeat."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.db import transaction

from records.models import Cultivar, CultivarGroup, PruningFormula
from records.units import Quantity, to_canonical


class ChangedFormula(Exception):
    """A file changes a version of a formula that is in use; a correction must be a new version."""


def load_catalogues(folder: Path) -> dict[str, int]:
    """Bring groups, cultivars and formulas up to what the files say; give how many rows each has.

    Raises
    ------
    ChangedFormula
        A stored version of a formula differs from the file.
    """
    with transaction.atomic():
        for row in _rows(folder / "cultivar_groups.csv"):
            CultivarGroup.objects.update_or_create(code=row.pop("code"), defaults=row)
        for row in _rows(folder / "cultivars.csv", vivc_number=int):
            row["group_id"] = row.pop("group")
            Cultivar.objects.update_or_create(code=row.pop("code"), defaults=row)
        for row in _rows(folder / "pruning_formulas.csv", **_FORMULA_TYPES):
            _load_formula(row)
    models = (CultivarGroup, Cultivar, PruningFormula)
    return {str(model._meta.verbose_name_plural): model._default_manager.count() for model in models}  # noqa: SLF001


_FORMULA_TYPES: dict[str, Callable[[str], Any]] = {
    "version": int,
    "first_nodes": Decimal,
    "further_nodes": Decimal,
    "weight_unit_value": Decimal,
    "minimum_nodes": int,
    "maximum_nodes": int,
    "year": int,
    "is_default": lambda word: word == "yes",
}


def _rows(path: Path, **types: Callable[[str], Any]) -> Iterator[dict[str, Any]]:
    """Give the rows of one file; an empty cell of a typed column is ``None``."""
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            yield {name: (types[name](cell) if cell else None) if name in types else cell for name, cell in row.items()}


def _load_formula(row: dict[str, Any]) -> None:
    code, number = row.pop("code"), row.pop("version")
    row["group_id"], row["cultivar_id"] = row.pop("group") or None, row.pop("cultivar") or None
    row["is_default"] = bool(row["is_default"])
    unit = Quantity(row["weight_unit_value"], row["weight_unit"])
    row["weight_unit_kg"] = to_canonical(unit, "mass")
    stored, created = PruningFormula.objects.get_or_create(code=code, formula_version=number, defaults=row)
    differing = [name for name, value in row.items() if getattr(stored, name) != value]
    if not created and differing:
        raise ChangedFormula(
            f"{code} version {number} is stored with other {', '.join(differing)}. "
            "A formula in use is never changed: add a row with the next version."
        )
