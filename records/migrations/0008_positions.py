"""The place of every record in the feed of changes."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("records", "0007_accounts")]

    operations = []
