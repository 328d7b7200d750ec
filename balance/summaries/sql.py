"""SQL that keeps ``block_season`` exact and current, for migrations: add, never edit once released.

A change of a record leaves a mark for its block and season, in the same transaction.  Just before that transaction is
committed, the blocks it marked are summed up anew from their records.  Two transactions that change one block at once
must not sum it up beside each other, or each would miss what the other wrote: one lock a block, taken only then.  Who
does not get it at once, or comes a moment after another, waits for nobody: the mark stays and is committed, and whoever
reads (``settle`` in ``balance.summaries.keeping``) or writes next sums up.  So a reader finds either no mark and a row
that is exact, or a mark that says otherwise.
"""

from __future__ import annotations

from typing import Final

from django.db.migrations.operations import RunSQL

#: Shares of the vines at which quantiles are kept.
QUANTILES: Final = (0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95)
#: Width of a bin of weights [kg], and how many there are; the last one takes everything heavier.
BIN_KG: Final = 0.125
BINS: Final = 65
#: Who writes to a block that was summed up less than this ago leaves its mark to the next one: a thousand weighings a
#: second need not each read the block again.
PAUSE_MS: Final = 250
#: As the season of a mark: every season of a block, because the block or a vine of it changed.
EVERY_SEASON: Final = 0
#: Added to the season of a mark: its crops of single vines have new prunings on their other side, nothing else changed.
PAIRS_OF: Final = 10_000

_SHARES: Final = "ARRAY[0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95]::float8[]"

#: The rule of ``balance.formulas.targets`` in SQL, in the same floating numbers; ``checking`` holds it to the formulas.
#: Each ``OFFSET 0`` has what stands below it computed once; without, a status is worked out for every count of it.
#: Statuses: 0 ok, 1 no formula, 2 in training, 3 not weighed, 4 below the formula's range, 5 above it.
_WEIGHED: Final = f"""
    SELECT count(*), count(w), count(*) FILTER (WHERE w = 0), count(w) FILTER (WHERE scale IS NULL), count(guess),
           sum(w), avg(w), stddev_samp(w), min(w), max(w), percentile_cont({_SHARES}) WITHIN GROUP (ORDER BY w),
           array_agg(w) FILTER (WHERE w IS NOT NULL),
           count(nodes), sum(nodes), count(*) FILTER (WHERE status = 4), count(*) FILTER (WHERE status = 5),
           count(*) FILTER (WHERE status = 2), count(w) FILTER (WHERE status = 1),
           count(kept), sum(kept), count(difference),
           count(*) FILTER (WHERE difference > tolerance), count(*) FILTER (WHERE -difference > tolerance),
           sum(difference), sum(tolerance) FILTER (WHERE difference IS NOT NULL)
    INTO now.records, now.weighed, now.zero_weights, now.without_resolution, now.guessed,
         now.weight_sum, now.weight_mean, now.weight_deviation, now.weight_least, now.weight_most, now.weight_quantiles,
         weights,
         now.targets, now.target_sum, now.below_range, now.above_range, now.in_training, now.without_formula,
         now.counted, now.kept_sum, now.judged, now.too_many, now.too_few, now.difference_sum, now.tolerance_sum
    FROM (
        SELECT w, scale, guess, kept, status, tolerance, nodes, kept - nodes AS difference
        FROM (
            SELECT w, scale, guess, kept, status, tolerance,
                   CASE WHEN status = 0 THEN least(greatest(ceil(round(
                       CASE kind WHEN 'fixed' THEN first_nodes WHEN 'per_unit' THEN further_nodes * units
                                 ELSE first_nodes + further_nodes * (units - 1) END * 1e6) / 1e6 - 0.5),
                       fewest), most) END AS nodes
            FROM (
                SELECT *,
                       CASE WHEN formula IS NULL THEN 1 WHEN grown < 3 THEN 2
                            WHEN units IS NULL AND (holds_from IS NOT NULL OR highest_units IS NOT NULL) THEN 3
                            WHEN units < holds_from THEN 4 WHEN units > highest_units THEN 5 ELSE 0 END AS status,
                       coalesce(greatest(1, ceil(round(scale / unit_kg * further_nodes * 1e6) / 1e6)), 1) AS tolerance
                FROM (%s OFFSET 0) AS records
                OFFSET 0
            ) AS looked_at
            OFFSET 0
        ) AS told
        OFFSET 0
    ) AS held;
"""  # noqa: S608 - joined from constants
_MEASURED: Final = """trim_scale(d.pruning_weight_kg)::float8 AS w, trim_scale(d.scale_resolution_kg)::float8 AS scale,
                           d.guessed_weight_kg AS guess, d.nodes_retained AS kept"""
