"""Hold what is kept of blocks and seasons to a recount from their records, farm by farm."""

from __future__ import annotations

import uuid
from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import suppress
from typing import Any, Final

from django.core.management import BaseCommand, CommandError
from django.db import transaction

from balance.formulas.counting import counted
from balance.summaries.checking import Difference, differences_of
from balance.summaries.keeping import settle
from records.access import Caller, OpenFarm, Part, Right, open_for_work
from records.errors import NotFound
from records.models import Block, Person, RegisteredFarm, Role
from vineyard.registered_farms import registered_farms

#: So many differences are printed of a farm; of the rest only how many they are.
PRINTED: Final = 100
_WRONG: Final = ("figure is", "figures are")
_MAY_READ: Final = frozenset({Right.READ})


class Command(BaseCommand):
    """The check."""

    help = (
        "Recount every season of every block from its records, by other code than what keeps the summaries, and print "
        "what is kept otherwise; exit 1 where anything is. Changes nothing but what waited to be summed up."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--farm", type=uuid.UUID, help="only this farm, by its id as list_farms shows it")

    def handle(self, *_: Any, **options: Any) -> None:
        farms = wrong = 0
        for farm in registered_farms(options["farm"]):
            found = 0
            for difference in _differences(farm):
                found += 1
                if found <= PRINTED:
                    self.stdout.write(f"{farm.pk}  {difference}")
            farms, wrong = farms + 1, wrong + found
            told = f"{counted(found, *_WRONG)} kept otherwise" if found else "everything is kept as its records say"
            self.stdout.write(f"{farm.pk}  {farm.name}: {told}.")
        if wrong:
            raise CommandError(
                f"{counted(wrong, *_WRONG)} kept otherwise. rebuild_summaries sums up anew.", returncode=1
            )
        self.stdout.write(f"{counted(farms, 'farm')}: everything is kept as the records say.")


def _differences(farm: RegisteredFarm) -> Iterator[Difference]:
    """Open the farm block by block, so that no transaction lasts for long; of one that is erased meanwhile, nothing."""
    with suppress(NotFound):
        yield from _of_blocks(farm)


def _of_blocks(farm: RegisteredFarm) -> Iterator[Difference]:
    with transaction.atomic():
        open_for_work(farm.pk)
        settle([farm.pk])
        blocks = list(Block.objects.for_farm(farm.pk).order_by("name", "pk").values_list("pk", flat=True))
    for block_id in blocks:
        with transaction.atomic():
            opened = OpenFarm(open_for_work(farm.pk), Caller(Person()), Part.by_role(Role.VIEWER), _MAY_READ)
            settle([farm.pk])
            block = Block.objects.for_farm(farm.pk).select_related("cultivar", "cultivar_group").get(pk=block_id)
            yield from differences_of(opened, block)
