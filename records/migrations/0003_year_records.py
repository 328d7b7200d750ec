"""The records of a year: what is counted, weighed and seen on vines from winter to winter."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("records", "0002_walls_between_farms")]

    operations = []
