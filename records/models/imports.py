"""Files of vines taken in, line by line, with nothing lost."""

from __future__ import annotations

from django.db import models

from records.models.base import FarmOwned, one_of
from records.models.jobs import Job
from records.models.vineyards import Block


class LineOutcome(models.TextChoices):
    """What became of one line of a file."""

    CREATED = "created", "created"
    COMPLETED = "completed", "completed"
    UPDATED = "updated", "updated"
    UNCHANGED = "unchanged", "unchanged"
    NOT_STORED = "not_stored", "not stored"


class Existing(models.TextChoices):
    """What becomes of a record that stands where a line would put one."""

    COMPLETE = "complete", "fill what is empty on it"
    KEEP = "keep", "leave it as it is"
    UPDATE = "update", "change it as the file says"


class Import(FarmOwned):
    """One file of vines given to be taken in, with the column map by which it is read."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)
    block = models.ForeignKey(
        Block,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        db_constraint=False,
        db_index=False,
        help_text="Null where a dry run names a block that the farm does not have, or each line names its own.",
    )
    # The database knows these defaults, too: the version before writes rows without them while this one migrates.
    block_name = models.CharField(
        max_length=120, blank=True, default="", db_default="", help_text="As the file's sender or its map named it."
    )
    kind = models.CharField(
        max_length=40, blank=True, default="", db_default="", help_text="Kind of record that it holds; empty: vines."
    )
    sheet = models.CharField(
        max_length=120,
        blank=True,
        default="",
        db_default="",
        help_text="Of a spreadsheet; empty: the first that is shown.",
    )
    dry_run = models.BooleanField(
        default=False, db_default=False, help_text="Only the report was asked for; nothing else is stored."
    )
    existing = models.CharField(
        max_length=10, choices=Existing.choices, default=Existing.COMPLETE, db_default=Existing.COMPLETE
    )
    may_plant = models.BooleanField(
        default=False,
        db_default=False,
        help_text="Whether its sender may manage the farm, and with it plant rows and vines.",
    )
    file_name = models.CharField(max_length=200)
    file_sha256 = models.CharField(max_length=64)
    content = models.BinaryField(help_text="The file as sent, so that nothing is lost.")
    column_map = models.JSONField(help_text="Which heading means what.")
    season = models.PositiveSmallIntegerField(null=True, blank=True)
    counts = models.JSONField(default=dict, help_text="How many lines came to which outcome.")

    class Meta:
        db_table = "import"
        constraints = [
            one_of("import_existing_known", "existing", Existing.values),
            models.CheckConstraint(
                name="import_of_vines_says_the_season",
                condition=~models.Q(kind="") | models.Q(season__isnull=False),
            ),
        ]
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
    record_id = models.UUIDField(null=True, blank=True, help_text="The record that it made, changed or repeats.")

    class Meta:
        db_table = "import_row"
        constraints = [
            models.UniqueConstraint(name="import_row_once_a_line", fields=["farm", "imported", "line"]),
            one_of("import_row_outcome_known", "outcome", LineOutcome.values),
        ]

    def __str__(self) -> str:
        return f"line {self.line}: {self.outcome}"
