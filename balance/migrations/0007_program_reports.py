"""Season reports of programs, which belong to no farm."""

import django.contrib.postgres.functions
import django.db.models.deletion
import records.models.base
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('balance', '0006_reports'),
        ('records', '0012_job_states_looked_at'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='ProgramReport',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('season', models.PositiveSmallIntegerField(help_text='Harvest year.')),
                ('units', models.CharField(choices=[('metric', 'kilograms, metres and hectares'), ('us', 'pounds, feet and acres')], max_length=10)),
                ('request_id', models.CharField(blank=True, max_length=64)),
                ('created_digest', models.CharField(blank=True, editable=False, max_length=64)),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False)),
                ('state', models.CharField(choices=[('queued', 'queued'), ('running', 'running'), ('succeeded', 'succeeded'), ('failed', 'failed'), ('cancelled', 'cancelled')], default='queued', max_length=10)),
                ('attempts', models.PositiveSmallIntegerField(default=0)),
                ('leased_until', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), help_text='A worker holds it until then; afterwards anybody may take it up.')),
                ('progress_done', models.PositiveIntegerField(default=0)),
                ('progress_total', models.PositiveIntegerField(blank=True, null=True)),
                ('failure', models.TextField(blank=True)),
                ('finished_at', models.DateTimeField(blank=True, null=True)),
                ('taken_at', models.DateTimeField(null=True)),
                ('document', models.JSONField(null=True)),
                ('check_code', models.CharField(blank=True, max_length=64)),
                ('made_by_version', models.CharField(blank=True, max_length=60)),
                ('asked_by', models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('program', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.program')),
            ],
            options={
                'db_table': 'program_report',
            },
        ),
        migrations.CreateModel(
            name='ProgramReportFile',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('attempt', models.PositiveSmallIntegerField()),
                ('form', models.CharField(choices=[('pdf', 'PDF'), ('html', 'HTML'), ('json', 'JSON'), ('csv', 'tables as CSV, in a ZIP'), ('xlsx', 'tables as a workbook')], max_length=5)),
                ('content', models.BinaryField()),
                ('size', models.PositiveIntegerField(help_text='[bytes]')),
                ('sha256', models.CharField(max_length=64)),
                ('report', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='files', to='balance.programreport')),
            ],
            options={
                'db_table': 'program_report_file',
            },
        ),
        migrations.AddIndex(
            model_name='programreport',
            index=models.Index(fields=['program', '-received_at', '-id'], name='program_report_in_order'),
        ),
        migrations.AddIndex(
            model_name='programreport',
            index=models.Index(condition=models.Q(('state__in', ['queued', 'running'])), fields=['leased_until'], name='program_report_to_be_made'),
        ),
        migrations.AddConstraint(
            model_name='programreport',
            constraint=models.CheckConstraint(condition=models.Q(('units__in', ['metric', 'us'])), name='program_report_units_known'),
        ),
        migrations.AddConstraint(
            model_name='programreport',
            constraint=models.CheckConstraint(condition=models.Q(('state__in', ['queued', 'running', 'succeeded', 'failed', 'cancelled'])), name='program_report_state_known'),
        ),
        migrations.AddConstraint(
            model_name='programreport',
            constraint=models.CheckConstraint(condition=models.Q(('season__isnull', True), models.Q(('season__gte', 1900), ('season__lte', 2100)), _connector='OR'), name='program_report_season_1900_to_2100'),
        ),
        migrations.AddConstraint(
            model_name='programreportfile',
            constraint=models.CheckConstraint(condition=models.Q(('form__in', ['pdf', 'html', 'json', 'csv', 'xlsx'])), name='program_report_file_form_known'),
        ),
        migrations.AddConstraint(
            model_name='programreportfile',
            constraint=models.UniqueConstraint(fields=('report', 'attempt', 'form'), name='program_report_file_once_a_form'),
        ),
    ]
