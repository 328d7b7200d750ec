"""Consent: who may see a farm's records, for what, from when and until when."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("records", "0003_year_records")]

    operations = []
