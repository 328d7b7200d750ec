"""Keys by which a request without an id of its own is known again."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("records", "0004_consent")]

    operations = []
