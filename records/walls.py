"""SQL of the walls between farms, for migrations.

Django cannot say these things itself: a primary key led by the farm, composite foreign keys that hold two
rows of one farm together, row-level security as a second wall behind ``records.access``, and the trigger
that keeps what a change replaced.  Statements here are part of released migrations: add, never edit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.migrations.operations import RunSQL


@dataclass(frozen=True)
class Reference:
    """One composite foreign key; the farm's column leads on both sides and is not named here."""

    columns: Sequence[str]
    target: str
    target_columns: Sequence[str] = ("id",)
    follows_changes: bool = False


#: Context of the transaction: whose rows it may touch and on whose behalf. Empty means nobody and nothing.
CONTEXT_FUNCTIONS = RunSQL(
    sql="""
    CREATE FUNCTION context_farms() RETURNS uuid[] LANGUAGE sql STABLE PARALLEL SAFE AS
        $$ SELECT string_to_array(nullif(current_setting('app.farms', true), ''), ',')::uuid[] $$;
    CREATE FUNCTION context_person() RETURNS uuid LANGUAGE sql STABLE PARALLEL SAFE AS
        $$ SELECT nullif(current_setting('app.person', true), '')::uuid $$;
    CREATE FUNCTION keep_replaced_version() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        INSERT INTO record_change
            (farm_id, entity, entity_id, version, old_row, reason, person_id, api_key_id, request_id)
        SELECT replaced.farm_id, TG_TABLE_NAME, replaced.id, replaced.version, to_jsonb(replaced),
               coalesce(current_setting('app.reason', true), ''), context_person(),
               nullif(current_setting('app.key', true), '')::uuid,
               coalesce(current_setting('app.request', true), '')
        FROM replaced;
        RETURN NULL;
    END $$;
    """,
    reverse_sql="""
    DROP FUNCTION keep_replaced_version();
    DROP FUNCTION context_person();
    DROP FUNCTION context_farms();
    """,
)

#: Places in the feed of changes grow with the number of the transaction; the offset is raised by a restore, because
#: a new cluster counts its transactions from the beginning (see ``records.services.feed``).
FEED_FUNCTIONS = RunSQL(
    sql="""
    CREATE FUNCTION change_offset() RETURNS bigint LANGUAGE sql IMMUTABLE PARALLEL SAFE AS $$ SELECT 0::bigint $$;
    CREATE FUNCTION change_position() RETURNS bigint LANGUAGE sql VOLATILE AS
        $$ SELECT pg_current_xact_id()::text::bigint + change_offset() $$;
    CREATE FUNCTION keep_its_place() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        NEW.change_position := change_position();
        RETURN NEW;
    END $$;
    """,
    reverse_sql="""
    DROP FUNCTION keep_its_place();
    DROP FUNCTION change_position();
    DROP FUNCTION change_offset();
    """,
)

_SEES = "farm_id = ANY ((SELECT context_farms())::uuid[])"


def farm_key(table: str) -> RunSQL:
    """Let the farm lead the primary key: two farms may use one id, and rows can be spread by farm."""
    return RunSQL(
        sql=f'ALTER TABLE "{table}" DROP CONSTRAINT "{table}_pkey", '
        f'ADD CONSTRAINT "{table}_pkey" PRIMARY KEY (farm_id, id)',
        reverse_sql=f'ALTER TABLE "{table}" DROP CONSTRAINT "{table}_pkey", '
        f'ADD CONSTRAINT "{table}_pkey" PRIMARY KEY (id)',
    )


def row_security(table: str, sees: str = _SEES, writes: str | None = None) -> RunSQL:
    """Show and accept only rows of the farms in the transaction's context, to the owner as well."""
    return RunSQL(
        sql=f"""
        ALTER TABLE "{table}" ENABLE ROW LEVEL SECURITY;
        ALTER TABLE "{table}" FORCE ROW LEVEL SECURITY;
        CREATE POLICY "{table}_of_the_context" ON "{table}" USING ({sees}) WITH CHECK ({writes or sees});
        """,
        reverse_sql=f"""
        DROP POLICY "{table}_of_the_context" ON "{table}";
        ALTER TABLE "{table}" NO FORCE ROW LEVEL SECURITY;
        ALTER TABLE "{table}" DISABLE ROW LEVEL SECURITY;
        """,
    )


def unique_for_references(table: str, *columns: str) -> RunSQL:
    """Add the unique key that a wider composite foreign key points at."""
    name = f"{table}_of_one_{'_'.join(columns)}"[:60]
    listed = ", ".join(columns)
    return RunSQL(
        sql=f'ALTER TABLE "{table}" ADD CONSTRAINT "{name}" UNIQUE (farm_id, {listed})',
        reverse_sql=f'ALTER TABLE "{table}" DROP CONSTRAINT "{name}"',
    )


