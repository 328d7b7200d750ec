"""The former secret of a receiver, which signs beside the new one for a day."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('balance', '0012_program_schedules'),
    ]

    operations = [
        migrations.AddField(
            model_name='webhookendpoint',
            name='former_secret',
            field=models.CharField(blank=True, db_default='', help_text='Signs each message, too, until its time is over.', max_length=120),
        ),
        migrations.AddField(
            model_name='webhookendpoint',
            name='former_secret_until',
            field=models.DateTimeField(blank=True, help_text='Until then messages are signed by the former secret, too.', null=True),
        ),
    ]
