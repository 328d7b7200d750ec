"""Keys led by the farm, composite references, row-level security and the keeping of replaced versions."""

from django.db import migrations

from records.walls import (
    CONTEXT_FUNCTIONS,
    Reference,
    farm_key,
    farm_table,
    history,
    row_security,
    unique_for_references,
)

OF_THE_CONTEXT = "farm_id = ANY ((SELECT context_farms())::uuid[])"
FARM_OF_THE_CONTEXT = "id = ANY ((SELECT context_farms())::uuid[])"


class Migration(migrations.Migration):
    dependencies = [("records", "0001_initial")]

    operations = [
        CONTEXT_FUNCTIONS,
        row_security("farm", FARM_OF_THE_CONTEXT),
        # A person sees their own memberships before any farm is opened: that is how the door finds the farm.
        farm_key("membership"),
        row_security("membership", f"{OF_THE_CONTEXT} OR person_id = (SELECT context_person())", OF_THE_CONTEXT),
        history("membership"),
        *farm_table("block"),
        *farm_table("row", Reference(["block_id"], "block")),
        unique_for_references("row", "block_id", "id", "number"),
        *farm_table(
            "vine",
            Reference(["block_id", "row_id", "row_number"], "row", ["block_id", "id", "number"], follows_changes=True),
        ),
        unique_for_references("vine", "block_id", "id"),
        *farm_table("job", keeps_history=False),
        *farm_table("import", Reference(["job_id"], "job"), Reference(["block_id"], "block"), keeps_history=False),
        *farm_table("import_row", Reference(["imported_id"], "import"), keeps_history=False),
        *farm_table(
            "dormant_record",
            Reference(["block_id", "vine_id"], "vine", ["block_id", "id"]),
            Reference(["imported_from_id"], "import"),
        ),
        row_security("record_change", OF_THE_CONTEXT),
        farm_key("record_change"),
    ]
