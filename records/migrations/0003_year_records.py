"""The records of a year: what is counted, weighed and seen on vines from winter to winter.

Every row that the feed of changes tells of gets its place in it here, from a function that the database calls itself.
Rows from before stand at place 0: a new column with a volatile default would rewrite the table under a lock.
"""

from decimal import Decimal

import django.contrib.postgres.fields
import django.contrib.postgres.functions
import django.db.models.deletion
import records.models.base
from django.conf import settings
from django.db import migrations, models

from records.walls import FEED_FUNCTIONS, Reference, farm_table, keeps_its_place, place_in_the_feed

OF_A_VINE = Reference(["block_id", "vine_id"], "vine", ["block_id", "id"])
OF_A_BLOCK = Reference(["block_id"], "block")
OF_A_FILE = Reference(["imported_from_id"], "import")
FOLLOWED_BEFORE = ("block", "row", "vine", "dormant_record")


class Migration(migrations.Migration):
    dependencies = [("records", "0002_walls_between_farms")]

    operations = [
        FEED_FUNCTIONS,
        migrations.SeparateDatabaseAndState(
            database_operations=[place_in_the_feed("block")],
            state_operations=[
                migrations.AddField(
                    model_name='block',
                    name='change_position',
                    field=models.BigIntegerField(db_default=records.models.base.ChangePosition(), editable=False),
                ),
            ],
        ),
        migrations.SeparateDatabaseAndState(
            database_operations=[place_in_the_feed("dormant_record")],
            state_operations=[
                migrations.AddField(
                    model_name='dormantrecord',
                    name='change_position',
                    field=models.BigIntegerField(db_default=records.models.base.ChangePosition(), editable=False),
                ),
            ],
        ),
        migrations.AddField(
            model_name='dormantrecord',
            name='line_digest',
            field=models.UUIDField(blank=True, editable=False, help_text='Of the line that brought it in bulk, byte by byte.', null=True),
        ),
        migrations.AddField(
            model_name='dormantrecord',
            name='withdrawn_at',
            field=models.DateTimeField(blank=True, help_text='When it was withdrawn; from then on it is a tombstone.', null=True),
        ),
        migrations.SeparateDatabaseAndState(
            database_operations=[place_in_the_feed("row")],
            state_operations=[
                migrations.AddField(
                    model_name='row',
                    name='change_position',
                    field=models.BigIntegerField(db_default=records.models.base.ChangePosition(), editable=False),
                ),
            ],
        ),
        migrations.SeparateDatabaseAndState(
            database_operations=[place_in_the_feed("vine")],
            state_operations=[
                migrations.AddField(
                    model_name='vine',
                    name='change_position',
                    field=models.BigIntegerField(db_default=records.models.base.ChangePosition(), editable=False),
                ),
            ],
        ),
        migrations.AlterField(
            model_name='dormantrecord',
            name='observed_at',
            field=models.DateTimeField(blank=True, help_text="When it was seen, by the observer's clock.", null=True),
        ),
        migrations.AlterField(
            model_name='dormantrecord',
            name='season',
            field=models.PositiveSmallIntegerField(help_text='Calendar year of the harvest that the record belongs to.'),
        ),
        migrations.CreateModel(
            name='BudSample',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, help_text='Counts the changes of this row, from 1.')),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False, help_text='When the service first received it.')),
                ('changed_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), help_text='When it was last changed.')),
                ('created_digest', models.CharField(blank=True, editable=False, help_text='Of what the creating request said, so that the same request is known again for ever.', max_length=64)),
                ('change_position', models.BigIntegerField(db_default=records.models.base.ChangePosition(), editable=False)),
                ('season', models.PositiveSmallIntegerField(help_text='Calendar year of the harvest that the record belongs to.')),
                ('observed_at', models.DateTimeField(blank=True, help_text="When it was seen, by the observer's clock.", null=True)),
                ('observed_offset_minutes', models.SmallIntegerField(blank=True, help_text="The clock's offset from UTC.", null=True)),
                ('note', models.TextField(blank=True, max_length=4000)),
                ('app_name', models.CharField(blank=True, help_text='The app that sent it, as its key names it.', max_length=80)),
                ('device', models.CharField(blank=True, help_text='The device that sent it, as the app names it.', max_length=80)),
                ('source', models.CharField(choices=[('api', 'sent by an app'), ('import', 'from an imported file')], default='api', max_length=10)),
                ('imported_line', models.PositiveIntegerField(blank=True, null=True)),
                ('withdrawn_at', models.DateTimeField(blank=True, help_text='When it was withdrawn; from then on it is a tombstone.', null=True)),
                ('line_digest', models.UUIDField(blank=True, editable=False, help_text='Of the line that brought it in bulk, byte by byte.', null=True)),
                ('nodes_examined', models.PositiveIntegerField()),
                ('primary_alive', models.PositiveIntegerField(blank=True, null=True)),
                ('secondary_alive', models.PositiveIntegerField(blank=True, null=True)),
                ('tertiary_alive', models.PositiveIntegerField(blank=True, null=True)),
                ('first_node', models.PositiveIntegerField(blank=True, null=True)),
                ('last_node', models.PositiveIntegerField(blank=True, null=True)),
                ('canes', models.PositiveIntegerField(blank=True, null=True)),
                ('cut_where', models.CharField(blank=True, max_length=120)),
                ('cut_on', models.DateField(blank=True, null=True)),
                ('days_kept_warm', models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True)),
            ],
            options={
                'db_table': 'bud_sample',
            },
        ),
        migrations.CreateModel(
            name='ClusterCount',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, help_text='Counts the changes of this row, from 1.')),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False, help_text='When the service first received it.')),
                ('changed_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), help_text='When it was last changed.')),
                ('created_digest', models.CharField(blank=True, editable=False, help_text='Of what the creating request said, so that the same request is known again for ever.', max_length=64)),
                ('change_position', models.BigIntegerField(db_default=records.models.base.ChangePosition(), editable=False)),
                ('season', models.PositiveSmallIntegerField(help_text='Calendar year of the harvest that the record belongs to.')),
                ('observed_at', models.DateTimeField(blank=True, help_text="When it was seen, by the observer's clock.", null=True)),
                ('observed_offset_minutes', models.SmallIntegerField(blank=True, help_text="The clock's offset from UTC.", null=True)),
                ('note', models.TextField(blank=True, max_length=4000)),
                ('app_name', models.CharField(blank=True, help_text='The app that sent it, as its key names it.', max_length=80)),
                ('device', models.CharField(blank=True, help_text='The device that sent it, as the app names it.', max_length=80)),
                ('source', models.CharField(choices=[('api', 'sent by an app'), ('import', 'from an imported file')], default='api', max_length=10)),
                ('imported_line', models.PositiveIntegerField(blank=True, null=True)),
                ('withdrawn_at', models.DateTimeField(blank=True, help_text='When it was withdrawn; from then on it is a tombstone.', null=True)),
                ('line_digest', models.UUIDField(blank=True, editable=False, help_text='Of the line that brought it in bulk, byte by byte.', null=True)),
                ('clusters_before_thinning', models.PositiveIntegerField(blank=True, null=True)),
                ('clusters_after_thinning', models.PositiveIntegerField(blank=True, null=True)),
                ('lag_phase_weight_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('lag_phase_weight_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('lag_phase_weight_kg', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('lag_phase_clusters', models.PositiveIntegerField(blank=True, null=True)),
                ('growth_stage_scale', models.CharField(blank=True, max_length=30, null=True)),
                ('growth_stage_code', models.CharField(blank=True, max_length=4, null=True)),
            ],
            options={
                'db_table': 'cluster_count',
            },
        ),
        migrations.CreateModel(
            name='CordonInspection',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, help_text='Counts the changes of this row, from 1.')),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False, help_text='When the service first received it.')),
                ('changed_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), help_text='When it was last changed.')),
                ('created_digest', models.CharField(blank=True, editable=False, help_text='Of what the creating request said, so that the same request is known again for ever.', max_length=64)),
                ('change_position', models.BigIntegerField(db_default=records.models.base.ChangePosition(), editable=False)),
                ('season', models.PositiveSmallIntegerField(help_text='Calendar year of the harvest that the record belongs to.')),
                ('observed_at', models.DateTimeField(blank=True, help_text="When it was seen, by the observer's clock.", null=True)),
                ('observed_offset_minutes', models.SmallIntegerField(blank=True, help_text="The clock's offset from UTC.", null=True)),
                ('note', models.TextField(blank=True, max_length=4000)),
                ('app_name', models.CharField(blank=True, help_text='The app that sent it, as its key names it.', max_length=80)),
                ('device', models.CharField(blank=True, help_text='The device that sent it, as the app names it.', max_length=80)),
                ('source', models.CharField(choices=[('api', 'sent by an app'), ('import', 'from an imported file')], default='api', max_length=10)),
                ('imported_line', models.PositiveIntegerField(blank=True, null=True)),
                ('withdrawn_at', models.DateTimeField(blank=True, help_text='When it was withdrawn; from then on it is a tombstone.', null=True)),
                ('line_digest', models.UUIDField(blank=True, editable=False, help_text='Of the line that brought it in bulk, byte by byte.', null=True)),
                ('cordon', models.CharField(max_length=30)),
                ('cordon_length_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('cordon_length_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('cordon_length_m', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('living_positions', models.PositiveIntegerField(blank=True, null=True)),
                ('blank_positions', models.PositiveIntegerField(blank=True, null=True)),
                ('blank_length_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('blank_length_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('blank_length_m', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('dieback_length_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('dieback_length_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('dieback_length_m', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('creep_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('creep_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('creep_m', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('upright_spurs', models.PositiveIntegerField(blank=True, null=True)),
                ('tie_too_tight', models.BooleanField(blank=True, null=True)),
                ('disease_signs', django.contrib.postgres.fields.ArrayField(base_field=models.CharField(max_length=30), blank=True, null=True, size=None)),
                ('over_neighbour_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('over_neighbour_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('over_neighbour_m', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('candidate_springs_from', models.CharField(blank=True, max_length=30, null=True)),
                ('candidate_diameter_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('candidate_diameter_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('candidate_diameter_m', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('candidate_from_head_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('candidate_from_head_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('candidate_from_head_m', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('growth_stage_scale', models.CharField(blank=True, max_length=30, null=True)),
                ('growth_stage_code', models.CharField(blank=True, max_length=4, null=True)),
            ],
            options={
                'db_table': 'cordon_inspection',
            },
        ),
        migrations.CreateModel(
            name='FeedEpoch',
            fields=[
                ('id', models.PositiveSmallIntegerField(default=1, primary_key=True, serialize=False)),
                ('epoch', models.PositiveIntegerField(default=1)),
                ('began_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow())),
            ],
            options={
                'db_table': 'feed_epoch',
            },
        ),
        migrations.CreateModel(
            name='HarvestRecord',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, help_text='Counts the changes of this row, from 1.')),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False, help_text='When the service first received it.')),
                ('changed_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), help_text='When it was last changed.')),
                ('created_digest', models.CharField(blank=True, editable=False, help_text='Of what the creating request said, so that the same request is known again for ever.', max_length=64)),
                ('change_position', models.BigIntegerField(db_default=records.models.base.ChangePosition(), editable=False)),
                ('season', models.PositiveSmallIntegerField(help_text='Calendar year of the harvest that the record belongs to.')),
                ('observed_at', models.DateTimeField(blank=True, help_text="When it was seen, by the observer's clock.", null=True)),
                ('observed_offset_minutes', models.SmallIntegerField(blank=True, help_text="The clock's offset from UTC.", null=True)),
                ('note', models.TextField(blank=True, max_length=4000)),
                ('app_name', models.CharField(blank=True, help_text='The app that sent it, as its key names it.', max_length=80)),
                ('device', models.CharField(blank=True, help_text='The device that sent it, as the app names it.', max_length=80)),
                ('source', models.CharField(choices=[('api', 'sent by an app'), ('import', 'from an imported file')], default='api', max_length=10)),
                ('imported_line', models.PositiveIntegerField(blank=True, null=True)),
                ('withdrawn_at', models.DateTimeField(blank=True, help_text='When it was withdrawn; from then on it is a tombstone.', null=True)),
                ('line_digest', models.UUIDField(blank=True, editable=False, help_text='Of the line that brought it in bulk, byte by byte.', null=True)),
                ('scope', models.CharField(max_length=10)),
                ('picking', models.PositiveSmallIntegerField(default=1)),
                ('vines_picked', models.PositiveIntegerField(blank=True, null=True)),
                ('yield_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('yield_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('yield_kg', models.DecimalField(blank=True, decimal_places=24, max_digits=34, null=True)),
                ('marketable_yield_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('marketable_yield_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('marketable_yield_kg', models.DecimalField(blank=True, decimal_places=24, max_digits=34, null=True)),
                ('clusters', models.PositiveIntegerField(blank=True, null=True)),
                ('cluster_weight_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('cluster_weight_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('cluster_weight_kg', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('berry_weight_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('berry_weight_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('berry_weight_kg', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('soluble_solids_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('soluble_solids_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('soluble_solids_brix', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('ph', models.DecimalField(blank=True, decimal_places=2, max_digits=4, null=True)),
                ('titratable_acidity_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('titratable_acidity_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('titratable_acidity_g_per_l', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('reference_acid', models.CharField(blank=True, max_length=10, null=True)),
            ],
            options={
                'db_table': 'harvest_record',
            },
        ),
        migrations.CreateModel(
            name='ShootCount',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, help_text='Counts the changes of this row, from 1.')),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False, help_text='When the service first received it.')),
                ('changed_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), help_text='When it was last changed.')),
                ('created_digest', models.CharField(blank=True, editable=False, help_text='Of what the creating request said, so that the same request is known again for ever.', max_length=64)),
                ('change_position', models.BigIntegerField(db_default=records.models.base.ChangePosition(), editable=False)),
                ('season', models.PositiveSmallIntegerField(help_text='Calendar year of the harvest that the record belongs to.')),
                ('observed_at', models.DateTimeField(blank=True, help_text="When it was seen, by the observer's clock.", null=True)),
                ('observed_offset_minutes', models.SmallIntegerField(blank=True, help_text="The clock's offset from UTC.", null=True)),
                ('note', models.TextField(blank=True, max_length=4000)),
                ('app_name', models.CharField(blank=True, help_text='The app that sent it, as its key names it.', max_length=80)),
                ('device', models.CharField(blank=True, help_text='The device that sent it, as the app names it.', max_length=80)),
                ('source', models.CharField(choices=[('api', 'sent by an app'), ('import', 'from an imported file')], default='api', max_length=10)),
                ('imported_line', models.PositiveIntegerField(blank=True, null=True)),
                ('withdrawn_at', models.DateTimeField(blank=True, help_text='When it was withdrawn; from then on it is a tombstone.', null=True)),
                ('line_digest', models.UUIDField(blank=True, editable=False, help_text='Of the line that brought it in bulk, byte by byte.', null=True)),
                ('count_shoots', models.PositiveIntegerField(blank=True, null=True)),
                ('non_count_shoots', models.PositiveIntegerField(blank=True, null=True)),
                ('growth_stage_scale', models.CharField(blank=True, max_length=30, null=True)),
                ('growth_stage_code', models.CharField(blank=True, max_length=4, null=True)),
            ],
            options={
                'db_table': 'shoot_count',
            },
        ),
        migrations.CreateModel(
            name='VineEvent',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, help_text='Counts the changes of this row, from 1.')),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False, help_text='When the service first received it.')),
                ('changed_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), help_text='When it was last changed.')),
                ('created_digest', models.CharField(blank=True, editable=False, help_text='Of what the creating request said, so that the same request is known again for ever.', max_length=64)),
                ('change_position', models.BigIntegerField(db_default=records.models.base.ChangePosition(), editable=False)),
                ('season', models.PositiveSmallIntegerField(help_text='Calendar year of the harvest that the record belongs to.')),
                ('observed_at', models.DateTimeField(blank=True, help_text="When it was seen, by the observer's clock.", null=True)),
                ('observed_offset_minutes', models.SmallIntegerField(blank=True, help_text="The clock's offset from UTC.", null=True)),
                ('note', models.TextField(blank=True, max_length=4000)),
                ('app_name', models.CharField(blank=True, help_text='The app that sent it, as its key names it.', max_length=80)),
                ('device', models.CharField(blank=True, help_text='The device that sent it, as the app names it.', max_length=80)),
                ('source', models.CharField(choices=[('api', 'sent by an app'), ('import', 'from an imported file')], default='api', max_length=10)),
                ('imported_line', models.PositiveIntegerField(blank=True, null=True)),
                ('withdrawn_at', models.DateTimeField(blank=True, help_text='When it was withdrawn; from then on it is a tombstone.', null=True)),
                ('line_digest', models.UUIDField(blank=True, editable=False, help_text='Of the line that brought it in bulk, byte by byte.', null=True)),
                ('event', models.CharField(max_length=12)),
                ('happened_on', models.DateField(blank=True, null=True)),
                ('rootstock', models.CharField(blank=True, max_length=80)),
                ('trained_as', models.CharField(blank=True, max_length=80)),
            ],
            options={
                'db_table': 'vine_event',
            },
        ),
        migrations.AddField(
            model_name='budsample',
            name='api_key',
            field=models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='records.apikey'),
        ),
        migrations.AddField(
            model_name='budsample',
            name='block',
            field=models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.block'),
        ),
        migrations.AddField(
            model_name='budsample',
            name='farm',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm'),
        ),
        migrations.AddField(
            model_name='budsample',
            name='imported_from',
            field=models.ForeignKey(blank=True, db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='records.import'),
        ),
        migrations.AddField(
            model_name='budsample',
            name='recorded_by',
            field=models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='budsample',
            name='vine',
            field=models.ForeignKey(blank=True, db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.vine'),
        ),
        migrations.AddField(
            model_name='clustercount',
            name='api_key',
            field=models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='records.apikey'),
        ),
        migrations.AddField(
            model_name='clustercount',
            name='block',
            field=models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.block'),
        ),
        migrations.AddField(
            model_name='clustercount',
            name='farm',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm'),
        ),
        migrations.AddField(
            model_name='clustercount',
            name='imported_from',
            field=models.ForeignKey(blank=True, db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='records.import'),
        ),
        migrations.AddField(
            model_name='clustercount',
            name='recorded_by',
            field=models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='clustercount',
            name='vine',
            field=models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.vine'),
        ),
        migrations.AddField(
            model_name='cordoninspection',
            name='api_key',
            field=models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='records.apikey'),
        ),
        migrations.AddField(
            model_name='cordoninspection',
            name='block',
            field=models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.block'),
        ),
        migrations.AddField(
            model_name='cordoninspection',
            name='farm',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm'),
        ),
        migrations.AddField(
            model_name='cordoninspection',
            name='imported_from',
            field=models.ForeignKey(blank=True, db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='records.import'),
        ),
        migrations.AddField(
            model_name='cordoninspection',
            name='recorded_by',
            field=models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='cordoninspection',
            name='vine',
            field=models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.vine'),
        ),
        migrations.AddConstraint(
            model_name='feedepoch',
            constraint=models.CheckConstraint(condition=models.Q(('id', 1)), name='feed_epoch_is_one_row'),
        ),
        migrations.AddField(
            model_name='harvestrecord',
            name='api_key',
            field=models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='records.apikey'),
        ),
        migrations.AddField(
            model_name='harvestrecord',
            name='block',
            field=models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.block'),
        ),
        migrations.AddField(
            model_name='harvestrecord',
            name='farm',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm'),
        ),
        migrations.AddField(
            model_name='harvestrecord',
            name='imported_from',
            field=models.ForeignKey(blank=True, db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='records.import'),
        ),
        migrations.AddField(
            model_name='harvestrecord',
            name='recorded_by',
            field=models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='harvestrecord',
            name='vine',
            field=models.ForeignKey(blank=True, db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.vine'),
        ),
        migrations.AddField(
            model_name='shootcount',
            name='api_key',
            field=models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='records.apikey'),
        ),
        migrations.AddField(
            model_name='shootcount',
            name='block',
            field=models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.block'),
        ),
        migrations.AddField(
            model_name='shootcount',
            name='farm',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm'),
        ),
        migrations.AddField(
            model_name='shootcount',
            name='imported_from',
            field=models.ForeignKey(blank=True, db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='records.import'),
        ),
        migrations.AddField(
            model_name='shootcount',
            name='recorded_by',
            field=models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='shootcount',
            name='vine',
            field=models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.vine'),
        ),
        migrations.AddField(
            model_name='vineevent',
            name='api_key',
            field=models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='records.apikey'),
        ),
        migrations.AddField(
            model_name='vineevent',
            name='block',
            field=models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.block'),
        ),
        migrations.AddField(
            model_name='vineevent',
            name='farm',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm'),
        ),
        migrations.AddField(
            model_name='vineevent',
            name='imported_from',
            field=models.ForeignKey(blank=True, db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='records.import'),
        ),
        migrations.AddField(
            model_name='vineevent',
            name='recorded_by',
            field=models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='vineevent',
            name='vine',
            field=models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.vine'),
        ),
        migrations.AddIndex(
            model_name='budsample',
            index=models.Index(fields=['farm', 'block', 'season', 'id'], name='bud_sample_of_a_block'),
        ),
        migrations.AddIndex(
            model_name='budsample',
            index=models.Index(fields=['farm', 'season', 'id'], name='bud_sample_in_order'),
        ),
        migrations.AddIndex(
            model_name='budsample',
            index=models.Index(fields=['farm', 'change_position', 'id'], name='bud_sample_by_change'),
        ),
        migrations.AddConstraint(
            model_name='budsample',
            constraint=models.CheckConstraint(condition=models.Q(('season__isnull', True), models.Q(('season__gte', 1900), ('season__lte', 2100)), _connector='OR'), name='bud_sample_season_1900_to_2100'),
        ),
        migrations.AddConstraint(
            model_name='budsample',
            constraint=models.CheckConstraint(condition=models.Q(('observed_offset_minutes__isnull', True), models.Q(('observed_offset_minutes__gte', -1439), ('observed_offset_minutes__lte', 1439)), _connector='OR'), name='bud_sample_offset_within_a_day'),
        ),
        migrations.AddConstraint(
            model_name='budsample',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('observed_at__isnull', True), ('observed_offset_minutes__isnull', True)), models.Q(('observed_at__isnull', False), ('observed_offset_minutes__isnull', False)), _connector='OR'), name='bud_sample_observed_with_offset'),
        ),
        migrations.AddConstraint(
            model_name='budsample',
            constraint=models.CheckConstraint(condition=models.Q(('observed_at__isnull', False), ('source', 'import'), _connector='OR'), name='bud_sample_observed_unless_imported'),
        ),
        migrations.AddConstraint(
            model_name='budsample',
            constraint=models.CheckConstraint(condition=models.Q(('source__in', ['api', 'import'])), name='bud_sample_source_known'),
        ),
        migrations.AddConstraint(
            model_name='budsample',
            constraint=models.CheckConstraint(condition=models.Q(('nodes_examined__isnull', True), models.Q(('nodes_examined__gte', 1), ('nodes_examined__lte', 5000)), _connector='OR'), name='bud_sample_nodes_examined_1_000000_to_5000_000000'),
        ),
        migrations.AddConstraint(
            model_name='budsample',
            constraint=models.CheckConstraint(condition=models.Q(('primary_alive__isnull', True), models.Q(('primary_alive__gte', 0), ('primary_alive__lte', 5000)), _connector='OR'), name='bud_sample_primary_alive_0_000000_to_5000_000000'),
        ),
        migrations.AddConstraint(
            model_name='budsample',
            constraint=models.CheckConstraint(condition=models.Q(('secondary_alive__isnull', True), models.Q(('secondary_alive__gte', 0), ('secondary_alive__lte', 5000)), _connector='OR'), name='bud_sample_secondary_alive_0_000000_to_5000_000000'),
        ),
        migrations.AddConstraint(
            model_name='budsample',
            constraint=models.CheckConstraint(condition=models.Q(('tertiary_alive__isnull', True), models.Q(('tertiary_alive__gte', 0), ('tertiary_alive__lte', 5000)), _connector='OR'), name='bud_sample_tertiary_alive_0_000000_to_5000_000000'),
        ),
        migrations.AddConstraint(
            model_name='budsample',
            constraint=models.CheckConstraint(condition=models.Q(('first_node__isnull', True), models.Q(('first_node__gte', 1), ('first_node__lte', 100)), _connector='OR'), name='bud_sample_first_node_1_000000_to_100_000000'),
        ),
        migrations.AddConstraint(
            model_name='budsample',
            constraint=models.CheckConstraint(condition=models.Q(('last_node__isnull', True), models.Q(('last_node__gte', 1), ('last_node__lte', 100)), _connector='OR'), name='bud_sample_last_node_1_000000_to_100_000000'),
        ),
        migrations.AddConstraint(
            model_name='budsample',
            constraint=models.CheckConstraint(condition=models.Q(('canes__isnull', True), models.Q(('canes__gte', 1), ('canes__lte', 1000)), _connector='OR'), name='bud_sample_canes_1_000000_to_1000_000000'),
        ),
        migrations.AddConstraint(
            model_name='budsample',
            constraint=models.CheckConstraint(condition=models.Q(('days_kept_warm__isnull', True), models.Q(('days_kept_warm__gte', Decimal('0')), ('days_kept_warm__lte', Decimal('60'))), _connector='OR'), name='bud_sample_days_kept_warm_0_to_60'),
        ),
        migrations.AddConstraint(
            model_name='budsample',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('primary_alive__isnull', True), ('primary_alive__lte', models.F('nodes_examined')), _connector='OR'), models.Q(('secondary_alive__isnull', True), ('secondary_alive__lte', models.F('nodes_examined')), _connector='OR'), models.Q(('tertiary_alive__isnull', True), ('tertiary_alive__lte', models.F('nodes_examined')), _connector='OR')), name='bud_sample_alive_are_of_those_examined'),
        ),
        migrations.AddConstraint(
            model_name='budsample',
            constraint=models.CheckConstraint(condition=models.Q(('first_node__isnull', True), ('last_node__isnull', True), ('first_node__lte', models.F('last_node')), _connector='OR'), name='bud_sample_first_node_before_the_last'),
        ),
        migrations.AddIndex(
            model_name='clustercount',
            index=models.Index(fields=['farm', 'block', 'season', 'id'], name='cluster_count_of_a_block'),
        ),
        migrations.AddIndex(
            model_name='clustercount',
            index=models.Index(fields=['farm', 'season', 'id'], name='cluster_count_in_order'),
        ),
        migrations.AddIndex(
            model_name='clustercount',
            index=models.Index(fields=['farm', 'change_position', 'id'], name='cluster_count_by_change'),
        ),
        migrations.AddIndex(
            model_name='clustercount',
            index=models.Index(fields=['farm', 'vine', 'season'], name='cluster_count_of_a_vine'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.UniqueConstraint(condition=models.Q(('withdrawn_at__isnull', True)), fields=('farm', 'vine', 'season'), name='cluster_count_once_a_live_vine_and_season'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.CheckConstraint(condition=models.Q(('season__isnull', True), models.Q(('season__gte', 1900), ('season__lte', 2100)), _connector='OR'), name='cluster_count_season_1900_to_2100'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.CheckConstraint(condition=models.Q(('observed_offset_minutes__isnull', True), models.Q(('observed_offset_minutes__gte', -1439), ('observed_offset_minutes__lte', 1439)), _connector='OR'), name='cluster_count_offset_within_a_day'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('observed_at__isnull', True), ('observed_offset_minutes__isnull', True)), models.Q(('observed_at__isnull', False), ('observed_offset_minutes__isnull', False)), _connector='OR'), name='cluster_count_observed_with_offset'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.CheckConstraint(condition=models.Q(('observed_at__isnull', False), ('source', 'import'), _connector='OR'), name='cluster_count_observed_unless_imported'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.CheckConstraint(condition=models.Q(('source__in', ['api', 'import'])), name='cluster_count_source_known'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.CheckConstraint(condition=models.Q(('clusters_before_thinning__isnull', True), models.Q(('clusters_before_thinning__gte', 0), ('clusters_before_thinning__lte', 5000)), _connector='OR'), name='cluster_count_clusters_before_thinning_0_000000_to_5000_000000'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.CheckConstraint(condition=models.Q(('clusters_after_thinning__isnull', True), models.Q(('clusters_after_thinning__gte', 0), ('clusters_after_thinning__lte', 5000)), _connector='OR'), name='cluster_count_clusters_after_thinning_0_000000_to_5000_000000'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('lag_phase_weight_kg__isnull', True), ('lag_phase_weight_unit__isnull', True), ('lag_phase_weight_value__isnull', True)), models.Q(('lag_phase_weight_kg__isnull', False), ('lag_phase_weight_unit__isnull', False), ('lag_phase_weight_value__isnull', False)), _connector='OR'), name='cluster_count_lag_phase_weight_whole'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.CheckConstraint(condition=models.Q(('lag_phase_weight_kg__isnull', True), models.Q(('lag_phase_weight_kg__gte', Decimal('0')), ('lag_phase_weight_kg__lte', Decimal('500'))), _connector='OR'), name='cluster_count_lag_phase_weight_0_to_500_kg'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.CheckConstraint(condition=models.Q(('lag_phase_clusters__isnull', True), models.Q(('lag_phase_clusters__gte', 1), ('lag_phase_clusters__lte', 5000)), _connector='OR'), name='cluster_count_lag_phase_clusters_1_000000_to_5000_000000'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('growth_stage_code__isnull', True), ('growth_stage_scale__isnull', True)), models.Q(('growth_stage_code__isnull', False), ('growth_stage_scale__isnull', False)), _connector='OR'), name='cluster_count_growth_stage_whole'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('growth_stage_scale', 'bbch'), _negated=True), ('growth_stage_code__regex', '^([0-9]{2})$'), _connector='OR'), name='cluster_count_growth_stage_code_of_bbch'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('growth_stage_scale', 'eichhorn_lorenz'), _negated=True), ('growth_stage_code__regex', '^(0[1-9]|[1-3][0-9]|4[0-7])$'), _connector='OR'), name='cluster_count_growth_stage_code_of_eichhorn_lorenz'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('growth_stage_scale', 'modified_eichhorn_lorenz'), _negated=True), ('growth_stage_code__regex', '^([1-9]|[1-3][0-9]|4[0-7])$'), _connector='OR'), name='cluster_count_growth_stage_code_of_modified_eichhorn_lorenz'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.CheckConstraint(condition=models.Q(('growth_stage_scale__isnull', True), ('growth_stage_scale__in', ['bbch', 'eichhorn_lorenz', 'modified_eichhorn_lorenz']), _connector='OR'), name='cluster_count_growth_stage_scale_known'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.CheckConstraint(condition=models.Q(('clusters_before_thinning__isnull', True), ('clusters_after_thinning__isnull', True), ('clusters_after_thinning__lte', models.F('clusters_before_thinning')), _connector='OR'), name='cluster_count_thinning_leaves_no_more'),
        ),
        migrations.AddConstraint(
            model_name='clustercount',
            constraint=models.CheckConstraint(condition=models.Q(('lag_phase_weight_kg__isnull', True), ('lag_phase_clusters__isnull', False), _connector='OR'), name='cluster_count_lag_phase_weight_with_its_clusters'),
        ),
        migrations.AddIndex(
            model_name='cordoninspection',
            index=models.Index(fields=['farm', 'block', 'season', 'id'], name='cordon_insp_of_a_block'),
        ),
        migrations.AddIndex(
            model_name='cordoninspection',
            index=models.Index(fields=['farm', 'season', 'id'], name='cordon_insp_in_order'),
        ),
        migrations.AddIndex(
            model_name='cordoninspection',
            index=models.Index(fields=['farm', 'change_position', 'id'], name='cordon_insp_by_change'),
        ),
        migrations.AddIndex(
            model_name='cordoninspection',
            index=models.Index(fields=['farm', 'vine', 'season'], name='cordon_insp_of_a_vine'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('season__isnull', True), models.Q(('season__gte', 1900), ('season__lte', 2100)), _connector='OR'), name='cordon_inspection_season_1900_to_2100'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('observed_offset_minutes__isnull', True), models.Q(('observed_offset_minutes__gte', -1439), ('observed_offset_minutes__lte', 1439)), _connector='OR'), name='cordon_inspection_offset_within_a_day'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('observed_at__isnull', True), ('observed_offset_minutes__isnull', True)), models.Q(('observed_at__isnull', False), ('observed_offset_minutes__isnull', False)), _connector='OR'), name='cordon_inspection_observed_with_offset'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('observed_at__isnull', False), ('source', 'import'), _connector='OR'), name='cordon_inspection_observed_unless_imported'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('source__in', ['api', 'import'])), name='cordon_inspection_source_known'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('cordon__in', ['left', 'right', 'upper_left', 'upper_right', 'lower_left', 'lower_right', 'front_left', 'front_right', 'back_left', 'back_right', 'head'])), name='cordon_inspection_cordon_known'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('cordon_length_m__isnull', True), ('cordon_length_unit__isnull', True), ('cordon_length_value__isnull', True)), models.Q(('cordon_length_m__isnull', False), ('cordon_length_unit__isnull', False), ('cordon_length_value__isnull', False)), _connector='OR'), name='cordon_inspection_cordon_length_whole'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('cordon_length_m__isnull', True), models.Q(('cordon_length_m__gte', Decimal('0')), ('cordon_length_m__lte', Decimal('100'))), _connector='OR'), name='cordon_inspection_cordon_length_0_to_100_m'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('living_positions__isnull', True), models.Q(('living_positions__gte', 0), ('living_positions__lte', 500)), _connector='OR'), name='cordon_inspection_living_positions_0_000000_to_500_000000'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('blank_positions__isnull', True), models.Q(('blank_positions__gte', 0), ('blank_positions__lte', 500)), _connector='OR'), name='cordon_inspection_blank_positions_0_000000_to_500_000000'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('blank_length_m__isnull', True), ('blank_length_unit__isnull', True), ('blank_length_value__isnull', True)), models.Q(('blank_length_m__isnull', False), ('blank_length_unit__isnull', False), ('blank_length_value__isnull', False)), _connector='OR'), name='cordon_inspection_blank_length_whole'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('blank_length_m__isnull', True), models.Q(('blank_length_m__gte', Decimal('0')), ('blank_length_m__lte', Decimal('100'))), _connector='OR'), name='cordon_inspection_blank_length_0_to_100_m'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('dieback_length_m__isnull', True), ('dieback_length_unit__isnull', True), ('dieback_length_value__isnull', True)), models.Q(('dieback_length_m__isnull', False), ('dieback_length_unit__isnull', False), ('dieback_length_value__isnull', False)), _connector='OR'), name='cordon_inspection_dieback_length_whole'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('dieback_length_m__isnull', True), models.Q(('dieback_length_m__gte', Decimal('0')), ('dieback_length_m__lte', Decimal('100'))), _connector='OR'), name='cordon_inspection_dieback_length_0_to_100_m'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('creep_m__isnull', True), ('creep_unit__isnull', True), ('creep_value__isnull', True)), models.Q(('creep_m__isnull', False), ('creep_unit__isnull', False), ('creep_value__isnull', False)), _connector='OR'), name='cordon_inspection_creep_whole'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('creep_m__isnull', True), models.Q(('creep_m__gte', Decimal('0')), ('creep_m__lte', Decimal('5'))), _connector='OR'), name='cordon_inspection_creep_0_to_5_m'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('upright_spurs__isnull', True), models.Q(('upright_spurs__gte', 0), ('upright_spurs__lte', 500)), _connector='OR'), name='cordon_inspection_upright_spurs_0_000000_to_500_000000'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('disease_signs__isnull', True), ('disease_signs__contained_by', ['dead_spurs', 'wedge_canker', 'black_streaks_in_wood', 'white_rot_of_wood', 'stunted_shoots', 'cupped_leaves', 'tiger_striped_leaves', 'spotted_berries', 'sudden_wilting', 'crown_gall', 'gumming', 'fruiting_bodies_on_wood', 'other']), _connector='OR'), name='cordon_inspection_disease_signs_known'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('over_neighbour_m__isnull', True), ('over_neighbour_unit__isnull', True), ('over_neighbour_value__isnull', True)), models.Q(('over_neighbour_m__isnull', False), ('over_neighbour_unit__isnull', False), ('over_neighbour_value__isnull', False)), _connector='OR'), name='cordon_inspection_over_neighbour_whole'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('over_neighbour_m__isnull', True), models.Q(('over_neighbour_m__gte', Decimal('0')), ('over_neighbour_m__lte', Decimal('50'))), _connector='OR'), name='cordon_inspection_over_neighbour_0_to_50_m'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('candidate_springs_from__isnull', True), ('candidate_springs_from__in', ['none_found', 'head', 'trunk', 'cordon_near_head', 'cordon', 'below_graft_union']), _connector='OR'), name='cordon_inspection_candidate_springs_from_known'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('candidate_diameter_m__isnull', True), ('candidate_diameter_unit__isnull', True), ('candidate_diameter_value__isnull', True)), models.Q(('candidate_diameter_m__isnull', False), ('candidate_diameter_unit__isnull', False), ('candidate_diameter_value__isnull', False)), _connector='OR'), name='cordon_inspection_candidate_diameter_whole'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('candidate_diameter_m__isnull', True), models.Q(('candidate_diameter_m__gte', Decimal('0')), ('candidate_diameter_m__lte', Decimal('0.1'))), _connector='OR'), name='cordon_inspection_candidate_diameter_0_to_0_1_m'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('candidate_from_head_m__isnull', True), ('candidate_from_head_unit__isnull', True), ('candidate_from_head_value__isnull', True)), models.Q(('candidate_from_head_m__isnull', False), ('candidate_from_head_unit__isnull', False), ('candidate_from_head_value__isnull', False)), _connector='OR'), name='cordon_inspection_candidate_from_head_whole'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('candidate_from_head_m__isnull', True), models.Q(('candidate_from_head_m__gte', Decimal('0')), ('candidate_from_head_m__lte', Decimal('20'))), _connector='OR'), name='cordon_inspection_candidate_from_head_0_to_20_m'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('growth_stage_code__isnull', True), ('growth_stage_scale__isnull', True)), models.Q(('growth_stage_code__isnull', False), ('growth_stage_scale__isnull', False)), _connector='OR'), name='cordon_inspection_growth_stage_whole'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('growth_stage_scale', 'bbch'), _negated=True), ('growth_stage_code__regex', '^([0-9]{2})$'), _connector='OR'), name='cordon_inspection_growth_stage_code_of_bbch'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('growth_stage_scale', 'eichhorn_lorenz'), _negated=True), ('growth_stage_code__regex', '^(0[1-9]|[1-3][0-9]|4[0-7])$'), _connector='OR'), name='cordon_inspection_growth_stage_code_of_eichhorn_lorenz'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('growth_stage_scale', 'modified_eichhorn_lorenz'), _negated=True), ('growth_stage_code__regex', '^([1-9]|[1-3][0-9]|4[0-7])$'), _connector='OR'), name='cordon_inspection_growth_stage_code_of_modified_eichhorn_lorenz'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('growth_stage_scale__isnull', True), ('growth_stage_scale__in', ['bbch', 'eichhorn_lorenz', 'modified_eichhorn_lorenz']), _connector='OR'), name='cordon_inspection_growth_stage_scale_known'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('blank_length_m__isnull', True), ('cordon_length_m__isnull', True), ('blank_length_m__lte', models.F('cordon_length_m')), _connector='OR'), name='cordon_inspection_blank_within_the_cordon'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(('dieback_length_m__isnull', True), ('cordon_length_m__isnull', True), ('dieback_length_m__lte', models.F('cordon_length_m')), _connector='OR'), name='cordon_inspection_dieback_within_the_cordon'),
        ),
        migrations.AddConstraint(
            model_name='cordoninspection',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('candidate_springs_from', 'none_found'), _negated=True), models.Q(('candidate_diameter_m__isnull', True), ('candidate_from_head_m__isnull', True)), _connector='OR'), name='cordon_inspection_measures_a_candidate_that_is_there'),
        ),
        migrations.AddIndex(
            model_name='harvestrecord',
            index=models.Index(fields=['farm', 'block', 'season', 'id'], name='harvest_rec_of_a_block'),
        ),
        migrations.AddIndex(
            model_name='harvestrecord',
            index=models.Index(fields=['farm', 'season', 'id'], name='harvest_rec_in_order'),
        ),
        migrations.AddIndex(
            model_name='harvestrecord',
            index=models.Index(fields=['farm', 'change_position', 'id'], name='harvest_rec_by_change'),
        ),
        migrations.AddIndex(
            model_name='harvestrecord',
            index=models.Index(fields=['farm', 'vine', 'season'], name='harvest_rec_of_a_vine'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.UniqueConstraint(condition=models.Q(('withdrawn_at__isnull', True), ('scope', 'vine')), fields=('farm', 'vine', 'season', 'picking'), name='harvest_record_once_a_live_vine_and_picking'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.UniqueConstraint(condition=models.Q(('withdrawn_at__isnull', True), ('scope', 'block')), fields=('farm', 'block', 'season', 'picking'), name='harvest_record_once_a_live_block_and_picking'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('season__isnull', True), models.Q(('season__gte', 1900), ('season__lte', 2100)), _connector='OR'), name='harvest_record_season_1900_to_2100'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('observed_offset_minutes__isnull', True), models.Q(('observed_offset_minutes__gte', -1439), ('observed_offset_minutes__lte', 1439)), _connector='OR'), name='harvest_record_offset_within_a_day'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('observed_at__isnull', True), ('observed_offset_minutes__isnull', True)), models.Q(('observed_at__isnull', False), ('observed_offset_minutes__isnull', False)), _connector='OR'), name='harvest_record_observed_with_offset'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('observed_at__isnull', False), ('source', 'import'), _connector='OR'), name='harvest_record_observed_unless_imported'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('source__in', ['api', 'import'])), name='harvest_record_source_known'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('scope__in', ['vine', 'sample', 'block'])), name='harvest_record_scope_known'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('picking__isnull', True), models.Q(('picking__gte', 1), ('picking__lte', 50)), _connector='OR'), name='harvest_record_picking_1_000000_to_50_000000'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('vines_picked__isnull', True), models.Q(('vines_picked__gte', 1), ('vines_picked__lte', 1000000)), _connector='OR'), name='harvest_record_vines_picked_1_000000_to_1000000_000000'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('yield_kg__isnull', True), ('yield_unit__isnull', True), ('yield_value__isnull', True)), models.Q(('yield_kg__isnull', False), ('yield_unit__isnull', False), ('yield_value__isnull', False)), _connector='OR'), name='harvest_record_yield_whole'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('yield_kg__isnull', True), models.Q(('yield_kg__gte', Decimal('0')), ('yield_kg__lte', Decimal('100000000'))), _connector='OR'), name='harvest_record_yield_0_to_100000000_kg'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('marketable_yield_kg__isnull', True), ('marketable_yield_unit__isnull', True), ('marketable_yield_value__isnull', True)), models.Q(('marketable_yield_kg__isnull', False), ('marketable_yield_unit__isnull', False), ('marketable_yield_value__isnull', False)), _connector='OR'), name='harvest_record_marketable_yield_whole'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('marketable_yield_kg__isnull', True), models.Q(('marketable_yield_kg__gte', Decimal('0')), ('marketable_yield_kg__lte', Decimal('100000000'))), _connector='OR'), name='harvest_record_marketable_yield_0_to_100000000_kg'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('clusters__isnull', True), models.Q(('clusters__gte', 0), ('clusters__lte', 100000000)), _connector='OR'), name='harvest_record_clusters_0_000000_to_100000000_000000'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('cluster_weight_kg__isnull', True), ('cluster_weight_unit__isnull', True), ('cluster_weight_value__isnull', True)), models.Q(('cluster_weight_kg__isnull', False), ('cluster_weight_unit__isnull', False), ('cluster_weight_value__isnull', False)), _connector='OR'), name='harvest_record_cluster_weight_whole'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('cluster_weight_kg__isnull', True), models.Q(('cluster_weight_kg__gte', Decimal('0')), ('cluster_weight_kg__lte', Decimal('20'))), _connector='OR'), name='harvest_record_cluster_weight_0_to_20_kg'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('berry_weight_kg__isnull', True), ('berry_weight_unit__isnull', True), ('berry_weight_value__isnull', True)), models.Q(('berry_weight_kg__isnull', False), ('berry_weight_unit__isnull', False), ('berry_weight_value__isnull', False)), _connector='OR'), name='harvest_record_berry_weight_whole'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('berry_weight_kg__isnull', True), models.Q(('berry_weight_kg__gte', Decimal('0')), ('berry_weight_kg__lte', Decimal('0.1'))), _connector='OR'), name='harvest_record_berry_weight_0_to_0_1_kg'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('soluble_solids_brix__isnull', True), ('soluble_solids_unit__isnull', True), ('soluble_solids_value__isnull', True)), models.Q(('soluble_solids_brix__isnull', False), ('soluble_solids_unit__isnull', False), ('soluble_solids_value__isnull', False)), _connector='OR'), name='harvest_record_soluble_solids_whole'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('soluble_solids_brix__isnull', True), models.Q(('soluble_solids_brix__gte', Decimal('0')), ('soluble_solids_brix__lte', Decimal('60'))), _connector='OR'), name='harvest_record_soluble_solids_0_to_60_brix'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('ph__isnull', True), models.Q(('ph__gte', Decimal('2')), ('ph__lte', Decimal('6'))), _connector='OR'), name='harvest_record_ph_2_to_6'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('titratable_acidity_g_per_l__isnull', True), ('titratable_acidity_unit__isnull', True), ('titratable_acidity_value__isnull', True)), models.Q(('titratable_acidity_g_per_l__isnull', False), ('titratable_acidity_unit__isnull', False), ('titratable_acidity_value__isnull', False)), _connector='OR'), name='harvest_record_titratable_acidity_whole'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('titratable_acidity_g_per_l__isnull', True), models.Q(('titratable_acidity_g_per_l__gte', Decimal('0')), ('titratable_acidity_g_per_l__lte', Decimal('60'))), _connector='OR'), name='harvest_record_titratable_acidity_0_to_60_g_per_l'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('reference_acid__isnull', True), ('reference_acid__in', ['tartaric', 'malic', 'citric', 'sulfuric']), _connector='OR'), name='harvest_record_reference_acid_known'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('scope', 'vine'), ('vine__isnull', False)), models.Q(models.Q(('scope', 'vine'), _negated=True), ('vine__isnull', True)), _connector='OR'), name='harvest_record_vine_exactly_for_a_vine'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('scope', 'sample'), _negated=True), ('vines_picked__isnull', False), _connector='OR'), name='harvest_record_sample_says_its_vines'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('marketable_yield_kg__isnull', True), ('yield_kg__isnull', True), ('marketable_yield_kg__lte', models.F('yield_kg')), _connector='OR'), name='harvest_record_marketable_no_more_than_all'),
        ),
        migrations.AddConstraint(
            model_name='harvestrecord',
            constraint=models.CheckConstraint(condition=models.Q(('titratable_acidity_g_per_l__isnull', True), ('reference_acid__isnull', False), _connector='OR'), name='harvest_record_acidity_with_its_acid'),
        ),
        migrations.AddIndex(
            model_name='shootcount',
            index=models.Index(fields=['farm', 'block', 'season', 'id'], name='shoot_count_of_a_block'),
        ),
        migrations.AddIndex(
            model_name='shootcount',
            index=models.Index(fields=['farm', 'season', 'id'], name='shoot_count_in_order'),
        ),
        migrations.AddIndex(
            model_name='shootcount',
            index=models.Index(fields=['farm', 'change_position', 'id'], name='shoot_count_by_change'),
        ),
        migrations.AddIndex(
            model_name='shootcount',
            index=models.Index(fields=['farm', 'vine', 'season'], name='shoot_count_of_a_vine'),
        ),
        migrations.AddConstraint(
            model_name='shootcount',
            constraint=models.UniqueConstraint(condition=models.Q(('withdrawn_at__isnull', True)), fields=('farm', 'vine', 'season'), name='shoot_count_once_a_live_vine_and_season'),
        ),
        migrations.AddConstraint(
            model_name='shootcount',
            constraint=models.CheckConstraint(condition=models.Q(('season__isnull', True), models.Q(('season__gte', 1900), ('season__lte', 2100)), _connector='OR'), name='shoot_count_season_1900_to_2100'),
        ),
        migrations.AddConstraint(
            model_name='shootcount',
            constraint=models.CheckConstraint(condition=models.Q(('observed_offset_minutes__isnull', True), models.Q(('observed_offset_minutes__gte', -1439), ('observed_offset_minutes__lte', 1439)), _connector='OR'), name='shoot_count_offset_within_a_day'),
        ),
        migrations.AddConstraint(
            model_name='shootcount',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('observed_at__isnull', True), ('observed_offset_minutes__isnull', True)), models.Q(('observed_at__isnull', False), ('observed_offset_minutes__isnull', False)), _connector='OR'), name='shoot_count_observed_with_offset'),
        ),
        migrations.AddConstraint(
            model_name='shootcount',
            constraint=models.CheckConstraint(condition=models.Q(('observed_at__isnull', False), ('source', 'import'), _connector='OR'), name='shoot_count_observed_unless_imported'),
        ),
        migrations.AddConstraint(
            model_name='shootcount',
            constraint=models.CheckConstraint(condition=models.Q(('source__in', ['api', 'import'])), name='shoot_count_source_known'),
        ),
        migrations.AddConstraint(
            model_name='shootcount',
            constraint=models.CheckConstraint(condition=models.Q(('count_shoots__isnull', True), models.Q(('count_shoots__gte', 0), ('count_shoots__lte', 5000)), _connector='OR'), name='shoot_count_count_shoots_0_000000_to_5000_000000'),
        ),
        migrations.AddConstraint(
            model_name='shootcount',
            constraint=models.CheckConstraint(condition=models.Q(('non_count_shoots__isnull', True), models.Q(('non_count_shoots__gte', 0), ('non_count_shoots__lte', 5000)), _connector='OR'), name='shoot_count_non_count_shoots_0_000000_to_5000_000000'),
        ),
        migrations.AddConstraint(
            model_name='shootcount',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('growth_stage_code__isnull', True), ('growth_stage_scale__isnull', True)), models.Q(('growth_stage_code__isnull', False), ('growth_stage_scale__isnull', False)), _connector='OR'), name='shoot_count_growth_stage_whole'),
        ),
        migrations.AddConstraint(
            model_name='shootcount',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('growth_stage_scale', 'bbch'), _negated=True), ('growth_stage_code__regex', '^([0-9]{2})$'), _connector='OR'), name='shoot_count_growth_stage_code_of_bbch'),
        ),
        migrations.AddConstraint(
            model_name='shootcount',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('growth_stage_scale', 'eichhorn_lorenz'), _negated=True), ('growth_stage_code__regex', '^(0[1-9]|[1-3][0-9]|4[0-7])$'), _connector='OR'), name='shoot_count_growth_stage_code_of_eichhorn_lorenz'),
        ),
        migrations.AddConstraint(
            model_name='shootcount',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('growth_stage_scale', 'modified_eichhorn_lorenz'), _negated=True), ('growth_stage_code__regex', '^([1-9]|[1-3][0-9]|4[0-7])$'), _connector='OR'), name='shoot_count_growth_stage_code_of_modified_eichhorn_lorenz'),
        ),
        migrations.AddConstraint(
            model_name='shootcount',
            constraint=models.CheckConstraint(condition=models.Q(('growth_stage_scale__isnull', True), ('growth_stage_scale__in', ['bbch', 'eichhorn_lorenz', 'modified_eichhorn_lorenz']), _connector='OR'), name='shoot_count_growth_stage_scale_known'),
        ),
        migrations.AddIndex(
            model_name='vineevent',
            index=models.Index(fields=['farm', 'block', 'season', 'id'], name='vine_event_of_a_block'),
        ),
        migrations.AddIndex(
            model_name='vineevent',
            index=models.Index(fields=['farm', 'season', 'id'], name='vine_event_in_order'),
        ),
        migrations.AddIndex(
            model_name='vineevent',
            index=models.Index(fields=['farm', 'change_position', 'id'], name='vine_event_by_change'),
        ),
        migrations.AddIndex(
            model_name='vineevent',
            index=models.Index(fields=['farm', 'vine', 'season'], name='vine_event_of_a_vine'),
        ),
        migrations.AddConstraint(
            model_name='vineevent',
            constraint=models.CheckConstraint(condition=models.Q(('season__isnull', True), models.Q(('season__gte', 1900), ('season__lte', 2100)), _connector='OR'), name='vine_event_season_1900_to_2100'),
        ),
        migrations.AddConstraint(
            model_name='vineevent',
            constraint=models.CheckConstraint(condition=models.Q(('observed_offset_minutes__isnull', True), models.Q(('observed_offset_minutes__gte', -1439), ('observed_offset_minutes__lte', 1439)), _connector='OR'), name='vine_event_offset_within_a_day'),
        ),
        migrations.AddConstraint(
            model_name='vineevent',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('observed_at__isnull', True), ('observed_offset_minutes__isnull', True)), models.Q(('observed_at__isnull', False), ('observed_offset_minutes__isnull', False)), _connector='OR'), name='vine_event_observed_with_offset'),
        ),
        migrations.AddConstraint(
            model_name='vineevent',
            constraint=models.CheckConstraint(condition=models.Q(('observed_at__isnull', False), ('source', 'import'), _connector='OR'), name='vine_event_observed_unless_imported'),
        ),
        migrations.AddConstraint(
            model_name='vineevent',
            constraint=models.CheckConstraint(condition=models.Q(('source__in', ['api', 'import'])), name='vine_event_source_known'),
        ),
        migrations.AddConstraint(
            model_name='vineevent',
            constraint=models.CheckConstraint(condition=models.Q(('event__in', ['planted', 'missing', 'replanted', 'retrained'])), name='vine_event_event_known'),
        ),
        *(step for table in ("shoot_count", "cluster_count", "cordon_inspection", "vine_event")
          for step in farm_table(table, OF_A_VINE, OF_A_FILE)),
        *(step for table in ("bud_sample", "harvest_record")
          for step in farm_table(table, OF_A_BLOCK, OF_A_VINE, OF_A_FILE)),
        *(keeps_its_place(table) for table in (*FOLLOWED_BEFORE, "bud_sample", "shoot_count", "cluster_count",
                                               "harvest_record", "cordon_inspection", "vine_event")),
    ]