_OF_THE_WINTER: Final = """
                      d.farm_id = a_farm AND d.block_id = a_block AND d.season = a_season AND d.withdrawn_at IS NULL"""
#: Where no vine has a formula or a year of its own, nothing is looked up for each.
_ALIKE: Final = f"""
                    SELECT *, round(w / its.unit_kg * 1e6) / 1e6 AS units, its.formula, its.kind, its.first_nodes,
                           its.further_nodes, its.unit_kg, its.holds_from, its.highest_units, its.fewest, its.most,
                           a_season - its.planted AS grown
                    FROM (SELECT {_MEASURED} FROM dormant_record d WHERE {_OF_THE_WINTER} OFFSET 0) AS measured"""  # noqa: S608 - joined from constants
_EACH: Final = f"""
                    SELECT *, round(w / unit_kg * 1e6) / 1e6 AS units
                    FROM (
                        SELECT {_MEASURED},
                               f.id AS formula, f.kind, f.first_nodes::float8, f.further_nodes::float8,
                               f.weight_unit_kg::float8 AS unit_kg, {{holds_from}} AS holds_from,
                               f.highest_units::float8, greatest(f.minimum_nodes, its.minimum_nodes)::float8 AS fewest,
                               least(f.maximum_nodes, its.maximum_nodes)::float8 AS most,
                               a_season - coalesce(p.season, v.year_planted + its.later, its.planted) AS grown
                        FROM dormant_record d
                        LEFT JOIN (SELECT id, pruning_formula_id, year_planted FROM vine
                                   WHERE farm_id = a_farm AND block_id = a_block) v ON v.id = d.vine_id
                        LEFT JOIN pruning_formula f ON f.id = coalesce(v.pruning_formula_id, its.formula)
                        LEFT JOIN (SELECT vine_id, max(season) AS season FROM vine_event
                                   WHERE farm_id = a_farm AND block_id = a_block AND season <= a_season
                                     AND event IN ('planted', 'replanted') AND withdrawn_at IS NULL
                                   GROUP BY vine_id) p ON p.vine_id = d.vine_id
                        WHERE {_OF_THE_WINTER}
                        OFFSET 0
                    ) AS measured"""  # noqa: S608 - joined from constants
#: Without a limit of its own, a formula holds from one unit of weight, but for a fixed number.
_HOLDS_FROM: Final = (
    "(CASE WHEN f.lowest_units IS NOT NULL THEN f.lowest_units WHEN f.kind <> 'fixed' THEN 1 END)::float8"
)

_HARVESTED: Final = f"""
    SELECT coalesce(sum(n), 0), coalesce(bool_or(scope = 'block'), false),
           max(whole) FILTER (WHERE scope = 'block'), max(a_vine) FILTER (WHERE scope = 'sample'),
           coalesce(min(vines) FILTER (WHERE scope = 'sample'), 0)
    INTO now.harvest_records, now.block_recorded, now.block_yield, now.sample_yield, now.sample_vines
    FROM (
        SELECT scope, sum(n) AS n, CASE WHEN bool_and(whole IS NOT NULL) THEN sum(whole)::float8 END AS whole,
               CASE WHEN bool_and(a_vine IS NOT NULL) THEN sum(a_vine)::float8 END AS a_vine, min(vines) AS vines
        FROM (
            SELECT scope, picking, count(*) AS n, sum(vines_picked) AS vines,
                   CASE WHEN bool_and(yield_kg IS NOT NULL) THEN sum(yield_kg) END AS whole,
                   CASE WHEN bool_and(yield_kg IS NOT NULL AND vines_picked > 0)
                        THEN sum(yield_kg) / nullif(sum(vines_picked), 0) END AS a_vine
            FROM harvest_record
            WHERE farm_id = a_farm AND block_id = a_block AND season = a_season AND withdrawn_at IS NULL
            GROUP BY scope, picking
        ) AS pickings GROUP BY scope
    ) AS scopes;

    IF now.harvest_records > 0 THEN
        SELECT count(crop), avg(crop), stddev_samp(crop), percentile_cont({_SHARES}) WITHIN GROUP (ORDER BY crop),
               count(*) FILTER (WHERE crop IS NOT NULL AND wood IS NOT NULL),
               sum(crop) FILTER (WHERE wood IS NOT NULL), sum(wood) FILTER (WHERE crop IS NOT NULL)
        INTO now.vines_picked, now.vine_yield_mean, now.vine_yield_deviation, now.vine_yield_quantiles,
             now.pairs, now.pairs_crop, now.pairs_wood
        FROM (
            SELECT h.vine_id, CASE WHEN bool_and(h.yield_kg IS NOT NULL) THEN sum(h.yield_kg)::float8 END AS crop,
                   (SELECT d.pruning_weight_kg::float8 FROM dormant_record d
                    WHERE d.farm_id = a_farm AND d.block_id = a_block AND d.vine_id = h.vine_id
                      AND d.season = a_season + 1 AND d.withdrawn_at IS NULL) AS wood
            FROM harvest_record h
            WHERE h.farm_id = a_farm AND h.block_id = a_block AND h.season = a_season AND h.withdrawn_at IS NULL
              AND h.scope = 'vine'
            GROUP BY h.vine_id
        ) AS sides;
    END IF;
"""  # noqa: S608 - joined from constants

