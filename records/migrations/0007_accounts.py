"""Logins: what the pages for people need."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("records", "0006_block_boundaries")]

    operations = []
