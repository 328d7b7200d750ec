"""More reasons for no number, and one row for each target that was told, also where only a bound has changed since.

The index is built beside the writers (CONCURRENTLY), and the new rule holds before the old one goes.
"""

from django.contrib.postgres.operations import AddConstraintNotValid
from django.db import migrations, models

STATUSES = ["ok", "below_formula_range", "above_formula_range", "young_vine", "not_weighed", "no_formula"]
AS_TOLD = models.UniqueConstraint(
    fields=("farm", "dormant_record", "record_version", "formula", "status", "nodes"),
    name="pruning_target_once_as_it_was_told",
    nulls_distinct=False,
)
ONCE_AS_TOLD = """
    CREATE UNIQUE INDEX CONCURRENTLY pruning_target_once_as_it_was_told
        ON pruning_target (farm_id, dormant_record_id, record_version, formula_id, status, nodes) NULLS NOT DISTINCT
"""
AS_A_RULE = """
    ALTER TABLE pruning_target
        ADD CONSTRAINT pruning_target_once_as_it_was_told UNIQUE USING INDEX pruning_target_once_as_it_was_told
"""


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("balance", "0002_walls_between_farms")]

    operations = [
        migrations.SeparateDatabaseAndState(
            database_operations=[
                migrations.RunSQL(ONCE_AS_TOLD, "DROP INDEX CONCURRENTLY IF EXISTS pruning_target_once_as_it_was_told"),
                migrations.RunSQL(
                    AS_A_RULE, "ALTER TABLE pruning_target DROP CONSTRAINT pruning_target_once_as_it_was_told"
                ),
            ],
            state_operations=[migrations.AddConstraint("pruningtarget", AS_TOLD)],
        ),
        migrations.RemoveConstraint("pruningtarget", "pruning_target_once_a_record_version_and_formula"),
        migrations.RemoveConstraint("pruningtarget", "pruning_target_status_known"),
        migrations.AlterField(
            "pruningtarget",
            "status",
            models.CharField(
                max_length=24,
                choices=[
                    ("ok", "ok"),
                    ("below_formula_range", "below the formula's range"),
                    ("above_formula_range", "above the formula's range"),
                    ("young_vine", "a vine in training"),
                    ("not_weighed", "not weighed"),
                    ("no_formula", "no formula answers for this vine"),
                ],
            ),
        ),
        AddConstraintNotValid(
            "pruningtarget",
            models.CheckConstraint(name="pruning_target_status_known", condition=models.Q(status__in=STATUSES)),
        ),
    ]