_CORDONS: Final = """
    SELECT coalesce(sum(looks), 0), count(*), count(positions),
           coalesce(sum(living) FILTER (WHERE positions IS NOT NULL), 0),
           coalesce(sum(blank) FILTER (WHERE positions IS NOT NULL), 0),
           count(length), sum(blank_length) FILTER (WHERE length IS NOT NULL), sum(length)
    INTO now.inspections, now.cordons, now.cordons_by_position, now.living_positions, now.blank_positions,
         now.cordons_by_length, now.blank_length, now.cordon_length
    FROM (
        SELECT DISTINCT ON (vine_id, cordon)
               count(*) OVER (PARTITION BY vine_id, cordon) AS looks,
               living_positions AS living, blank_positions AS blank, blank_positions + living_positions AS positions,
               blank_length_m::float8 AS blank_length,
               CASE WHEN blank_length_m IS NOT NULL THEN cordon_length_m::float8 END AS length
        FROM cordon_inspection
        WHERE farm_id = a_farm AND block_id = a_block AND season = a_season AND withdrawn_at IS NULL
        ORDER BY vine_id, cordon, observed_at DESC NULLS LAST, id DESC
    ) AS newest;

    SELECT coalesce(jsonb_object_agg(step, n), '{}') INTO now.cases
    FROM (
        SELECT step, count(*) AS n FROM (
            SELECT DISTINCT ON (c.id) s.step
            FROM cordon_case c JOIN cordon_step s ON s.farm_id = a_farm AND s.case_id = c.id
            WHERE c.farm_id = a_farm AND c.block_id = a_block AND c.withdrawn_at IS NULL AND s.season <= a_season
            ORDER BY c.id, s.number DESC
        ) AS newest GROUP BY step
    ) AS steps;
"""

_PLACES: Final = """
    SELECT count(*) INTO now.places FROM vine WHERE farm_id = a_farm AND block_id = a_block;
    SELECT count(*) FILTER (WHERE event = 'missing'),
           count(*) FILTER (WHERE event IN ('planted', 'replanted') AND season > a_season - 3)
    INTO now.missing, now.young_vines
    FROM (
        SELECT DISTINCT ON (vine_id) event, season FROM vine_event
        WHERE farm_id = a_farm AND block_id = a_block AND season <= a_season AND withdrawn_at IS NULL
        ORDER BY vine_id, season DESC,
                 coalesce(happened_on, (observed_at AT TIME ZONE its.time_zone)::date) DESC NULLS LAST,
                 observed_at DESC NULLS LAST, id DESC
    ) AS newest;
"""

_OTHER_KINDS: Final = "\n".join(
    f"""
    SELECT count(*) INTO now.{column} FROM {table}
    WHERE farm_id = a_farm AND block_id = a_block AND season = a_season AND withdrawn_at IS NULL;"""  # noqa: S608 - joined from constants
    for column, table in (
        ("bud_samples", "bud_sample"),
        ("shoot_counts", "shoot_count"),
        ("cluster_counts", "cluster_count"),
    )
)

