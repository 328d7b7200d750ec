"""Load the catalogues of cultivars and formulas; safe to repeat."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, CommandError

from records.services.catalogue import ChangedVersion, load_catalogues


class Command(BaseCommand):
    """The loading of the catalogues."""

    help = "Load cultivars and formulas from fixtures/catalogue; safe to repeat."

    def handle(self, *_: Any, **__: Any) -> None:
        try:
            counts = load_catalogues(settings.FIXTURES_DIR / "catalogue")
        except ChangedVersion as error:
            raise CommandError(str(error)) from error
        self.stdout.write(", ".join(f"{count} {name}" for name, count in counts.items()))
