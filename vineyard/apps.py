"""The process app: commands, templates and static files."""

import logging

from django.apps import AppConfig


class VineyardConfig(AppConfig):
    """The process and the behaviour that every endpoint shares."""

    name = "vineyard"
    verbose_name = "Vineyard service"

    def ready(self) -> None:
        """Let every process know the broker (the API wakes workers, too), and connect what is counted."""
        import vineyard.celery  # noqa: PLC0415 - needs the settings
        import vineyard.metrics  # noqa: F401, PLC0415

        logging.captureWarnings(True)
        logging.raiseExceptions = False  # it would print what a line that cannot be written was given
