"""The records app."""

from django.apps import AppConfig


class RecordsConfig(AppConfig):
    """What farms write down."""

    name = "records"
    verbose_name = "Records of farms"
