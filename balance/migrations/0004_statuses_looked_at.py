"""Look at the statuses that were told before, in a transaction of its own: nobody waits while it reads."""

from django.contrib.postgres.operations import ValidateConstraint
from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("balance", "0003_told_otherwise")]

    operations = [ValidateConstraint("pruningtarget", "pruning_target_status_known")]
