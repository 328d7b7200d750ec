"""SQL that holds what benchmarks show to the consents of the farms in it, for their migration: add, never edit.

Both functions run as the owner of the tables, because the role that serves may not change a cell.  Row-level security
binds the owner, too: they see the parts of the farm that the transaction has open, which is the one whose consent ends.
"""

from __future__ import annotations

from typing import Final

from django.db.migrations.operations import RunSQL

#: A consent that ends takes every figure with it in which the farm stands, in the same transaction.
ENDS_WITH_CONSENT: Final = RunSQL(
    sql="""
    CREATE FUNCTION benchmarks_end_with_consent() RETURNS trigger
        LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
    BEGIN
        UPDATE benchmark_cell SET holds_until = least(holds_until, NEW.withdrawn_at, NEW.valid_until)
        WHERE id IN (SELECT unnest(part.cells) FROM benchmark_part AS part
                     WHERE part.farm_id = NEW.farm_id AND part.consent_id = NEW.id);
        RETURN NULL;
    END $$;
    CREATE TRIGGER consent_ends_benchmarks AFTER UPDATE OF withdrawn_at, valid_until ON consent
        FOR EACH ROW WHEN (NEW.purpose = 'benchmarks') EXECUTE FUNCTION benchmarks_end_with_consent();
    """,
    reverse_sql="""
    DROP TRIGGER consent_ends_benchmarks ON consent;
    DROP FUNCTION benchmarks_end_with_consent();
    """,
)

#: So does a farm that is erased; and a snapshot that counted it is never told anew, because nobody could look any more
#: whether the difference of the two would tell of the farm.
ENDS_WITH_FARM: Final = RunSQL(
    sql="""
    CREATE FUNCTION benchmarks_end_with_farm() RETURNS trigger
        LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
    BEGIN
        UPDATE benchmark_cell SET holds_until = least(holds_until, statement_timestamp()) WHERE id = ANY (OLD.cells);
        UPDATE benchmark_snapshot SET farm_erased = true WHERE id = OLD.snapshot_id;
        RETURN NULL;
    END $$;
    CREATE TRIGGER part_ends_benchmarks AFTER DELETE ON benchmark_part
        FOR EACH ROW EXECUTE FUNCTION benchmarks_end_with_farm();
    """,
    reverse_sql="""
    DROP TRIGGER part_ends_benchmarks ON benchmark_part;
    DROP FUNCTION benchmarks_end_with_farm();
    """,
)