def held_together(table: str, *references: Reference) -> list[RunSQL]:
    """Add the composite foreign keys, so that the database refuses a row that points into another farm."""
    return [_held(table, reference) for reference in references]


def _held(table: str, reference: Reference) -> RunSQL:
    name = f"{table}_{reference.target}_of_the_same_farm"
    own = ", ".join(["farm_id", *reference.columns])
    theirs = ", ".join(["farm_id", *reference.target_columns])
    follows = " ON UPDATE CASCADE" if reference.follows_changes else ""
    return RunSQL(
        sql=f'ALTER TABLE "{table}" ADD CONSTRAINT "{name}" FOREIGN KEY ({own}) '
        f'REFERENCES "{reference.target}" ({theirs}){follows} DEFERRABLE INITIALLY IMMEDIATE',
        reverse_sql=f'ALTER TABLE "{table}" DROP CONSTRAINT "{name}"',
    )


def history(table: str) -> RunSQL:
    """Keep every version that an update or a delete replaces."""
    trigger = f"{table}_keeps_replaced"
    return RunSQL(
        sql=f"""
        CREATE TRIGGER "{trigger}_on_update" AFTER UPDATE ON "{table}" REFERENCING OLD TABLE AS replaced
            FOR EACH STATEMENT EXECUTE FUNCTION keep_replaced_version();
        CREATE TRIGGER "{trigger}_on_delete" AFTER DELETE ON "{table}" REFERENCING OLD TABLE AS replaced
            FOR EACH STATEMENT EXECUTE FUNCTION keep_replaced_version();
        """,
        reverse_sql=f"""
        DROP TRIGGER "{trigger}_on_delete" ON "{table}";
        DROP TRIGGER "{trigger}_on_update" ON "{table}";
        """,
    )


def farm_table(table: str, *references: Reference, keeps_history: bool = True) -> list[RunSQL]:
    """Give every wall of one farm-owned table, in order."""
    walls = [farm_key(table), *held_together(table, *references), row_security(table)]
    return [*walls, history(table)] if keeps_history else walls


def place_in_the_feed(table: str) -> RunSQL:
    """Give a table that may hold rows its place in the feed: they stand at 0, new ones where they are written."""
    return RunSQL(
        sql=f"""
        ALTER TABLE "{table}" ADD COLUMN change_position bigint NOT NULL DEFAULT 0;
        ALTER TABLE "{table}" ALTER COLUMN change_position SET DEFAULT change_position();
        """,
        reverse_sql=f'ALTER TABLE "{table}" DROP COLUMN change_position',
    )


def keeps_its_place(table: str) -> RunSQL:
    """Move a row to the end of the feed whenever it is changed."""
    return RunSQL(
        sql=f"""
        CREATE TRIGGER "{table}_keeps_its_place" BEFORE UPDATE ON "{table}"
            FOR EACH ROW EXECUTE FUNCTION keep_its_place();
        """,
        reverse_sql=f'DROP TRIGGER "{table}_keeps_its_place" ON "{table}"',
    )


#: Whose catalogue rows a transaction may meet: everybody's, those of its farms, of their programs, and of the programs
#: that its person leads.
_SEES_OF_A_CATALOGUE = """
    (owner_farm_id IS NULL AND owner_program_id IS NULL)
    OR owner_farm_id = ANY ((SELECT context_farms())::uuid[])
    OR owner_program_id IN (SELECT program_id FROM program_membership WHERE person_id = (SELECT context_person()))
    OR owner_program_id IN (SELECT program_id FROM farm WHERE id = ANY ((SELECT context_farms())::uuid[]))
"""
#: A farm's program gives it formulas to use, not to write.
_WRITES_TO_A_CATALOGUE = """
    (owner_farm_id IS NULL AND owner_program_id IS NULL)
    OR owner_farm_id = ANY ((SELECT context_farms())::uuid[])
    OR owner_program_id IN (SELECT program_id FROM program_membership WHERE person_id = (SELECT context_person()))
"""


def catalogue_with_owners(table: str) -> list[RunSQL]:
    """Show a farm's or program's own rows of a catalogue to nobody else, and let them go with the farm."""
    name = f"{table}_of_a_farm"
    return [
        RunSQL(
            sql=f'ALTER TABLE "{table}" ADD CONSTRAINT "{name}" FOREIGN KEY (owner_farm_id) REFERENCES farm (id) '
            "ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED",
            reverse_sql=f'ALTER TABLE "{table}" DROP CONSTRAINT "{name}"',
        ),
        row_security(table, _SEES_OF_A_CATALOGUE, _WRITES_TO_A_CATALOGUE),
    ]