_SUMMED: Final = (
    "places", "missing", "young_vines", "records", "weighed", "zero_weights", "far_out_weights", "without_resolution",
    "guessed", "weight_sum", "weight_mean", "weight_deviation", "weight_least", "weight_most", "weight_quantiles",
    "weight_bins", "targets", "target_sum", "below_range", "above_range", "in_training", "without_formula", "counted",
    "kept_sum", "judged", "too_many", "too_few", "difference_sum", "tolerance_sum", "harvest_records", "block_recorded",
    "block_yield", "sample_yield", "sample_vines", "pairs", "pairs_crop", "pairs_wood", "vines_picked",
    "vine_yield_mean", "vine_yield_deviation", "vine_yield_quantiles", "bud_samples", "shoot_counts", "cluster_counts",
    "inspections", "cordons", "cordons_by_position", "living_positions", "blank_positions", "cordons_by_length",
    "blank_length", "cordon_length", "cases",
)  # fmt: skip

#: One plan for good, by indexes: a plan made while a table was empty would read all of it when it is full.
SUM_UP: Final = f"""
CREATE FUNCTION sum_up_block_season(a_farm uuid, a_block uuid, a_season integer) RETURNS void LANGUAGE plpgsql
SET plan_cache_mode = force_generic_plan SET enable_seqscan = off SET jit = off AS $$
DECLARE
    now block_season%ROWTYPE;
    its record;
    weights float8[];
    reach float8;
    slack float8;
BEGIN
    SELECT o.time_zone, b.year_planted + CASE WHEN o.hemisphere = 'south' THEN 1 ELSE 0 END AS planted,
           CASE WHEN o.hemisphere = 'south' THEN 1 ELSE 0 END AS later, b.minimum_nodes, b.maximum_nodes,
           f.id AS formula, f.kind, f.first_nodes::float8, f.further_nodes::float8, f.weight_unit_kg::float8 AS unit_kg,
           {_HOLDS_FROM} AS holds_from, f.highest_units::float8,
           greatest(f.minimum_nodes, b.minimum_nodes)::float8 AS fewest,
           least(f.maximum_nodes, b.maximum_nodes)::float8 AS most,
           EXISTS (SELECT FROM vine WHERE farm_id = a_farm AND block_id = a_block
                   AND (pruning_formula_id IS NOT NULL OR year_planted IS NOT NULL))
           OR EXISTS (SELECT FROM vine_event WHERE farm_id = a_farm AND block_id = a_block AND season <= a_season
                      AND event IN ('planted', 'replanted') AND withdrawn_at IS NULL) AS vines_differ
    INTO its
    FROM block b JOIN farm o ON o.id = b.farm_id LEFT JOIN cultivar c ON c.code = b.cultivar_id
    LEFT JOIN pruning_formula f ON f.id = coalesce(b.pruning_formula_id, o.pruning_formula_id, (
        SELECT p.id FROM pruning_formula p
        WHERE p.is_default AND (p.cultivar_id = b.cultivar_id
              OR (p.cultivar_id IS NULL AND p.group_id = coalesce(c.group_id, b.cultivar_group_id)))
        ORDER BY p.cultivar_id IS NULL, p.id LIMIT 1))
    WHERE b.farm_id = a_farm AND b.id = a_block;
    IF NOT FOUND THEN RETURN; END IF;
    now.far_out_weights := 0; now.pairs := 0; now.vines_picked := 0;
    {_PLACES}
    IF its.vines_differ THEN
        {_WEIGHED % _EACH.format(holds_from=_HOLDS_FROM)}
    ELSE
        {_WEIGHED % _ALIKE}
    END IF;
    IF now.weighed > 0 THEN
        SELECT array_agg(coalesce(n, 0) ORDER BY bin) INTO now.weight_bins
        FROM generate_series(0, {BINS - 1}) AS bin
        LEFT JOIN (SELECT least(floor(weight / {BIN_KG}), {BINS - 1})::int AS bin, count(*) AS n
                   FROM unnest(weights) AS weight GROUP BY 1) AS filled USING (bin);
        IF now.weighed >= 8 AND now.weight_quantiles[5] > now.weight_quantiles[3] THEN
            reach := 3 * (now.weight_quantiles[5] - now.weight_quantiles[3]);
            slack := 1e-9 * greatest(now.weight_quantiles[5], reach);
            IF now.weight_least < now.weight_quantiles[3] - reach - slack
               OR now.weight_most > now.weight_quantiles[5] + reach + slack THEN
                SELECT count(*) INTO now.far_out_weights FROM unnest(weights) AS weight
                WHERE weight < now.weight_quantiles[3] - reach - slack
                   OR weight > now.weight_quantiles[5] + reach + slack;
            END IF;
        END IF;
    END IF;
    {_HARVESTED}
    {_OTHER_KINDS}
    {_CORDONS}
    INSERT INTO block_season (farm_id, block_id, season, created_digest, changed_at, {", ".join(_SUMMED)})
    VALUES (a_farm, a_block, a_season, '', clock_timestamp(), {", ".join(f"now.{name}" for name in _SUMMED)})
    ON CONFLICT (farm_id, block_id, season) DO UPDATE SET version = block_season.version + 1,
        changed_at = clock_timestamp(), {", ".join(f"{name} = excluded.{name}" for name in _SUMMED)};
END $$;
"""  # noqa: S608 - joined from constants

