"""What the role that serves may do to each table; granted anew after every migration.

The serving role owns nothing.  Tables named here get less than the usual rights, each with its reason.
"""

from __future__ import annotations

from typing import Final

from django.apps import apps
from django.db.backends.base.base import BaseDatabaseWrapper

from records.kinds import KINDS

EVERYTHING: Final = "SELECT, INSERT, UPDATE, DELETE"
LESS: Final[dict[str, str]] = {
    "record_change": "SELECT, INSERT",  # history is added to, never rewritten
    "pruning_target": "SELECT, INSERT",  # what was told to a grower stays as it was told
    "pruning_formula": "SELECT, INSERT",  # a version is never changed and never removed: others may rest on it
    "balance_range": "SELECT, INSERT",
    **dict.fromkeys(KINDS, "SELECT, INSERT, UPDATE"),  # a record is withdrawn, never removed
    "cordon_case": "SELECT, INSERT, UPDATE",  # a case is withdrawn, never removed
    "cordon_step": "SELECT, INSERT",  # a step is followed, never changed
    "report": "SELECT, INSERT, UPDATE",  # what was told to a grower stays; only its making is noted
    "report_file": "SELECT, INSERT, DELETE",  # what an earlier attempt left goes; a file never changes
    "program_report": "SELECT, INSERT, UPDATE",
    "program_report_file": "SELECT, INSERT, DELETE",
    "program_report_schedule": "SELECT, INSERT, UPDATE, DELETE",
    "report_formula": "SELECT, INSERT",
    "benchmark_snapshot": "SELECT, INSERT, UPDATE",  # only its making is noted
    "benchmark_cell": "SELECT, INSERT",  # what was told stays; only the end of a consent closes it, as the owner
    "benchmark_part": "SELECT, INSERT",  # it goes with the farm
    "report_schedule": "SELECT, INSERT, UPDATE, DELETE",
    "webhook_endpoint": "SELECT, INSERT, UPDATE",  # removed ones stay for their deliveries
    "webhook_delivery": "SELECT, INSERT, UPDATE",
    "block_season": "SELECT, INSERT, UPDATE",  # kept by the triggers of whoever writes a record
    "block_season_mark": "SELECT, INSERT, DELETE",  # made by a change, gone when it is summed up
    "feed_epoch": "SELECT",  # only a restore begins the next
    "import": "SELECT, INSERT, UPDATE",
    "import_row": "SELECT, INSERT",
    "export": "SELECT, INSERT, UPDATE",
    "export_part": "SELECT, INSERT, DELETE",  # an expired file goes; a part never changes
    "kept_answer": "SELECT, INSERT, DELETE",  # what was answered never changes
    "erasure": "SELECT",  # only erase_farm writes the log
    "farm_register": "SELECT",
    "consent": "SELECT, INSERT, UPDATE",  # a consent is withdrawn, never removed
    "visit": "SELECT, INSERT",  # the grower's access log is added to, never rewritten
    "django_migrations": "SELECT",
}
#: What the serving role may call although nobody else may: each acts as the owner, within walls of its own.
FUNCTIONS: Final = ("erase_farm(uuid, text, timestamptz, uuid)",)


def grant_to(role: str, connection: BaseDatabaseWrapper) -> None:
    """Grant the serving role its rights on every table; run as the role that owns them."""
    name = connection.ops.quote_name(role)
    existing = set(connection.introspection.table_names(include_views=True))
    tables = {model._meta.db_table for model in apps.get_models(include_auto_created=True)}  # noqa: SLF001
    with connection.cursor() as cursor:
        cursor.execute(f"GRANT USAGE ON SCHEMA public TO {name}")
        cursor.execute(f"GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO {name}")
        for table in sorted((tables | {"django_migrations"}) & existing):
            quoted = connection.ops.quote_name(table)
            cursor.execute(f"REVOKE ALL ON {quoted} FROM {name}")
            cursor.execute(f"GRANT {LESS.get(table, EVERYTHING)} ON {quoted} TO {name}")
        for function in FUNCTIONS:
            cursor.execute("SELECT to_regprocedure(%s)", [function])
            if cursor.fetchone() != (None,):  # on the way back to an older release it is gone
                cursor.execute(f"GRANT EXECUTE ON FUNCTION {function} TO {name}")
