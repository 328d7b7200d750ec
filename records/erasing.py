"""SQL of the register of farms and of erasure, for the migration of both.

The serving role may not remove a record.  ``erase_farm`` may: it runs as the owner of the tables, but row-level
security binds that role, too, so it reaches the one farm that the context opens and no other.  It writes the line of
the log itself, in the same transaction, so that nothing is erased without one and nobody else can write one.
"""

from __future__ import annotations

from django.db.migrations.operations import RunSQL

#: The owner's own reading of ``farm``, and through it the view, follows the context like everything else: staff who
#: asked for the register, or whoever runs the machine (no person in the context), and only three columns come out.
REGISTER = RunSQL(
    sql="""
    CREATE FUNCTION context_reads_register() RETURNS boolean LANGUAGE sql STABLE AS $$
        SELECT coalesce(current_setting('app.register', true), '') = 'on' AND (
            context_person() IS NULL
            OR EXISTS (SELECT FROM person WHERE id = context_person() AND is_active AND is_staff)) $$;
    CREATE POLICY farm_register ON farm FOR SELECT TO CURRENT_USER USING ((SELECT context_reads_register()));
    CREATE VIEW farm_register WITH (security_barrier) AS
        SELECT id, name, program_id FROM farm WHERE (SELECT context_reads_register());
    """,
    reverse_sql="""
    DROP VIEW farm_register;
    DROP POLICY farm_register ON farm;
    DROP FUNCTION context_reads_register();
    """,
)

#: Tables are found in the catalogue, so that none can be forgotten. What the triggers of history write while rows go
#: is met in the next round; the constraints are looked at once, at the end, so that no order of tables is needed.
ERASE_FARM = RunSQL(
    sql="""
    CREATE FUNCTION erase_farm(
        wanted uuid, typed_name text, first_erased_at timestamptz DEFAULT NULL, first_asked_by uuid DEFAULT NULL
    ) RETURNS jsonb LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
    DECLARE
        who CONSTANT uuid := context_person();
        farms_name text;
        counts jsonb := '{}';
        own record;
        gone bigint;
        any_gone boolean;
    BEGIN
        IF context_farms() IS DISTINCT FROM ARRAY[wanted] THEN
            RAISE EXCEPTION 'the context does not open this farm alone' USING ERRCODE = 'insufficient_privilege';
        END IF;
        SELECT name INTO farms_name FROM farm WHERE id = wanted FOR UPDATE;  -- writers of this farm wait from here on
        IF FOUND AND farms_name IS DISTINCT FROM typed_name THEN
            RAISE EXCEPTION 'the farm has another name' USING ERRCODE = 'invalid_parameter_value';
        END IF;
        IF who IS NOT NULL
           AND NOT EXISTS (SELECT FROM membership WHERE farm_id = wanted AND person_id = who AND role = 'owner')
           AND NOT EXISTS (SELECT FROM person WHERE id = who AND is_active AND is_staff) THEN
            RAISE EXCEPTION 'neither an owner of the farm nor staff' USING ERRCODE = 'insufficient_privilege';
        END IF;
        FOR own IN SELECT * FROM tables_of_farms() LOOP
            EXECUTE format('SELECT count(*) FROM %I WHERE farm_id = $1', own.named) INTO gone USING wanted;
            IF gone > 0 THEN
                counts := counts || jsonb_build_object(own.named, gone);
            END IF;
        END LOOP;
        SET CONSTRAINTS ALL DEFERRED;
        FOR turn IN 1..5 LOOP
            any_gone := false;
            FOR own IN SELECT * FROM tables_of_farms() LOOP
                EXECUTE format('DELETE FROM %I WHERE farm_id = $1', own.named) USING wanted;
                GET DIAGNOSTICS gone = ROW_COUNT;
                any_gone := any_gone OR gone > 0;
            END LOOP;
            EXIT WHEN NOT any_gone;
        END LOOP;
        IF any_gone THEN
            RAISE EXCEPTION 'rows of the farm keep coming back while it is erased';
        END IF;
        DELETE FROM farm WHERE id = wanted;
        SET CONSTRAINTS ALL IMMEDIATE;
        INSERT INTO erasure (erased_farm_id, erased_at, asked_by_id, counts)
        VALUES (wanted, coalesce(first_erased_at, now()),
                CASE WHEN first_erased_at IS NULL THEN who ELSE first_asked_by END, counts)
        ON CONFLICT (erased_farm_id) DO NOTHING;
        RETURN counts;
    END $$;
    REVOKE EXECUTE ON FUNCTION erase_farm(uuid, text, timestamptz, uuid) FROM PUBLIC;
    """,
    reverse_sql="DROP FUNCTION erase_farm(uuid, text, timestamptz, uuid)",
)

TABLES_OF_FARMS = RunSQL(
    sql="""
    CREATE FUNCTION tables_of_farms() RETURNS TABLE (named name)
    LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
        SELECT c.relname FROM pg_class c
        WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p') AND NOT c.relispartition
          AND EXISTS (SELECT FROM pg_attribute a
                      WHERE a.attrelid = c.oid AND a.attname = 'farm_id' AND NOT a.attisdropped)
        ORDER BY c.relname = 'record_change', c.relname  -- history last: the other tables add to it as they go
    $$;
    """,
    reverse_sql="DROP FUNCTION tables_of_farms()",
)

#: An app that was away for weeks may ask for its farm again; a farm that was erased does not come back that way.
ERASED_STAYS_ERASED = RunSQL(
    sql="""
    CREATE FUNCTION refuse_erased_farm() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        IF EXISTS (SELECT FROM erasure WHERE erased_farm_id = NEW.id) THEN
            RAISE EXCEPTION 'a farm of this id was erased' USING ERRCODE = 'unique_violation', CONSTRAINT = 'farm_pkey';
        END IF;
        RETURN NEW;
    END $$;
    CREATE TRIGGER farm_erased_stays_erased BEFORE INSERT ON farm FOR EACH ROW EXECUTE FUNCTION refuse_erased_farm();
    """,
    reverse_sql="""
    DROP TRIGGER farm_erased_stays_erased ON farm;
    DROP FUNCTION refuse_erased_farm();
    """,
)
