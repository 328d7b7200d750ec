"""The outline of a block, with the area that follows from it."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("records", "0005_idempotency_keys")]

    operations = []
