"""The query that reads how each cordon stands in a season; ``balance.cordons.capacity`` says what is made of it."""

from __future__ import annotations

from typing import Final

from balance.formulas.cordons.replacement_steps import BEARING, CLOSED, LAID_DOWN, YOUNG_ARM
from balance.missing_vines import NEWEST_FIRST, event_day


def _listed(steps: tuple[str, ...]) -> str:
    return ", ".join(f"'{step}'" for step in steps)


_HERE: Final = "farm_id = %(farm)s AND (%(block)s::uuid IS NULL OR block_id = %(block)s)"
#: Whether an inspection is newer than the step of a case.
_NEWER: Final = "CASE WHEN seen_on IS NULL THEN season > cases.step_season ELSE seen_on > cases.step_on END"
CORDONS_NOW: Final = f"""
    WITH event AS (
        SELECT DISTINCT ON (vine_id) vine_id, event, season AS event_season,
               {event_day()} AS event_on
        FROM vine_event WHERE {_HERE} AND season <= %(season)s AND withdrawn_at IS NULL
        ORDER BY vine_id, {NEWEST_FIRST}),
    stands AS (
        SELECT DISTINCT ON (case_id) case_id, step, season AS step_season, happened_on AS step_on
        FROM cordon_step WHERE farm_id = %(farm)s AND season <= %(season)s ORDER BY case_id, number DESC),
    laid AS (
        SELECT DISTINCT ON (case_id) case_id, season AS laid, nodes_laid_down AS nodes
        FROM cordon_step WHERE farm_id = %(farm)s AND season <= %(season)s AND step = '{LAID_DOWN}'
        ORDER BY case_id, number DESC),
    cases AS MATERIALIZED (
        SELECT id, vine_id, block_id, cordon, scope, stands.step, stands.step_season, stands.step_on, laid.laid,
               coalesce(laid.nodes, nodes_laid_down) AS nodes
        FROM cordon_case JOIN stands ON stands.case_id = id LEFT JOIN laid ON laid.case_id = id
        WHERE {_HERE} AND withdrawn_at IS NULL
          AND NOT EXISTS (SELECT FROM event WHERE event.vine_id = cordon_case.vine_id
                            AND (event = 'missing' OR event_season > stands.step_season
                                 OR event_season = stands.step_season AND event_on > stands.step_on))),
    inspected AS (
        SELECT vine_id, block_id, cordon, season, living_positions, blank_positions, cordon_length_m, blank_length_m,
               dieback_length_m, observed_at, id, (observed_at AT TIME ZONE %(zone)s)::date AS seen_on
        FROM cordon_inspection WHERE {_HERE} AND season <= %(season)s AND withdrawn_at IS NULL),
    newest AS (
        SELECT DISTINCT ON (vine_id, cordon) inspected.*
        FROM inspected LEFT JOIN event USING (vine_id)
        WHERE (event IS NULL OR event <> 'missing' AND (
                  season > event_season OR season = event_season AND coalesce(seen_on >= event_on, true)))
          AND NOT EXISTS (SELECT FROM cases WHERE cases.vine_id = inspected.vine_id
                            AND cases.cordon IN ('', inspected.cordon) AND step = '{BEARING}' AND NOT ({_NEWER}))
        ORDER BY vine_id, cordon, season DESC, observed_at DESC NULLS LAST, id DESC),
    live AS (
        SELECT * FROM cases WHERE step = '{BEARING}' OR step NOT IN ({_listed(CLOSED)})),
    known AS (
        SELECT vine_id, block_id, cordon FROM newest
        UNION SELECT vine_id, block_id, cordon FROM live WHERE cordon <> ''),
    named AS (  -- a vine that is renewed whole, and of which no cordon is on record, stands for one
        SELECT * FROM known
        UNION SELECT vine_id, block_id, '' FROM live
              WHERE cordon = '' AND NOT EXISTS (SELECT FROM known WHERE known.vine_id = live.vine_id)),
    open AS (
        SELECT DISTINCT ON (named.vine_id, named.cordon) named.vine_id, named.cordon, step, laid, nodes, scope
        FROM named JOIN live ON live.vine_id = named.vine_id AND live.cordon IN ('', named.cordon)
        WHERE step NOT IN ({_listed(CLOSED)})
        ORDER BY named.vine_id, named.cordon, step_on DESC, id DESC),
    told AS (
        SELECT named.*, living_positions, blank_positions, cordon_length_m, blank_length_m, dieback_length_m,
               open.step, open.laid, open.nodes, open.scope,
               newest.vine_id IS NULL AND open.step IS NULL AS bears
        FROM named LEFT JOIN newest USING (vine_id, cordon) LEFT JOIN open USING (vine_id, cordon)),
    coded AS (SELECT told.*, dense_rank() OVER (ORDER BY block_id) - 1 AS block_code FROM told LIMIT %(most)s)
    SELECT count(*), array_agg(DISTINCT block_id ORDER BY block_id),
           string_agg(int4send(block_code::int), ''),
           string_agg(float8send(coalesce(living_positions::float8, 'NaN')), ''),
           string_agg(float8send(coalesce(blank_positions::float8, 'NaN')), ''),
           string_agg(float8send(coalesce(trim_scale(cordon_length_m)::float8, 'NaN')), ''),
           string_agg(float8send(coalesce(trim_scale(blank_length_m)::float8, 'NaN')), ''),
           string_agg(float8send(coalesce(trim_scale(dieback_length_m)::float8, 'NaN')), ''),
           string_agg(float8send(coalesce((%(season)s - laid)::float8, 'NaN')), ''),
           string_agg(float8send(coalesce(nodes::float8, 'NaN')), ''),
           string_agg(int4send(CASE WHEN step IN ({_listed(YOUNG_ARM)}) THEN 2 WHEN step IS NOT NULL THEN 1
                                    WHEN bears THEN 3 ELSE 0 END), ''),
           string_agg(int4send((coalesce(scope, '') = 'part_of_cordon')::int), '')
    FROM coded
"""  # noqa: S608 - joined from constants
