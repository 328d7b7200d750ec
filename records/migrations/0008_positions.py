"""Where a row stands in the feed of changes, and one live record a vine and season, on tables that hold rows already.

Each index is built beside the writers (CONCURRENTLY), so none of them waits; the old rule goes when the new one holds.
"""

from django.contrib.postgres.operations import AddIndexConcurrently
from django.db import migrations, models

ONE_LIVE = """
    CREATE UNIQUE INDEX CONCURRENTLY dormant_record_once_a_live_vine_and_season
        ON dormant_record (farm_id, vine_id, season) WHERE withdrawn_at IS NULL
"""
NO_LONGER = "ALTER TABLE dormant_record DROP CONSTRAINT IF EXISTS dormant_record_once_a_vine_and_season"
AS_BEFORE = """
    ALTER TABLE dormant_record
        ADD CONSTRAINT dormant_record_once_a_vine_and_season UNIQUE (farm_id, vine_id, season)
"""


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("records", "0007_accounts")]

    operations = [
        AddIndexConcurrently(
            model_name='block',
            index=models.Index(fields=['farm', 'change_position', 'id'], name='block_by_change'),
        ),
        AddIndexConcurrently(
            model_name='dormantrecord',
            index=models.Index(fields=['farm', 'change_position', 'id'], name='dormant_rec_by_change'),
        ),
        AddIndexConcurrently(
            model_name='row',
            index=models.Index(fields=['farm', 'change_position', 'id'], name='row_by_change'),
        ),
        AddIndexConcurrently(
            model_name='vine',
            index=models.Index(fields=['farm', 'change_position', 'id'], name='vine_by_change'),
        ),
        migrations.SeparateDatabaseAndState(
            database_operations=[
                migrations.RunSQL(ONE_LIVE, "DROP INDEX CONCURRENTLY dormant_record_once_a_live_vine_and_season"),
            ],
            state_operations=[
                migrations.AddConstraint(
                    model_name='dormantrecord',
                    constraint=models.UniqueConstraint(condition=models.Q(('withdrawn_at__isnull', True)), fields=('farm', 'vine', 'season'), name='dormant_record_once_a_live_vine_and_season'),
                ),
            ],
        ),
        # Django notes a migration once all of it is done; one that ended before that is run again from the beginning.
        migrations.SeparateDatabaseAndState(
            database_operations=[migrations.RunSQL(NO_LONGER, AS_BEFORE)],
            state_operations=[
                migrations.RemoveConstraint(
                    model_name='dormantrecord',
                    name='dormant_record_once_a_vine_and_season',
                ),
            ],
        ),
    ]
