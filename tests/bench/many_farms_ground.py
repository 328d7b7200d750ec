"""The ground of the figures of many farms: invented farms of ten blocks of 400 vines, each with ten winters on record.

It is made by SQL in the tables of the service, summed up by the service's own function, and kept between runs until this
file or that function changes.  It is not durable: what is measured on it are reads, and readers beside a writer.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final

import psycopg

from tests.bench.bulk_ground import ROOT, environment
from vineyard.stack import Stack, StackBusy, running_environment
from vineyard.stack.places import places_for
from vineyard.stack.postgres import address

BLOCKS, ROWS, PLACES = 10, 10, 40
SEASONS: Final = range(2018, 2028)
#: A hundred thousand vine-seasons, and ten million.
FEW, MANY = 3, 250
REGIONS: Final = 6


@dataclass(frozen=True)
class Farms:
    """Where the farms lie: the newest season, the farm that is asked about, and the key of whoever owns them all."""

    superuser: str
    farm: str
    key: str
    count: int

    @property
    def season(self) -> int:
        return SEASONS[-1]

    def connect(self) -> psycopg.Connection:
        """Connect as the superuser, whom row-level security does not bind."""
        return psycopg.connect(self.superuser, autocommit=True)


@contextmanager
def standing(count: int) -> Iterator[tuple[Stack, Farms]]:
    """Bring up the stack with so many farms, made anew where it is of another day."""
    base = Path(os.environ.get("STACK_HOME") or ROOT / ".stack") / f"bench-farms-{count}"
    _forget_other_days(base)
    with Stack(base, fast=True) as stack:
        superuser = address(places_for(base), "postgres", "vineyard")
        file = base / "farms.json"
        subprocess.run(  # a migration that came since is carried out; ten million rows are not made anew for it
            [sys.executable, "manage.py", "migrate", "-v0"], cwd=ROOT, check=True,
            env={**os.environ, **environment(stack)}, stdout=subprocess.DEVNULL,
        )  # fmt: skip
        if not file.exists():
            file.write_text(json.dumps(asdict(_made(stack, superuser, count))), encoding="utf-8")
        yield stack, Farms(**{**json.loads(file.read_text(encoding="utf-8")), "superuser": superuser})


def _forget_other_days(base: Path) -> None:
    sources = [Path(__file__), ROOT / "balance" / "summaries" / "sql.py"]
    made_by = hashlib.sha256(b"".join(each.read_bytes() for each in sources)).hexdigest()
    mark = base / "made-by"
    if running_environment(base):
        raise StackBusy(f"Another run of the benchmark uses {base}. Wait for it, or set STACK_HOME to another folder.")
    if base.exists() and (not mark.exists() or mark.read_text(encoding="utf-8") != made_by):
        shutil.rmtree(base)
    base.mkdir(parents=True, exist_ok=True)
    base.chmod(0o755)
    mark.write_text(made_by, encoding="utf-8")


def _made(stack: Stack, superuser: str, count: int) -> Farms:
    prepared = subprocess.run(
        [sys.executable, "-m", "tests.bench.bulk_ground"], cwd=ROOT, check=True, text=True,
        env={**os.environ, **environment(stack)}, stdout=subprocess.PIPE,
    )  # fmt: skip
    farm, person, api_key, key = prepared.stdout.split()
    names = {"farm": farm, "person": person, "key": api_key, "others": count - 1}
    with psycopg.connect(superuser, autocommit=True) as connection:
        connection.execute("SET session_replication_role = replica")  # references hold by the way the rows are made
        connection.execute("ALTER SYSTEM SET autovacuum = off")
        connection.execute("SELECT pg_reload_conf()")
        for statement in (_FARMS, _OWNED, _BLOCKS, _ROWS, _VINES):
            connection.execute(statement, names)
        connection.execute(_PROGRAM, names)
        for season in SEASONS:
            connection.execute(_WINTERS, {**names, "season": season})
            connection.execute(_HARVESTS, {**names, "season": season})
        connection.execute("VACUUM ANALYZE")
        for season in SEASONS:
            connection.execute(
                "SELECT count(sum_up_block_season(farm_id, id, %s)) FROM (SELECT * FROM block ORDER BY farm_id, id) AS b",
                [season],
            )
        connection.execute("VACUUM ANALYZE block_season")
    return Farms(superuser, farm, key, count)


_FARMS = f"""
    INSERT INTO farm (name, region, hemisphere, time_zone)
    SELECT 'Farm ' || number, 'Region ' || number %% {REGIONS}, hemisphere, time_zone
    FROM farm, generate_series(1, %(others)s) AS number WHERE id = %(farm)s
