"""Files of vines taken in, line by line, with nothing lost."""

from __future__ import annotations

from django.db import models

from records.models.base import FarmOwned, one_of
from records.models.jobs import Job
from records.models.vineyards import Block


class LineOutcome(models.TextChoices):
    """What became of one line of a file."""

    CREATED = "created", "created"
    UNCHANGED = "unchanged", "unchanged"
    NOT_STORED = "not_stored", "not stored"


class Import(FarmOwned):
    """One file of vines given to be taken in, with the column map by which it is read."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)
    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)
    file_name = models.CharField(max_length=200)
    file_sha256 = models.CharField(max_length=64)
    content = models.BinaryField(help_text="The file as sent, so that nothing is lost.")
    column_map = models.JSONField(help_text="Which heading means what.")
    season = models.PositiveSmallIntegerField()
    counts = models.JSONField(default=dict, help_text="How many lines came to which outcome.")

    class Meta:
        db_table = "import"
        indexes = [models.Index(name="import_in_order", fields=["farm", "-received_at", "-id"])]

    def __str__(self) -> str:
        return self.file_name


class ImportRow(FarmOwned):
    """One line of an imported file: every value as sent, what became of it, and what is wrong with it."""

    imported = models.ForeignKey(
        Import, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    line = models.PositiveIntegerField(help_text="Line in the file; the headings are line 1.")
    values = models.JSONField(help_text="The line as sent, by heading.")
    outcome = models.CharField(max_length=12, choices=LineOutcome.choices)
    findings = models.JSONField(default=list, help_text="Column, value and reason for each doubt.")
    vine_id = models.UUIDField(null=True, blank=True)

    class Meta:
        db_table = "import_row"
        constraints = [
            models.UniqueConstraint(name="import_row_once_a_line", fields=["farm", "imported", "line"]),
            one_of("import_row_outcome_known", "outcome", LineOutcome.values),
        ]

    def __str__(self) -> str:
        return f"line {self.line}: {self.outcome}"
