"""Look at the statuses that were told before, in a transaction of its own: nobody waits while it reads."""

from django.contrib.postgres.operations import ValidateConstraint
from django.db import migrations


class Migration(migrations.Migration):
    # Asked by .ci/migrations.py, which shows all migrations of a release to the checker as one transaction.
    safe_because = {"constraint-missing-not-valid": "the migration before is not atomic and has committed its NOT VALID part"}
    dependencies = [("balance", "0003_told_otherwise")]

    operations = [ValidateConstraint("pruningtarget", "pruning_target_status_known")]