"""
#: Each has an owner of its own, so that it counts as a grower; whoever asks looks at all of them.
_OWNED = """
    WITH grown AS (
        INSERT INTO person (email, name, password, is_active, is_staff, is_superuser)
        SELECT 'grower-' || id || '@example.test', 'Grower (invented)', '', true, false, false FROM farm
        WHERE id <> %(farm)s RETURNING id, email
    )
    INSERT INTO membership (farm_id, person_id, role, name, created_digest)
    SELECT farm.id, grown.id, 'owner', '', '' FROM farm JOIN grown ON grown.email = 'grower-' || farm.id || '@example.test'
    UNION ALL SELECT id, %(person)s, 'viewer', '', '' FROM farm WHERE id <> %(farm)s
"""
#: All belong to one program, and let it count them.
_PROGRAM = """
    WITH made AS (
        INSERT INTO program (name, region) VALUES ('Program (invented)', '') RETURNING id
    ), led AS (
        INSERT INTO program_membership (program_id, person_id, role) SELECT id, %(person)s, 'lead' FROM made
    ), joined AS (
        UPDATE farm SET program_id = made.id FROM made
    )
    INSERT INTO consent (farm_id, purpose, program_id, name, rights, text_version, given_by_id, valid_from,
        created_digest)
    SELECT farm.id, purpose, made.id, '', '{}', purpose || '@1', %(person)s, now(), ''
    FROM farm, made, unnest(ARRAY['summaries', 'benchmarks']) AS purpose
"""
_BLOCKS = f"""
    INSERT INTO block (farm_id, name, cultivar_id, cultivar_as_named, rootstock, training, shelter, note, created_digest)
    SELECT id, 'Block ' || number, (ARRAY['concord', NULL])[1 + number %% 2], '', '', 'not_stated', 'open_field', '', ''
    FROM farm, generate_series(1, {BLOCKS}) AS number
"""
_ROWS = f"""
    INSERT INTO row (farm_id, block_id, number, created_digest)
    SELECT farm_id, id, number, '' FROM block, generate_series(1, {ROWS}) AS number ORDER BY farm_id, id, number
"""
_VINES = f"""
    INSERT INTO vine (farm_id, block_id, row_id, row_number, place, label, rootstock, created_digest)
    SELECT farm_id, block_id, id, number, place, '', '', ''
    FROM row, generate_series(1, {PLACES}) AS place ORDER BY farm_id, block_id, number, place
"""
_WINTERS = """
    INSERT INTO dormant_record (farm_id, block_id, vine_id, season, pruning_weight_value, pruning_weight_unit,
        pruning_weight_kg, scale_resolution_value, scale_resolution_unit, scale_resolution_kg, nodes_retained, scale,
        observed_at, observed_offset_minutes, pruner, note, recorded_by_id, api_key_id, app_name, device, source,
        created_digest)
    SELECT farm_id, block_id, id, %(season)s, pounds, '[lb_av]', pounds * 0.45359237, 0.25, '[lb_av]',
        0.25 * 0.45359237, 40, 'spring', make_timestamptz(%(season)s, 2, 1, 15, 0, 0, 'UTC'), -300, '', '', %(person)s,
        %(key)s, 'bench', '', 'api', ''
    FROM (
        SELECT *, 0.4 + (hashint8(row_number * 1000 + place + %(season)s) %% 400 + 400) / 200.0 AS pounds FROM vine
    ) AS weighed ORDER BY farm_id, block_id, row_number, place
"""
_HARVESTS = """
    INSERT INTO harvest_record (farm_id, block_id, season, scope, picking, yield_value, yield_unit, yield_kg,
        observed_at, observed_offset_minutes, note, recorded_by_id, api_key_id, app_name, device, source, created_digest)
    SELECT farm_id, id, %(season)s, 'block', 1, 4000, 'kg', 4000, make_timestamptz(%(season)s, 9, 20, 15, 0, 0, 'UTC'),
        -300, '', %(person)s, %(key)s, 'bench', '', 'api', '' FROM block
"""
