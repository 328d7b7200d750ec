"""A program's wish for a report every year."""

import django.contrib.postgres.functions
import django.db.models.deletion
import records.models.base
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('balance', '0011_events_looked_at'),
        ('records', '0014_benchmarks_consent'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='ProgramReportSchedule',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('hemisphere', models.CharField(choices=[('north', 'north'), ('south', 'south')], max_length=5)),
                ('month', models.PositiveSmallIntegerField()),
                ('day', models.PositiveSmallIntegerField()),
                ('units', models.CharField(choices=[('metric', 'kilograms, metres and hectares'), ('us', 'pounds, feet and acres')], max_length=10)),
                ('next_at', models.DateTimeField(help_text='When the next one is asked for; empty once it has ended.', null=True)),
                ('ended_because', models.CharField(blank=True, max_length=400)),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False)),
                ('changed_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow())),
                ('asked_by', models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('program', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.program')),
            ],
            options={
                'db_table': 'program_report_schedule',
                'indexes': [models.Index(fields=['next_at'], name='program_report_schedule_due')],
                'constraints': [models.UniqueConstraint(fields=('program',), name='program_report_schedule_once_a_program'), models.CheckConstraint(condition=models.Q(('units__in', ['metric', 'us'])), name='program_report_schedule_units_known'), models.CheckConstraint(condition=models.Q(('hemisphere__in', ['north', 'south'])), name='program_report_schedule_hemisphere_known'), models.CheckConstraint(condition=models.Q(('month__isnull', True), models.Q(('month__gte', 1), ('month__lte', 12)), _connector='OR'), name='program_report_schedule_month_1_to_12'), models.CheckConstraint(condition=models.Q(('day__isnull', True), models.Q(('day__gte', 1), ('day__lte', 28)), _connector='OR'), name='program_report_schedule_day_1_to_28')],
            },
        ),
    ]
