"""The balance app."""

from django.apps import AppConfig


class BalanceConfig(AppConfig):
    """What the records mean."""

    name = "balance"
    verbose_name = "Balance of vines"
