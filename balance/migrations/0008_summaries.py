"""What each block's records of a season come to, kept by triggers, with its walls."""

import django.contrib.postgres.fields
import django.contrib.postgres.functions
import django.db.models.deletion
import django.db.models.functions.datetime
import records.models.base
from django.db import migrations, models

from balance.summaries.sql import keep_summaries
from records.walls import Reference, farm_table, row_security


class Migration(migrations.Migration):

    dependencies = [
        ('balance', '0007_program_reports'),
        ('records', '0012_job_states_looked_at'),
    ]

    operations = [
        migrations.CreateModel(
            name='BlockSeasonMark',
            fields=[
                ('pk', models.CompositePrimaryKey('farm', 'block', 'season', 'written_by', blank=True, editable=False, primary_key=True, serialize=False)),
                ('season', models.PositiveSmallIntegerField(help_text='0 stands for every season; see PAIRS_OF.')),
                ('written_by', models.BigIntegerField(help_text='The number of the transaction.')),
                ('marked_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now())),
                ('block', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.block')),
                ('farm', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm')),
            ],
            options={
                'db_table': 'block_season_mark',
            },
        ),
        migrations.CreateModel(
            name='BlockSeason',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, help_text='Counts the changes of this row, from 1.')),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False, help_text='When the service first received it.')),
                ('changed_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), help_text='When it was last changed.')),
                ('created_digest', models.CharField(blank=True, editable=False, help_text='Of what the creating request said, so that the same request is known again for ever.', max_length=64)),
                ('season', models.PositiveSmallIntegerField(help_text='Calendar year of the harvest.')),
                ('places', models.PositiveIntegerField(db_default=0)),
                ('missing', models.PositiveIntegerField(db_default=0)),
                ('young_vines', models.PositiveIntegerField(db_default=0)),
                ('records', models.PositiveIntegerField(db_default=0)),
                ('weighed', models.PositiveIntegerField(db_default=0)),
                ('zero_weights', models.PositiveIntegerField(db_default=0)),
                ('far_out_weights', models.PositiveIntegerField(db_default=0)),
                ('without_resolution', models.PositiveIntegerField(db_default=0)),
                ('guessed', models.PositiveIntegerField(db_default=0)),
                ('weight_sum', models.FloatField(blank=True, help_text='[kg]; empty where nothing was measured.', null=True)),
                ('weight_mean', models.FloatField(blank=True, help_text='[kg]; empty where nothing was measured.', null=True)),
                ('weight_deviation', models.FloatField(blank=True, help_text='[kg]; empty where nothing was measured.', null=True)),
                ('weight_least', models.FloatField(blank=True, help_text='[kg]; empty where nothing was measured.', null=True)),
                ('weight_most', models.FloatField(blank=True, help_text='[kg]; empty where nothing was measured.', null=True)),
                ('weight_quantiles', django.contrib.postgres.fields.ArrayField(base_field=models.FloatField(), blank=True, help_text='At the shares of QUANTILES [kg].', null=True, size=None)),
                ('weight_bins', django.contrib.postgres.fields.ArrayField(base_field=models.PositiveIntegerField(), blank=True, help_text='Vines by weight, in bins of BIN_KG.', null=True, size=None)),
                ('targets', models.PositiveIntegerField(db_default=0)),
                ('target_sum', models.FloatField(blank=True, help_text='[nodes]; empty where nothing was measured.', null=True)),
                ('below_range', models.PositiveIntegerField(db_default=0)),
                ('above_range', models.PositiveIntegerField(db_default=0)),
                ('in_training', models.PositiveIntegerField(db_default=0)),
                ('without_formula', models.PositiveIntegerField(db_default=0)),
                ('counted', models.PositiveIntegerField(db_default=0)),
                ('kept_sum', models.FloatField(blank=True, help_text='[nodes]; empty where nothing was measured.', null=True)),
                ('judged', models.PositiveIntegerField(db_default=0)),
                ('too_many', models.PositiveIntegerField(db_default=0)),
                ('too_few', models.PositiveIntegerField(db_default=0)),
                ('difference_sum', models.FloatField(blank=True, help_text='[nodes]; empty where nothing was measured.', null=True)),
                ('tolerance_sum', models.FloatField(blank=True, help_text='[nodes]; empty where nothing was measured.', null=True)),
                ('harvest_records', models.PositiveIntegerField(db_default=0)),
                ('block_recorded', models.BooleanField(db_default=False)),
                ('block_yield', models.FloatField(blank=True, help_text='[kg]; empty where nothing was measured.', null=True)),
                ('sample_yield', models.FloatField(blank=True, help_text='[kg a vine]; empty where nothing was measured.', null=True)),
                ('sample_vines', models.PositiveIntegerField(db_default=0)),
                ('pairs', models.PositiveIntegerField(db_default=0)),
                ('pairs_crop', models.FloatField(blank=True, help_text='[kg]; empty where nothing was measured.', null=True)),
                ('pairs_wood', models.FloatField(blank=True, help_text='[kg]; empty where nothing was measured.', null=True)),
                ('vines_picked', models.PositiveIntegerField(db_default=0)),
                ('vine_yield_mean', models.FloatField(blank=True, help_text='[kg]; empty where nothing was measured.', null=True)),
                ('vine_yield_deviation', models.FloatField(blank=True, help_text='[kg]; empty where nothing was measured.', null=True)),
                ('vine_yield_quantiles', django.contrib.postgres.fields.ArrayField(base_field=models.FloatField(), blank=True, help_text='At the shares of QUANTILES [kg].', null=True, size=None)),
                ('bud_samples', models.PositiveIntegerField(db_default=0)),
                ('shoot_counts', models.PositiveIntegerField(db_default=0)),
                ('cluster_counts', models.PositiveIntegerField(db_default=0)),
                ('inspections', models.PositiveIntegerField(db_default=0)),
                ('cordons', models.PositiveIntegerField(db_default=0)),
                ('cordons_by_position', models.PositiveIntegerField(db_default=0)),
                ('living_positions', models.PositiveIntegerField(db_default=0)),
                ('blank_positions', models.PositiveIntegerField(db_default=0)),
                ('cordons_by_length', models.PositiveIntegerField(db_default=0)),
                ('blank_length', models.FloatField(blank=True, help_text='[m]; empty where nothing was measured.', null=True)),
                ('cordon_length', models.FloatField(blank=True, help_text='[m]; empty where nothing was measured.', null=True)),
                ('cases', models.JSONField(db_default=models.Value({}, models.JSONField()), help_text='Cases by their newest step.')),
                ('block', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.block')),
                ('farm', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm')),
            ],
            options={
                'db_table': 'block_season',
                'indexes': [models.Index(fields=['farm', 'season', 'block'], name='block_season_of_a_season')],
                'constraints': [models.UniqueConstraint(fields=('farm', 'block', 'season'), name='block_season_once'), models.CheckConstraint(condition=models.Q(('season__isnull', True), models.Q(('season__gte', 1899), ('season__lte', 2100)), _connector='OR'), name='block_season_1899_to_2100')],
            },
        ),
        *farm_table("block_season", Reference(["block_id"], "block"), keeps_history=False),
        row_security("block_season_mark"),
        migrations.RunSQL(
            sql="ALTER TABLE block_season SET (fillfactor = 70)", reverse_sql="ALTER TABLE block_season RESET (fillfactor)"
        ),
        keep_summaries(),
    ]
