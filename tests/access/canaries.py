"""Canaries: texts that stand on one farm and nowhere else, so that whoever receives one has seen that farm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db import DatabaseError, models, transaction

from records.access import enter, open_farm
from records.models import BalanceRange, Farm, PruningFormula
from records.models.base import FarmOwned


@dataclass(frozen=True)
class Canaries:
    """The texts by which the first farm is known."""

    texts: frozenset[str]

    @classmethod
    def written_on(cls, cast: Any) -> Canaries:
        """Put a text of its own into every column of the first farm that takes any text."""
        enter(cast.owner.caller)
        open_farm(cast.owner.caller, cast.farm.pk)
        texts = {text for text in map(str, _written(cast.farm)) if text} | _of_its_own(cast.farm)
        for person in (cast.owner, cast.worker, cast.viewer, cast.adviser, cast.lead):
            person.person.name = f"canary person {person.person.pk.hex[-8:]}"
            person.person.save(update_fields=["name"])
            if person is not cast.owner:  # who works on the other farm as well
                texts |= {person.person.name, person.person.email}
        cast.program.name = "canary program"
        cast.program.save(update_fields=["name"])
        _change_once(cast)
        return cls(frozenset({*texts, cast.program.name}))

    def seen_in(self, received: list[bytes]) -> set[str]:
        """Give the canaries that stand in any of these answers."""
        everything = b"\n".join(received)
        return {text for text in self.texts if text.encode() in everything}


def _written(farm: Farm) -> list[str]:
    """Try every text column of every table of the farm; what a rule refuses stays as it was."""
    written = []
    tables: list[Any] = [Farm, *(model for model in apps.get_models() if issubclass(model, FarmOwned))]
    for model in tables:
        rows = model.objects.filter(pk=farm.pk) if model is Farm else model.objects.for_farm(farm)
        for column in model._meta.get_fields():
            if not isinstance(column, models.CharField | models.TextField) or column.choices:
                continue
            if column.name == "time_zone":  # the service reckons by it
                continue
            for row in rows.values_list("pk", flat=True)[:5]:
                text = f"canary {model._meta.db_table} {column.name} {str(row)[-6:]}"[: column.max_length or None]
                if _takes(rows.filter(pk=row), column.name, text):
                    written.append(text)
    return written


def _of_its_own(farm: Farm) -> set[str]:
    """Give what the farm's own formulas and ranges say; a version is never changed, so they bear canaries from birth."""
    own = [row for model in (PruningFormula, BalanceRange) for row in model.objects.filter(owner_farm=farm)]
    assert {type(row) for row in own} == {PruningFormula, BalanceRange}
    return {text for row in own for text in (row.label, row.source)}


def _takes(rows: Any, column: str, text: str) -> bool:
    try:
        with transaction.atomic():
            return bool(rows.update(**{column: text}))
    except DatabaseError:
        return False


def _change_once(cast: Any) -> None:
    """Change a block, so that a replaced version with its texts is kept as well."""
    address = f"/api/v1/farms/{cast.farm.pk}/blocks"
    block = cast.owner.client.get(address).json()["results"][0]["id"]
    sent = {"rootstock": "canary changed rootstock", "reason": "canary reason of a change"}
    changed = cast.owner.client.patch(f"{address}/{block}", sent, format="json", headers={"If-Match": "*"})
    assert changed.status_code == 200, changed.content