#: Marks go before the records are read: what is read then has everything that was marked.
SETTLE: Final = f"""
CREATE FUNCTION settle_blocks(a_farm uuid, blocks uuid[], waits boolean) RETURNS integer LANGUAGE plpgsql AS $$
DECLARE
    a_block uuid;
    a_season integer;
    seasons integer[];
    lock_of bigint;
    settled integer := 0;
BEGIN
    FOR a_block IN SELECT DISTINCT unnest(blocks) ORDER BY 1 LOOP
        lock_of := hashtextextended(a_farm::text || a_block::text, 7);
        IF waits THEN
            PERFORM pg_advisory_xact_lock(lock_of);
        ELSE
            CONTINUE WHEN EXISTS (
                SELECT FROM block_season AS s WHERE s.farm_id = a_farm AND s.block_id = a_block
                    AND s.changed_at > clock_timestamp() - interval '{PAUSE_MS} milliseconds');
            CONTINUE WHEN NOT pg_try_advisory_xact_lock(lock_of);
        END IF;
        WITH gone AS (
            DELETE FROM block_season_mark WHERE farm_id = a_farm AND block_id = a_block RETURNING season)
        SELECT array_agg(DISTINCT season) INTO seasons FROM gone;
        IF {EVERY_SEASON} = ANY (seasons) THEN
            seasons := array_remove(seasons, {EVERY_SEASON})
                || ARRAY(SELECT s.season FROM block_season s WHERE s.farm_id = a_farm AND s.block_id = a_block);
        END IF;
        FOR a_season IN SELECT DISTINCT unnest(seasons) ORDER BY 1 LOOP
            IF a_season > {PAIRS_OF} THEN
                a_season := a_season - {PAIRS_OF};
                CONTINUE WHEN a_season = ANY (seasons) OR NOT EXISTS (
                    SELECT FROM harvest_record WHERE farm_id = a_farm AND block_id = a_block AND season = a_season
                        AND scope = 'vine' AND withdrawn_at IS NULL);
            END IF;
            PERFORM sum_up_block_season(a_farm, a_block, a_season);
            settled := settled + 1;
        END LOOP;
    END LOOP;
    RETURN settled;
END $$;

CREATE FUNCTION settle_at_commit() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    mine bigint := pg_current_xact_id()::text::bigint;
    blocks uuid[];
BEGIN
    IF current_setting('app.settled', true) = mine::text THEN RETURN NULL; END IF;
    PERFORM set_config('app.settled', mine::text, true);
    SELECT array_agg(DISTINCT block_id) INTO blocks FROM block_season_mark
    WHERE farm_id = NEW.farm_id AND written_by = mine;
    PERFORM settle_blocks(NEW.farm_id, blocks, false);
    RETURN NULL;
EXCEPTION WHEN OTHERS THEN
    -- No record is lost because it could not be summed up: the mark stays, and a reader sums up or says why not.
    RAISE WARNING 'block seasons of farm % are summed up later: %', NEW.farm_id, SQLERRM;
    RETURN NULL;
END $$;
"""  # noqa: S608 - joined from constants


def _marking(name: str, changed: str) -> str:
    """Give the function of a trigger that marks the blocks and seasons which a statement gives."""
    return f"""
CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO block_season_mark (farm_id, block_id, season, written_by)
    SELECT farm_id, block_id, season, pg_current_xact_id()::text::bigint FROM ({changed}) AS changed
    ON CONFLICT DO NOTHING;
    RETURN NULL;
END $$;
"""  # noqa: S608 - joined from constants


#: The prunings of a winter are the other side of the crop before it; a vine that was planted or went missing did so for
#: all seasons after.
_RECORDS: Final = f"""
        WITH once AS (SELECT DISTINCT farm_id, block_id, season FROM fresh)
        SELECT farm_id, block_id, season FROM once
        UNION ALL SELECT farm_id, block_id, {PAIRS_OF} + season - 1 FROM once WHERE TG_TABLE_NAME = 'dormant_record'
        UNION ALL SELECT farm_id, block_id, {EVERY_SEASON} FROM once WHERE TG_TABLE_NAME = 'vine_event'"""  # noqa: S608 - joined from constants
