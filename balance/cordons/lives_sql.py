"""The query that reads the lives of cordons; ``balance.cordons.lives`` says what they are.

Inspections are counted up a cordon, never handed over one by one.  ``marks`` are what ends or begins a life: a case is
noticed (end), an arm is laid down (arm), fails (end), the vine is planted anew (plant) or is found missing (gone); a
mark with an empty cordon is one for all cordons of its vine.
"""

from __future__ import annotations

from typing import Final

from balance.missing_vines import event_day

_SEASON_OF_AN_EVENT: Final = """
    coalesce(extract(year FROM happened_on)::int
             + (extract(month FROM happened_on) >= %(next_harvest_from)s)::int, season)
"""
_MARKS: Final = f"""
    taken AS (
        SELECT kept.id, kept.vine_id, kept.cordon, step.number, step.step, step.season, step.happened_on,
               count(*) FILTER (WHERE step.step IN ('noticed', 'failed', 'given_up')) OVER (
                   PARTITION BY kept.id ORDER BY step.number ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
               ) AS attempt
        FROM cordon_case AS kept JOIN cordon_step AS step ON step.farm_id = kept.farm_id AND step.case_id = kept.id
        WHERE kept.farm_id = %(farm)s AND kept.withdrawn_at IS NULL AND step.season <= %(until)s
          AND (%(block)s::uuid IS NULL OR kept.block_id = %(block)s)),
    attempts AS (
        SELECT vine_id, cordon,
               max(number) FILTER (WHERE step = 'laid_down') AS laid_number,
               max(season) FILTER (WHERE step = 'laid_down') AS laid,
               max(happened_on) FILTER (WHERE step = 'laid_down') AS laid_on,
               max(season) FILTER (WHERE step IN ('laid_down', 'filling', 'bearing')) AS stepped,
               max(number) FILTER (WHERE step IN ('failed', 'given_up')) AS failed_number,
               max(season) FILTER (WHERE step IN ('failed', 'given_up')) AS failed,
               max(happened_on) FILTER (WHERE step IN ('failed', 'given_up')) AS failed_on
        FROM taken GROUP BY id, vine_id, cordon, attempt HAVING bool_or(step = 'laid_down')),
    marks AS (
        SELECT vine_id, cordon, 'end' AS kind, season, happened_on AS day, number, NULL::int AS stepped,
               NULL::text AS rootstock
        FROM taken WHERE number = 1
        UNION ALL SELECT vine_id, cordon, 'arm', laid, laid_on, laid_number, stepped, NULL FROM attempts
        UNION ALL SELECT vine_id, cordon, 'end', failed, failed_on, failed_number, NULL, NULL
                  FROM attempts WHERE failed IS NOT NULL
        UNION ALL SELECT vine_id, '', CASE event WHEN 'missing' THEN 'gone' ELSE 'plant' END, {_SEASON_OF_AN_EVENT},
                         {event_day()}, 32767, NULL,
                         CASE WHEN event IN ('planted', 'replanted') THEN rootstock END
                  FROM vine_event
                  WHERE farm_id = %(farm)s AND season <= %(until)s AND withdrawn_at IS NULL
                    AND (%(block)s::uuid IS NULL OR block_id = %(block)s))
"""  # noqa: S608 - joined from constants
_SPANS: Final = """
    named AS (
        SELECT vine_id, cordon FROM looked UNION SELECT vine_id, cordon FROM marks WHERE cordon <> ''),
    marked AS (
        SELECT named.vine_id, named.cordon, kind, season, day, number, stepped, rootstock, marks.cordon = '' AS whole
        FROM marks JOIN named ON named.vine_id = marks.vine_id AND marks.cordon IN ('', named.cordon)),
    spans AS (
        SELECT vine_id, cordon, kind, season AS since, stepped, whole, row_number() OVER following AS place,
               lead(kind) OVER following AS end_kind, lead(season) OVER following AS end_season,
               (array_agg(rootstock) FILTER (WHERE rootstock IS NOT NULL) OVER following)[
                   (count(rootstock) OVER following)] AS rootstock
        FROM (SELECT * FROM marked
              UNION ALL SELECT DISTINCT vine_id, cordon, 'look', 0, NULL::date, 0, NULL::int, NULL, false
              FROM marked) AS either
        WINDOW following AS (PARTITION BY vine_id, cordon ORDER BY season, day, number
                             ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW)),
    begun AS (SELECT * FROM spans WHERE kind IN ('look', 'arm', 'plant')),
    seen AS (
        SELECT begun.vine_id, begun.cordon, place, min(season) AS first, max(season) AS last
        FROM begun JOIN cordon_inspection AS one ON one.vine_id = begun.vine_id AND one.cordon = begun.cordon
             AND one.season BETWEEN since AND coalesce(end_season - (end_kind = 'plant')::int, 32767)
        WHERE one.farm_id = %(farm)s AND one.season <= %(until)s AND one.withdrawn_at IS NULL
        GROUP BY begun.vine_id, begun.cordon, place)
"""
LIVES: Final = f"""
    WITH looked AS MATERIALIZED (
        SELECT vine_id, cordon, min(season) AS first, max(season) AS last FROM cordon_inspection
        WHERE farm_id = %(farm)s AND season <= %(until)s AND withdrawn_at IS NULL
          AND (%(block)s::uuid IS NULL OR block_id = %(block)s)
        GROUP BY vine_id, cordon),
    {_MARKS}, {_SPANS},
    lives AS (
        SELECT vine_id, cordon, 'look' AS kind, 0 AS since, first, last, NULL AS end_kind, NULL::int AS end_season,
               false AS tracked, NULL::int AS stepped, NULL::text AS rootstock
        FROM looked WHERE NOT EXISTS (
            SELECT FROM marked WHERE marked.vine_id = looked.vine_id AND marked.cordon = looked.cordon)
        UNION ALL
        SELECT begun.vine_id, begun.cordon, kind, since, first, last, end_kind, end_season,
               kind = 'arm' AND NOT whole, stepped, rootstock
        FROM begun LEFT JOIN seen USING (vine_id, cordon, place)
        WHERE first IS NOT NULL OR kind = 'arm' AND NOT whole),
    told AS (
        SELECT lives.vine_id, vine.block_id, array_position(%(cordons)s::text[], lives.cordon::text) - 1 AS cordon,
               CASE WHEN kind <> 'look' THEN since WHEN vine.year_planted <= first THEN vine.year_planted
                    WHEN block.year_planted <= first THEN block.year_planted ELSE -1 END AS start,
               CASE WHEN tracked THEN since ELSE first END AS first,
               CASE WHEN tracked THEN since - 1 ELSE first END AS entered,
               CASE WHEN end_kind = 'end' THEN end_season
                    WHEN tracked THEN least(greatest(since, last, stepped), end_season) ELSE last END AS last,
               CASE WHEN end_kind = 'end' THEN 1 WHEN end_kind IS NULL THEN 0 ELSE 2 END AS ends,
               (kind = 'arm')::int AS renewed,
               coalesce(nullif(lives.rootstock, ''), nullif(vine.rootstock, ''), block.rootstock) AS rootstock
        FROM lives JOIN vine ON vine.farm_id = %(farm)s AND vine.id = lives.vine_id
                   JOIN block ON block.farm_id = %(farm)s AND block.id = vine.block_id
        LIMIT %(most)s),
    coded AS (
        SELECT told.*, dense_rank() OVER (ORDER BY block_id) - 1 AS block_code,
               dense_rank() OVER (ORDER BY rootstock) - 1 AS rootstock_code
        FROM told)
    SELECT count(*), string_agg(uuid_send(vine_id), ''),
           string_agg(int2send(start::int2), ''), string_agg(int2send(first::int2), ''),
           string_agg(int2send(entered::int2), ''), string_agg(int2send(last::int2), ''),
           string_agg(int4send(ends), ''), string_agg(int4send(renewed), ''), string_agg(int4send(cordon), ''),
           string_agg(int4send(block_code::int), ''), string_agg(int4send(rootstock_code::int), ''),
           array_agg(DISTINCT block_id ORDER BY block_id), array_agg(DISTINCT rootstock ORDER BY rootstock)
    FROM coded
"""  # noqa: S608 - joined from constants
