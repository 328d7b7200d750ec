"""The balance app."""

from django.apps import AppConfig


class BalanceConfig(AppConfig):
    """What the records mean."""

    name = "balance"
    verbose_name = "Balance of vines"

    def ready(self) -> None:
        """Register the kinds of job, for whichever process carries one out."""
        from balance.reports import making, schedules  # noqa: F401, PLC0415 - not before the models are there
