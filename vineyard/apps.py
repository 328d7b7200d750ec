"""The process app: commands, templates and static files."""

from django.apps import AppConfig


class VineyardConfig(AppConfig):
    """The process and the behaviour that every endpoint shares."""

    name = "vineyard"
    verbose_name = "Vineyard service"

    def ready(self) -> None:
        """Let every process know the broker: the API wakes workers, too."""
        import vineyard.celery  # noqa: F401, PLC0415 - needs the settings