_CASES: Final = f"""
        SELECT farm_id, block_id, step_season AS season FROM fresh
        UNION SELECT farm_id, block_id, {EVERY_SEASON} FROM fresh"""  # noqa: S608 - joined from constants
MARKS: Final = "".join((
    _marking("mark_block_seasons", _RECORDS),
    _marking("mark_cases", _CASES),
    _marking("mark_whole_blocks", f"SELECT DISTINCT farm_id, block_id, {EVERY_SEASON} AS season FROM fresh"),  # noqa: S608 - joined from constants
    _marking("mark_this_block", f"SELECT NEW.farm_id, NEW.id AS block_id, {EVERY_SEASON} AS season"),
    _marking(
        "mark_blocks_of_farm",
        f"SELECT farm_id, id AS block_id, {EVERY_SEASON} AS season FROM block WHERE farm_id = NEW.id",  # noqa: S608 - joined from constants
    ),
))  # fmt: skip

#: Records are summed up before the commit; what a block or a farm sets, with the next reader or writer.
TRIGGERS: Final = f"""
CREATE CONSTRAINT TRIGGER "block_season_mark_settles" AFTER INSERT ON block_season_mark
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN (NEW.season > {EVERY_SEASON}) EXECUTE FUNCTION settle_at_commit();
CREATE TRIGGER "block_marks_its_seasons" AFTER UPDATE OF cultivar_id, cultivar_group_id, pruning_formula_id,
    year_planted, minimum_nodes, maximum_nodes ON block FOR EACH ROW EXECUTE FUNCTION mark_this_block();
CREATE TRIGGER "farm_marks_its_seasons" AFTER UPDATE OF pruning_formula_id, hemisphere, time_zone ON farm
    FOR EACH ROW EXECUTE FUNCTION mark_blocks_of_farm();
"""
_FUNCTIONS: Final = (
    "mark_blocks_of_farm()", "mark_this_block()", "mark_whole_blocks()", "mark_cases()", "mark_block_seasons()",
    "settle_at_commit()", "settle_blocks(uuid, uuid[], boolean)", "sum_up_block_season(uuid, uuid, integer)",
)  # fmt: skip
_MARKED: Final = {
    **dict.fromkeys(
        (
            "dormant_record", "bud_sample", "shoot_count", "cluster_count", "harvest_record", "cordon_inspection",
            "vine_event",
        ),
        "mark_block_seasons",
    ),
    "cordon_case": "mark_cases",
    "vine": "mark_whole_blocks",
}  # fmt: skip


def _both_ways(table: str, function: str) -> str:
    return f"""
    CREATE TRIGGER "{table}_marks_its_season_on_insert" AFTER INSERT ON "{table}" REFERENCING NEW TABLE AS fresh
        FOR EACH STATEMENT EXECUTE FUNCTION {function}();
    CREATE TRIGGER "{table}_marks_its_season_on_update" AFTER UPDATE ON "{table}" REFERENCING NEW TABLE AS fresh
        FOR EACH STATEMENT EXECUTE FUNCTION {function}();
    CREATE TRIGGER "{table}_marks_its_former_season" AFTER UPDATE ON "{table}" REFERENCING OLD TABLE AS fresh
        FOR EACH STATEMENT EXECUTE FUNCTION {function}();
    """


def keep_summaries() -> RunSQL:
    """Create what keeps ``block_season``; its marks and triggers go together."""
    return RunSQL(
        sql=SUM_UP + SETTLE + MARKS + TRIGGERS + "".join(_both_ways(*each) for each in _MARKED.items()),
        reverse_sql="".join(
            f"""
            DROP TRIGGER "{table}_marks_its_former_season" ON "{table}";
            DROP TRIGGER "{table}_marks_its_season_on_update" ON "{table}";
            DROP TRIGGER "{table}_marks_its_season_on_insert" ON "{table}";
            """
            for table in _MARKED
        )
        + """
        DROP TRIGGER "farm_marks_its_seasons" ON farm;
        DROP TRIGGER "block_marks_its_seasons" ON block;
        DROP TRIGGER "block_season_mark_settles" ON block_season_mark;
        """
        + "".join(f"DROP FUNCTION {each};" for each in _FUNCTIONS),
    )
