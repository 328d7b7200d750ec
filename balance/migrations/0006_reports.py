"""Reports with their files and schedules, and the receivers of webhooks, with their walls."""

import django.contrib.postgres.fields
import django.contrib.postgres.functions
import django.db.models.deletion
import records.models.base
from django.conf import settings
from django.db import migrations, models

from records.walls import Reference, farm_table


class Migration(migrations.Migration):

    dependencies = [
        ('balance', '0005_cordons'),
        ('records', '0012_job_states_looked_at'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='Report',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, help_text='Counts the changes of this row, from 1.')),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False, help_text='When the service first received it.')),
                ('changed_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), help_text='When it was last changed.')),
                ('created_digest', models.CharField(blank=True, editable=False, help_text='Of what the creating request said, so that the same request is known again for ever.', max_length=64)),
                ('season', models.PositiveSmallIntegerField(help_text='Harvest year.')),
                ('units', models.CharField(choices=[('metric', 'kilograms, metres and hectares'), ('us', 'pounds, feet and acres')], max_length=10)),
                ('scheduled', models.BooleanField(default=False, help_text='A schedule asked for it.')),
                ('attempt', models.PositiveSmallIntegerField(help_text='Empty until it is made.', null=True)),
                ('taken_at', models.DateTimeField(help_text='The one point in time that everything in it stands for.', null=True)),
                ('document', models.JSONField(null=True)),
                ('check_code', models.CharField(blank=True, help_text='SHA-256 of what it says.', max_length=64)),
                ('made_by_version', models.CharField(blank=True, help_text="The service's version that made it.", max_length=60)),
                ('farm', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm')),
                ('job', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.job')),
            ],
            options={
                'db_table': 'report',
            },
        ),
        migrations.CreateModel(
            name='ReportFile',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('attempt', models.PositiveSmallIntegerField()),
                ('form', models.CharField(choices=[('pdf', 'PDF'), ('html', 'HTML'), ('json', 'JSON'), ('csv', 'tables as CSV, in a ZIP'), ('xlsx', 'tables as a workbook')], max_length=5)),
                ('content', models.BinaryField()),
                ('size', models.PositiveIntegerField(help_text='[bytes]')),
                ('sha256', models.CharField(max_length=64)),
                ('farm', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm')),
                ('report', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='balance.report')),
            ],
            options={
                'db_table': 'report_file',
            },
        ),
        migrations.CreateModel(
            name='ReportFormula',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, help_text='Counts the changes of this row, from 1.')),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False, help_text='When the service first received it.')),
                ('changed_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), help_text='When it was last changed.')),
                ('created_digest', models.CharField(blank=True, editable=False, help_text='Of what the creating request said, so that the same request is known again for ever.', max_length=64)),
                ('farm', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm')),
                ('formula', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.pruningformula')),
                ('report', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='balance.report')),
            ],
            options={
                'db_table': 'report_formula',
            },
        ),
        migrations.CreateModel(
            name='ReportSchedule',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, help_text='Counts the changes of this row, from 1.')),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False, help_text='When the service first received it.')),
                ('changed_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), help_text='When it was last changed.')),
                ('created_digest', models.CharField(blank=True, editable=False, help_text='Of what the creating request said, so that the same request is known again for ever.', max_length=64)),
                ('month', models.PositiveSmallIntegerField()),
                ('day', models.PositiveSmallIntegerField()),
                ('units', models.CharField(choices=[('metric', 'kilograms, metres and hectares'), ('us', 'pounds, feet and acres')], max_length=10)),
                ('by_email', models.BooleanField(default=True)),
                ('next_on', models.DateField(help_text='The day on the farm on which the next one is made.')),
                ('farm', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm')),
                ('job', models.ForeignKey(db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.job')),
                ('person', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'db_table': 'report_schedule',
            },
        ),
        migrations.CreateModel(
            name='WebhookEndpoint',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, help_text='Counts the changes of this row, from 1.')),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False, help_text='When the service first received it.')),
                ('changed_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), help_text='When it was last changed.')),
                ('created_digest', models.CharField(blank=True, editable=False, help_text='Of what the creating request said, so that the same request is known again for ever.', max_length=64)),
                ('url', models.CharField(max_length=2000)),
                ('secret', models.CharField(help_text='Signs each message; shown once.', max_length=120)),
                ('events', django.contrib.postgres.fields.ArrayField(base_field=models.CharField(max_length=40), size=None)),
                ('failing_since', models.DateTimeField(blank=True, null=True)),
                ('disabled_at', models.DateTimeField(blank=True, null=True)),
                ('disabled_because', models.CharField(blank=True, max_length=400)),
                ('removed_at', models.DateTimeField(blank=True, null=True)),
                ('api_key', models.ForeignKey(blank=True, db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='records.apikey')),
                ('farm', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm')),
                ('made_by', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'db_table': 'webhook_endpoint',
            },
        ),
        migrations.CreateModel(
            name='WebhookDelivery',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, help_text='Counts the changes of this row, from 1.')),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False, help_text='When the service first received it.')),
                ('changed_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), help_text='When it was last changed.')),
                ('created_digest', models.CharField(blank=True, editable=False, help_text='Of what the creating request said, so that the same request is known again for ever.', max_length=64)),
                ('event', models.CharField(choices=[('report.ready', 'a report is ready'), ('report.failed', 'a report could not be made')], max_length=40)),
                ('about', models.UUIDField(help_text='The report, for an event of reports.')),
                ('payload', models.JSONField()),
                ('state', models.CharField(choices=[('waiting', 'to be sent, or sent again'), ('delivered', 'taken by the receiver'), ('failed', 'given up')], default='waiting', max_length=10)),
                ('attempts', models.PositiveSmallIntegerField(default=0)),
                ('next_attempt_at', models.DateTimeField(blank=True, null=True)),
                ('last_status', models.PositiveSmallIntegerField(blank=True, help_text='HTTP status of the last answer.', null=True)),
                ('last_failure', models.CharField(blank=True, max_length=400)),
                ('delivered_at', models.DateTimeField(blank=True, null=True)),
                ('farm', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm')),
                ('endpoint', models.ForeignKey(db_constraint=False, db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='balance.webhookendpoint')),
            ],
            options={
                'db_table': 'webhook_delivery',
            },
        ),
        migrations.AddIndex(
            model_name='report',
            index=models.Index(fields=['farm', '-received_at', '-id'], name='report_in_order'),
        ),
        migrations.AddIndex(
            model_name='report',
            index=models.Index(fields=['farm', 'job'], name='report_of_a_job'),
        ),
        migrations.AddConstraint(
            model_name='report',
            constraint=models.CheckConstraint(condition=models.Q(('units__in', ['metric', 'us'])), name='report_units_known'),
        ),
        migrations.AddConstraint(
            model_name='report',
            constraint=models.CheckConstraint(condition=models.Q(('season__isnull', True), models.Q(('season__gte', 1900), ('season__lte', 2100)), _connector='OR'), name='report_season_1900_to_2100'),
        ),
        migrations.AddConstraint(
            model_name='report',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('attempt__isnull', True), ('check_code', ''), ('document__isnull', True), ('taken_at__isnull', True)), models.Q(('attempt__isnull', False), ('document__isnull', False), ('taken_at__isnull', False), models.Q(('check_code', ''), _negated=True)), _connector='OR'), name='report_made_as_a_whole'),
        ),
        migrations.AddConstraint(
            model_name='reportfile',
            constraint=models.CheckConstraint(condition=models.Q(('form__in', ['pdf', 'html', 'json', 'csv', 'xlsx'])), name='report_file_form_known'),
        ),
        migrations.AddConstraint(
            model_name='reportfile',
            constraint=models.UniqueConstraint(fields=('farm', 'report', 'attempt', 'form'), name='report_file_once_a_form'),
        ),
        migrations.AddIndex(
            model_name='reportformula',
            index=models.Index(fields=['farm', 'formula'], name='report_by_formula'),
        ),
        migrations.AddConstraint(
            model_name='reportformula',
            constraint=models.UniqueConstraint(fields=('farm', 'report', 'formula'), name='report_formula_once'),
        ),
        migrations.AddConstraint(
            model_name='reportschedule',
            constraint=models.UniqueConstraint(fields=('farm', 'person'), name='report_schedule_once_a_person'),
        ),
        migrations.AddConstraint(
            model_name='reportschedule',
            constraint=models.CheckConstraint(condition=models.Q(('units__in', ['metric', 'us'])), name='report_schedule_units_known'),
        ),
        migrations.AddConstraint(
            model_name='reportschedule',
            constraint=models.CheckConstraint(condition=models.Q(('month__isnull', True), models.Q(('month__gte', 1), ('month__lte', 12)), _connector='OR'), name='report_schedule_month_1_to_12'),
        ),
        migrations.AddConstraint(
            model_name='reportschedule',
            constraint=models.CheckConstraint(condition=models.Q(('day__isnull', True), models.Q(('day__gte', 1), ('day__lte', 28)), _connector='OR'), name='report_schedule_day_1_to_28'),
        ),
        migrations.AddIndex(
            model_name='webhookendpoint',
            index=models.Index(fields=['farm', 'received_at', 'id'], name='webhook_endpoint_in_order'),
        ),
        migrations.AddConstraint(
            model_name='webhookendpoint',
            constraint=models.CheckConstraint(condition=models.Q(('events__contained_by', ['report.ready', 'report.failed'])), name='webhook_endpoint_events_known'),
        ),
        migrations.AddIndex(
            model_name='webhookdelivery',
            index=models.Index(fields=['farm', 'endpoint', '-received_at', '-id'], name='webhook_delivery_in_order'),
        ),
        migrations.AddConstraint(
            model_name='webhookdelivery',
            constraint=models.CheckConstraint(condition=models.Q(('event__in', ['report.ready', 'report.failed'])), name='webhook_delivery_event_known'),
        ),
        migrations.AddConstraint(
            model_name='webhookdelivery',
            constraint=models.CheckConstraint(condition=models.Q(('state__in', ['waiting', 'delivered', 'failed'])), name='webhook_delivery_state_known'),
        ),
        migrations.AddConstraint(
            model_name='webhookdelivery',
            constraint=models.UniqueConstraint(fields=('farm', 'endpoint', 'event', 'about'), name='webhook_delivery_once_an_event'),
        ),
        *farm_table("report", Reference(["job_id"], "job"), keeps_history=False),
        *farm_table("report_file", Reference(["report_id"], "report"), keeps_history=False),
        *farm_table("report_formula", Reference(["report_id"], "report"), keeps_history=False),
        *farm_table("report_schedule", Reference(["job_id"], "job"), keeps_history=False),
        *farm_table("webhook_endpoint", keeps_history=False),
        *farm_table("webhook_delivery", Reference(["endpoint_id"], "webhook_endpoint"), keeps_history=False),
    ]
