"""SQL by which a change of season summaries is noted for receivers; part of a released migration: add, never edit.

Whoever writes a record marks its block and season (``balance.summaries.sql``), in whichever way it came in, and here
hangs the note: once a transaction and farm it is looked up whether any receiver wants to know, and only then is a job
noted for later.  ``balance.reports.webhooks.summary_changes`` says what that job does, and why nothing is lost between.
"""

from __future__ import annotations

from typing import Final

from django.db.migrations.operations import RunSQL

NOTE: Final = """
CREATE FUNCTION note_summary_change() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    a_farm uuid;
    a_job uuid;
    looked_up text;
BEGIN
    FOR a_farm IN SELECT DISTINCT farm_id FROM fresh LOOP
        looked_up := pg_current_xact_id()::text || ' ' || a_farm::text;
        CONTINUE WHEN current_setting('app.summary_change', true) = looked_up;
        PERFORM set_config('app.summary_change', looked_up, true);
        CONTINUE WHEN NOT EXISTS (
            SELECT 1 FROM webhook_endpoint
            WHERE farm_id = a_farm AND removed_at IS NULL AND disabled_at IS NULL
              AND 'season_summary.changed' = ANY (events));
        PERFORM pg_advisory_xact_lock_shared(hashtextextended('season summaries of farm ' || a_farm::text, 0));
        CONTINUE WHEN EXISTS (
            SELECT 1 FROM job_ticket t JOIN job j ON j.farm_id = t.farm_id AND j.id = t.job_id
            WHERE t.farm_id = a_farm AND j.kind = 'tell_summary_changes' AND j.state = 'queued');
        INSERT INTO job (farm_id, kind, state, attempts, progress_done, failure, created_digest)
        VALUES (a_farm, 'tell_summary_changes', 'queued', 0, 0, '', '') RETURNING id INTO a_job;
        INSERT INTO job_ticket (job_id, farm_id, leased_until)
        VALUES (a_job, a_farm, statement_timestamp() + interval '5 minutes');
    END LOOP;
    RETURN NULL;
END $$;
CREATE TRIGGER "block_season_mark_is_noted" AFTER INSERT ON block_season_mark REFERENCING NEW TABLE AS fresh
    FOR EACH STATEMENT EXECUTE FUNCTION note_summary_change();
"""


def note_summary_changes() -> RunSQL:
    """Note a job for later where a receiver wants to know of changed summaries."""
    return RunSQL(
        sql=NOTE,
        reverse_sql="""
        DROP TRIGGER "block_season_mark_is_noted" ON block_season_mark;
        DROP FUNCTION note_summary_change();
        """,
    )
