"""The process app: commands, templates and static files."""

from django.apps import AppConfig


class VineyardConfig(AppConfig):
    """The process and the behaviour that every endpoint shares."""

    name = "vineyard"
    verbose_name = "Vineyard service"
