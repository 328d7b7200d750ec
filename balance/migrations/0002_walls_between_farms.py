"""The walls of the targets that were told."""

from django.db import migrations

from records.walls import Reference, farm_table


class Migration(migrations.Migration):
    dependencies = [("balance", "0001_initial"), ("records", "0002_walls_between_farms")]

    operations = farm_table("pruning_target", Reference(["dormant_record_id"], "dormant_record"), keeps_history=False)
