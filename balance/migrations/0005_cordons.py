"""Cases of replacement, their steps, and what a farm set for its cordons, with their walls."""

import django.contrib.postgres.fields
import django.contrib.postgres.functions
import django.db.models.deletion
import records.models.base
from django.conf import settings
from django.db import migrations, models

from records.walls import Reference, farm_table


class Migration(migrations.Migration):

    dependencies = [
        ('balance', '0004_statuses_looked_at'),
        ('records', '0010_balance_catalogues'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='CordonCase',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, help_text='Counts the changes of this row, from 1.')),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False, help_text='When the service first received it.')),
                ('changed_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), help_text='When it was last changed.')),
                ('created_digest', models.CharField(blank=True, editable=False, help_text='Of what the creating request said, so that the same request is known again for ever.', max_length=64)),
                ('candidate_springs_from', models.CharField(blank=True, help_text='Empty: not said.', max_length=20)),
                ('candidate_diameter_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('candidate_diameter_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('candidate_diameter_m', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('candidate_length_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('candidate_length_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('candidate_length_m', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('candidate_ripeness', models.CharField(blank=True, help_text='Empty: not said.', max_length=20)),
                ('candidate_above_graft_union', models.BooleanField(blank=True, null=True)),
                ('nodes_laid_down', models.PositiveSmallIntegerField(blank=True, help_text='Nodes of the arm that was laid down.', null=True)),
                ('wraps', models.PositiveSmallIntegerField(blank=True, help_text='Turns round the wire.', null=True)),
                ('scope', models.CharField(choices=[('part_of_cordon', 'part of a cordon'), ('cordon', 'one cordon'), ('vine', 'the whole vine, from the trunk')], max_length=20)),
                ('cordon', models.CharField(blank=True, help_text='Empty: the whole vine.', max_length=30)),
                ('reasons', django.contrib.postgres.fields.ArrayField(base_field=models.CharField(max_length=30), default=list, size=None)),
                ('noticed_on', models.DateField()),
                ('step', models.CharField(choices=[('noticed', 'noticed'), ('candidate_chosen', 'a candidate shoot is chosen'), ('laid_down', 'the candidate is laid down'), ('filling', 'the new arm fills its place'), ('bearing', 'the new arm bears'), ('failed', 'the attempt failed'), ('given_up', 'given up')], default='noticed', max_length=20)),
                ('step_number', models.PositiveSmallIntegerField(default=1)),
                ('step_on', models.DateField(help_text='The day of the newest step.')),
                ('step_season', models.PositiveSmallIntegerField(help_text='The harvest year that this day belongs to.')),
                ('laid_down_season', models.PositiveSmallIntegerField(blank=True, help_text='The season in which the arm that stands now was laid down.', null=True)),
                ('note', models.TextField(blank=True, max_length=4000)),
                ('withdrawn_at', models.DateTimeField(blank=True, help_text='When it was withdrawn as a mistake.', null=True)),
                ('block', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.block')),
                ('farm', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm')),
                ('vine', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.vine')),
            ],
            options={
                'db_table': 'cordon_case',
            },
        ),
        migrations.CreateModel(
            name='CordonSettings',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, help_text='Counts the changes of this row, from 1.')),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False, help_text='When the service first received it.')),
                ('changed_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), help_text='When it was last changed.')),
                ('created_digest', models.CharField(blank=True, editable=False, help_text='Of what the creating request said, so that the same request is known again for ever.', max_length=64)),
                ('blank_share_percent', models.DecimalField(blank=True, decimal_places=2, max_digits=5, null=True)),
                ('blank_length_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('blank_length_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('blank_length_m', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('dieback_length_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('dieback_length_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('dieback_length_m', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('fewest_living_positions', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('years_in_decline', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('minutes_a_task', models.JSONField(default=dict, help_text='Minutes for one vine, by task.')),
                ('block', models.ForeignKey(blank=True, db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.block')),
                ('farm', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm')),
            ],
            options={
                'db_table': 'cordon_settings',
            },
        ),
        migrations.CreateModel(
            name='CordonStep',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, help_text='Counts the changes of this row, from 1.')),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False, help_text='When the service first received it.')),
                ('changed_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), help_text='When it was last changed.')),
                ('created_digest', models.CharField(blank=True, editable=False, help_text='Of what the creating request said, so that the same request is known again for ever.', max_length=64)),
                ('candidate_springs_from', models.CharField(blank=True, help_text='Empty: not said.', max_length=20)),
                ('candidate_diameter_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('candidate_diameter_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('candidate_diameter_m', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('candidate_length_value', models.DecimalField(blank=True, decimal_places=12, max_digits=27, null=True)),
                ('candidate_length_unit', models.CharField(blank=True, max_length=20, null=True)),
                ('candidate_length_m', models.DecimalField(blank=True, decimal_places=24, max_digits=30, null=True)),
                ('candidate_ripeness', models.CharField(blank=True, help_text='Empty: not said.', max_length=20)),
                ('candidate_above_graft_union', models.BooleanField(blank=True, null=True)),
                ('nodes_laid_down', models.PositiveSmallIntegerField(blank=True, help_text='Nodes of the arm that was laid down.', null=True)),
                ('wraps', models.PositiveSmallIntegerField(blank=True, help_text='Turns round the wire.', null=True)),
                ('number', models.PositiveSmallIntegerField(help_text='From 1.')),
                ('step', models.CharField(choices=[('noticed', 'noticed'), ('candidate_chosen', 'a candidate shoot is chosen'), ('laid_down', 'the candidate is laid down'), ('filling', 'the new arm fills its place'), ('bearing', 'the new arm bears'), ('failed', 'the attempt failed'), ('given_up', 'given up')], max_length=20)),
                ('happened_on', models.DateField()),
                ('season', models.PositiveSmallIntegerField(help_text='The harvest year that this day belongs to.')),
                ('photo_reference', models.CharField(blank=True, help_text='Where the farm keeps a photo.', max_length=400)),
                ('note', models.TextField(blank=True, max_length=4000)),
                ('app_name', models.CharField(blank=True, max_length=80)),
                ('api_key', models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.apikey')),
                ('case', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='balance.cordoncase')),
                ('farm', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm')),
                ('inspection', models.ForeignKey(blank=True, db_constraint=False, db_index=False, help_text='The inspection that shows it.', null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.cordoninspection')),
                ('recorded_by', models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'db_table': 'cordon_step',
            },
        ),
        migrations.AddIndex(
            model_name='cordoncase',
            index=models.Index(fields=['farm', 'block', 'step', 'id'], name='cordon_case_of_a_block'),
        ),
        migrations.AddIndex(
            model_name='cordoncase',
            index=models.Index(fields=['farm', 'vine', 'id'], name='cordon_case_of_a_vine'),
        ),
        migrations.AddConstraint(
            model_name='cordoncase',
            constraint=models.CheckConstraint(condition=models.Q(('candidate_springs_from__in', ['', 'head', 'cordon_base', 'trunk', 'below_head', 'below_graft_union'])), name='cordon_case_candidate_springs_from_known'),
        ),
        migrations.AddConstraint(
            model_name='cordoncase',
            constraint=models.CheckConstraint(condition=models.Q(('candidate_ripeness__in', ['', 'well_ripened', 'partly_ripened', 'poorly_ripened'])), name='cordon_case_candidate_ripeness_known'),
        ),
        migrations.AddConstraint(
            model_name='cordoncase',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('candidate_diameter_m__isnull', True), ('candidate_diameter_unit__isnull', True), ('candidate_diameter_value__isnull', True)), models.Q(('candidate_diameter_m__isnull', False), ('candidate_diameter_unit__isnull', False), ('candidate_diameter_value__isnull', False)), _connector='OR'), name='cordon_case_candidate_diameter_whole'),
        ),
        migrations.AddConstraint(
            model_name='cordoncase',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('candidate_length_m__isnull', True), ('candidate_length_unit__isnull', True), ('candidate_length_value__isnull', True)), models.Q(('candidate_length_m__isnull', False), ('candidate_length_unit__isnull', False), ('candidate_length_value__isnull', False)), _connector='OR'), name='cordon_case_candidate_length_whole'),
        ),
        migrations.AddConstraint(
            model_name='cordoncase',
            constraint=models.CheckConstraint(condition=models.Q(('candidate_diameter_m__isnull', True), models.Q(('candidate_diameter_m__gte', 0), ('candidate_diameter_m__lte', '0.1')), _connector='OR'), name='cordon_case_candidate_diameter_0_to_100_mm'),
        ),
        migrations.AddConstraint(
            model_name='cordoncase',
            constraint=models.CheckConstraint(condition=models.Q(('candidate_length_m__isnull', True), models.Q(('candidate_length_m__gte', 0), ('candidate_length_m__lte', 20)), _connector='OR'), name='cordon_case_candidate_length_0_to_20_m'),
        ),
        migrations.AddConstraint(
            model_name='cordoncase',
            constraint=models.CheckConstraint(condition=models.Q(('nodes_laid_down__isnull', True), models.Q(('nodes_laid_down__gte', 0), ('nodes_laid_down__lte', 200)), _connector='OR'), name='cordon_case_nodes_laid_down_0_to_200'),
        ),
        migrations.AddConstraint(
            model_name='cordoncase',
            constraint=models.CheckConstraint(condition=models.Q(('wraps__isnull', True), models.Q(('wraps__gte', 0), ('wraps__lte', 20)), _connector='OR'), name='cordon_case_wraps_0_to_20'),
        ),
        migrations.AddConstraint(
            model_name='cordoncase',
            constraint=models.CheckConstraint(condition=models.Q(('scope__in', ['part_of_cordon', 'cordon', 'vine'])), name='cordon_case_scope_known'),
        ),
        migrations.AddConstraint(
            model_name='cordoncase',
            constraint=models.CheckConstraint(condition=models.Q(('step__in', ['noticed', 'candidate_chosen', 'laid_down', 'filling', 'bearing', 'failed', 'given_up'])), name='cordon_case_step_known'),
        ),
        migrations.AddConstraint(
            model_name='cordoncase',
            constraint=models.CheckConstraint(condition=models.Q(('cordon__in', ['', 'left', 'right', 'upper_left', 'upper_right', 'lower_left', 'lower_right', 'front_left', 'front_right', 'back_left', 'back_right', 'head'])), name='cordon_case_cordon_known'),
        ),
        migrations.AddConstraint(
            model_name='cordoncase',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('cordon', ''), ('scope', 'vine')), models.Q(models.Q(('scope', 'vine'), _negated=True), models.Q(('cordon', ''), _negated=True)), _connector='OR'), name='cordon_case_names_its_cordon'),
        ),
        migrations.AddConstraint(
            model_name='cordoncase',
            constraint=models.CheckConstraint(condition=models.Q(('reasons__contained_by', ['seen', 'blank_share', 'blank_length', 'few_positions', 'dieback', 'years_in_decline', 'more_than_one_cordon'])), name='cordon_case_reasons_known'),
        ),
        migrations.AddConstraint(
            model_name='cordoncase',
            constraint=models.CheckConstraint(condition=models.Q(('step_on__gte', models.F('noticed_on'))), name='cordon_case_not_before_it_was_noticed'),
        ),
        migrations.AddConstraint(
            model_name='cordoncase',
            constraint=models.UniqueConstraint(condition=models.Q(('withdrawn_at__isnull', True), models.Q(('step__in', ('bearing', 'given_up')), _negated=True)), fields=('farm', 'vine', 'cordon'), name='cordon_case_one_open_a_cordon'),
        ),
        migrations.AddConstraint(
            model_name='cordonsettings',
            constraint=models.UniqueConstraint(fields=('farm', 'block'), name='cordon_settings_once_a_block', nulls_distinct=False),
        ),
        migrations.AddConstraint(
            model_name='cordonsettings',
            constraint=models.CheckConstraint(condition=models.Q(('blank_share_percent__isnull', True), models.Q(('blank_share_percent__gte', 1), ('blank_share_percent__lte', 100)), _connector='OR'), name='cordon_settings_blank_share_1_to_100'),
        ),
        migrations.AddConstraint(
            model_name='cordonsettings',
            constraint=models.CheckConstraint(condition=models.Q(('blank_length_m__isnull', True), models.Q(('blank_length_m__gte', 0), ('blank_length_m__lte', 100)), _connector='OR'), name='cordon_settings_blank_length_0_to_100_m'),
        ),
        migrations.AddConstraint(
            model_name='cordonsettings',
            constraint=models.CheckConstraint(condition=models.Q(('dieback_length_m__isnull', True), models.Q(('dieback_length_m__gte', 0), ('dieback_length_m__lte', 100)), _connector='OR'), name='cordon_settings_dieback_length_0_to_100_m'),
        ),
        migrations.AddConstraint(
            model_name='cordonsettings',
            constraint=models.CheckConstraint(condition=models.Q(('fewest_living_positions__isnull', True), models.Q(('fewest_living_positions__gte', 1), ('fewest_living_positions__lte', 500)), _connector='OR'), name='cordon_settings_fewest_positions_1_to_500'),
        ),
        migrations.AddConstraint(
            model_name='cordonsettings',
            constraint=models.CheckConstraint(condition=models.Q(('years_in_decline__isnull', True), models.Q(('years_in_decline__gte', 1), ('years_in_decline__lte', 20)), _connector='OR'), name='cordon_settings_years_in_decline_1_to_20'),
        ),
        migrations.AddConstraint(
            model_name='cordonsettings',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('blank_length_m__isnull', True), ('blank_length_unit__isnull', True), ('blank_length_value__isnull', True)), models.Q(('blank_length_m__isnull', False), ('blank_length_unit__isnull', False), ('blank_length_value__isnull', False)), _connector='OR'), name='cordon_settings_blank_length_whole'),
        ),
        migrations.AddConstraint(
            model_name='cordonsettings',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('dieback_length_m__isnull', True), ('dieback_length_unit__isnull', True), ('dieback_length_value__isnull', True)), models.Q(('dieback_length_m__isnull', False), ('dieback_length_unit__isnull', False), ('dieback_length_value__isnull', False)), _connector='OR'), name='cordon_settings_dieback_length_whole'),
        ),
        migrations.AddConstraint(
            model_name='cordonstep',
            constraint=models.CheckConstraint(condition=models.Q(('candidate_springs_from__in', ['', 'head', 'cordon_base', 'trunk', 'below_head', 'below_graft_union'])), name='cordon_step_candidate_springs_from_known'),
        ),
        migrations.AddConstraint(
            model_name='cordonstep',
            constraint=models.CheckConstraint(condition=models.Q(('candidate_ripeness__in', ['', 'well_ripened', 'partly_ripened', 'poorly_ripened'])), name='cordon_step_candidate_ripeness_known'),
        ),
        migrations.AddConstraint(
            model_name='cordonstep',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('candidate_diameter_m__isnull', True), ('candidate_diameter_unit__isnull', True), ('candidate_diameter_value__isnull', True)), models.Q(('candidate_diameter_m__isnull', False), ('candidate_diameter_unit__isnull', False), ('candidate_diameter_value__isnull', False)), _connector='OR'), name='cordon_step_candidate_diameter_whole'),
        ),
        migrations.AddConstraint(
            model_name='cordonstep',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('candidate_length_m__isnull', True), ('candidate_length_unit__isnull', True), ('candidate_length_value__isnull', True)), models.Q(('candidate_length_m__isnull', False), ('candidate_length_unit__isnull', False), ('candidate_length_value__isnull', False)), _connector='OR'), name='cordon_step_candidate_length_whole'),
        ),
        migrations.AddConstraint(
            model_name='cordonstep',
            constraint=models.CheckConstraint(condition=models.Q(('candidate_diameter_m__isnull', True), models.Q(('candidate_diameter_m__gte', 0), ('candidate_diameter_m__lte', '0.1')), _connector='OR'), name='cordon_step_candidate_diameter_0_to_100_mm'),
        ),
        migrations.AddConstraint(
            model_name='cordonstep',
            constraint=models.CheckConstraint(condition=models.Q(('candidate_length_m__isnull', True), models.Q(('candidate_length_m__gte', 0), ('candidate_length_m__lte', 20)), _connector='OR'), name='cordon_step_candidate_length_0_to_20_m'),
        ),
        migrations.AddConstraint(
            model_name='cordonstep',
            constraint=models.CheckConstraint(condition=models.Q(('nodes_laid_down__isnull', True), models.Q(('nodes_laid_down__gte', 0), ('nodes_laid_down__lte', 200)), _connector='OR'), name='cordon_step_nodes_laid_down_0_to_200'),
        ),
        migrations.AddConstraint(
            model_name='cordonstep',
            constraint=models.CheckConstraint(condition=models.Q(('wraps__isnull', True), models.Q(('wraps__gte', 0), ('wraps__lte', 20)), _connector='OR'), name='cordon_step_wraps_0_to_20'),
        ),
        migrations.AddConstraint(
            model_name='cordonstep',
            constraint=models.CheckConstraint(condition=models.Q(('step__in', ['noticed', 'candidate_chosen', 'laid_down', 'filling', 'bearing', 'failed', 'given_up'])), name='cordon_step_step_known'),
        ),
        migrations.AddConstraint(
            model_name='cordonstep',
            constraint=models.UniqueConstraint(fields=('farm', 'case', 'number'), name='cordon_step_once_a_number'),
        ),
        migrations.AddConstraint(
            model_name='cordonstep',
            constraint=models.CheckConstraint(condition=models.Q(('season__isnull', True), models.Q(('season__gte', 1900), ('season__lte', 2100)), _connector='OR'), name='cordon_step_season_1900_to_2100'),
        ),
        *farm_table("cordon_case", Reference(["block_id", "vine_id"], "vine", ["block_id", "id"])),
        *farm_table(
            "cordon_step",
            Reference(["case_id"], "cordon_case"),
            Reference(["inspection_id"], "cordon_inspection"),
            keeps_history=False,
        ),
        *farm_table("cordon_settings", Reference(["block_id"], "block")),
    ]
