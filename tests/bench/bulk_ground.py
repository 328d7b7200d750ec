"""The ground of the bulk figures: a durable stack kept between runs, a farm of 100,000 vines, a million records.

What it holds is made anew as soon as a migration or this file says something else than when it was made, so a figure
never stands on tables of another day.  Every trial inserts a season that nobody has and takes it away again.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final

import psycopg

from vineyard.stack import Stack, StackBusy, running_environment
from vineyard.stack.places import places_for
from vineyard.stack.postgres import address

ROOT: Final = Path(__file__).resolve().parents[2]
BLOCKS, ROWS, PLACES = 20, 50, 100
VINES: Final = BLOCKS * ROWS * PLACES
#: Winters on record for every vine, before the season that trials insert.
SEASONS: Final = range(2017, 2027)
TRIAL_SEASON: Final = 2027


@dataclass(frozen=True)
class Ground:
    """Where the bench's farm lies: addresses, ids, and the key that may record on it."""

    serving: str
    superuser: str
    farm: str
    person: str
    api_key: str
    key: str
    farms: int

    def connect(self) -> psycopg.Connection:
        """Connect as the superuser, whom row-level security does not bind: for references and for clearing up."""
        return psycopg.connect(self.superuser, autocommit=True)

    def records(self) -> int:
        with self.connect() as connection:
            return int(connection.execute("SELECT count(*) FROM dormant_record").fetchone()[0])  # type: ignore[index]

    def clear(self) -> None:
        """Take away what a trial stored, without a trace in the history, and leave the table as it was."""
        with self.connect() as connection:
            connection.execute("SET session_replication_role = replica")
            connection.execute(
                "DELETE FROM dormant_record WHERE farm_id = %s AND season >= %s", [self.farm, TRIAL_SEASON]
            )
            for table in _TRACES:
                if connection.execute("SELECT to_regclass(%s)", [table]).fetchone() != (None,):
                    connection.execute(f"TRUNCATE {table}")
            # Said outright: of a table that is large beside what a trial deleted, the indexes would keep the dead.
            connection.execute("VACUUM (INDEX_CLEANUP ON) dormant_record")
            connection.execute("CHECKPOINT")


#: Tables that a trial may write beside the records, if this version has them.
_TRACES: Final = ("pruning_target", "record_change", "block_season", "block_season_mark")


@contextmanager
def standing(*, farms: int = 1) -> Iterator[tuple[Stack, Ground]]:
    """Bring the stack up with so many farms of a million records each; trials work on the first of them."""
    base = Path(os.environ.get("STACK_HOME") or ROOT / ".stack") / ("bench" if farms == 1 else f"bench-{farms}")
    _forget_other_days(base)
    with Stack(base) as stack:
        superuser = address(places_for(stack.base), "postgres", "vineyard")
        with psycopg.connect(superuser, autocommit=True) as connection:
            for setting in _SETTINGS:
                connection.execute(f"ALTER SYSTEM SET {setting}")
            connection.execute("SELECT pg_reload_conf()")
        yield stack, _settled(stack, base / "ground.json", superuser, farms)


#: Checkpoints belong to neither side: each trial begins after one.
_SETTINGS: Final = ("max_wal_size = '8GB'", "checkpoint_timeout = '30min'", "autovacuum = off")


def environment(stack: Stack) -> dict[str, str]:
    """Give the settings of the service on this stack, for as long as the ground lasts.

    One key sends more here than the rate limits let any key send; everything else is as it is by default.
    """
    secret = stack.base / "secret"
    if not secret.exists():
        secret.write_text(secrets.token_urlsafe(48), encoding="utf-8")
    unlimited = {"RATE_LIMIT_KEY": "off", "RATE_LIMIT_FARM": "off"}
    return {**stack.environment(), **unlimited, "SECRET_KEY": secret.read_text(encoding="utf-8")}


def _settled(stack: Stack, file: Path, superuser: str, farms: int) -> Ground:
    if not file.exists():
        prepared = subprocess.run(
            [sys.executable, "-m", "tests.bench.bulk_ground"], cwd=ROOT, check=True, text=True,
            env={**os.environ, **environment(stack)}, stdout=subprocess.PIPE,
        )  # fmt: skip
        farm, person, api_key, key = prepared.stdout.split()
        ground = Ground(stack.environment()["DATABASE_URL"], superuser, farm, person, api_key, key, 0)
    else:
        told = json.loads(file.read_text(encoding="utf-8"))
        ground = Ground(**{**told, "serving": stack.environment()["DATABASE_URL"], "superuser": superuser})
    if ground.farms < farms:
        ground = _with_farms(ground, farms)
        file.write_text(json.dumps(asdict(ground)), encoding="utf-8")
    return ground


def _forget_other_days(base: Path) -> None:
    """Remove a ground that was made by other migrations or another version of this file."""
    mark = base / "made-by"
    made_by = hashlib.sha256()
    for source in [Path(__file__), *sorted(ROOT.glob("*/migrations/*.py")), ROOT / "records" / "walls.py"]:
        made_by.update(source.read_bytes())
    if running_environment(base):
        raise StackBusy(f"Another run of the benchmark uses {base}. Wait for it, or set STACK_HOME to another folder.")
    if base.exists() and (not mark.exists() or mark.read_text(encoding="utf-8") != made_by.hexdigest()):
        for part in ("postgres", "ground.json"):
            path = base / part
            shutil.rmtree(path) if path.is_dir() else path.unlink(missing_ok=True)
    base.mkdir(parents=True, exist_ok=True)
    base.chmod(0o755)
    mark.write_text(made_by.hexdigest(), encoding="utf-8")


def _with_farms(ground: Ground, farms: int) -> Ground:
    """Plant farms up to the number asked for, and give every vine of the new ones its winters."""
    with psycopg.connect(ground.superuser, autocommit=True) as connection:
        connection.execute("SET session_replication_role = replica")  # references hold by the way the rows are made
        for number in range(ground.farms, farms):
            farm = ground.farm if number == 0 else _copied_farm(connection, ground.farm)
            names = {"farm": farm, "person": ground.person, "key": ground.api_key}
            for statement in (_BLOCKS, _ROWS, _VINES):
                connection.execute(statement, names)
            for season in SEASONS:
                connection.execute(_RECORDS, {**names, "season": season})
        connection.execute("VACUUM ANALYZE")
    return Ground(**{**asdict(ground), "farms": farms})


def _copied_farm(connection: psycopg.Connection, farm: str) -> str:
    row = connection.execute(
        "INSERT INTO farm (name, region, hemisphere, time_zone) "
        "SELECT name, region, hemisphere, time_zone FROM farm WHERE id = %s RETURNING id::text",
        [farm],
    ).fetchone()
    assert row is not None
    return str(row[0])


def prepare() -> None:
    """Make the tables, a person, their key and their farm; print farm, person, key id and key."""
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "vineyard.settings")
    django.setup()
    from django.db import transaction

    from records.access import Caller, enter
    from records.models import Person
    from records.services.farms import create_farm
    from records.services.keys import make_key
    from vineyard.starting import prepare_database

    prepare_database(lambda _: None)
    person = Person.objects.create_user("bench@example.test", "Bench")
    stored, key = make_key(person, label="bench", scopes=["read", "record", "manage"])
    with transaction.atomic():
        caller = Caller(person)
        enter(caller)
        farm, _ = create_farm(caller, None, {"name": "Bench", "hemisphere": "north", "time_zone": "America/New_York"})
    print(farm.pk, person.pk, stored.pk, key)


_BLOCKS = f"""
    INSERT INTO block (farm_id, name, cultivar_id, cultivar_as_named, rootstock, training, shelter, note, created_digest)
    SELECT %(farm)s, 'Block ' || number, 'concord', '', '', 'not_stated', 'open_field', '', ''
    FROM generate_series(1, {BLOCKS}) AS number
"""
_ROWS = f"""
    INSERT INTO row (farm_id, block_id, number, created_digest)
    SELECT farm_id, id, number, '' FROM block, generate_series(1, {ROWS}) AS number WHERE farm_id = %(farm)s
    ORDER BY id, number
"""
_VINES = f"""
    INSERT INTO vine (farm_id, block_id, row_id, row_number, place, label, rootstock, created_digest)
    SELECT farm_id, block_id, id, number, place, '', '', ''
    FROM row, generate_series(1, {PLACES}) AS place WHERE farm_id = %(farm)s ORDER BY block_id, number, place
"""
_RECORDS = """
    INSERT INTO dormant_record (farm_id, block_id, vine_id, season, pruning_weight_value, pruning_weight_unit,
        pruning_weight_kg, scale_resolution_value, scale_resolution_unit, scale_resolution_kg, nodes_retained, scale,
        observed_at, observed_offset_minutes, pruner, note, recorded_by_id, api_key_id, app_name, device, source,
        created_digest)
    SELECT farm_id, block_id, id, %(season)s, pounds, '[lb_av]', pounds * 0.45359237, 0.25, '[lb_av]',
        0.25 * 0.45359237, 40, 'spring', make_timestamptz(%(season)s, 2, 1, 15, 0, 0, 'UTC'), -300, '', '', %(person)s,
        %(key)s, 'bench', '', 'api', encode(sha256((id::text || %(season)s)::bytea), 'hex')
    FROM (
        SELECT *, 0.4 + (row_number * 37 + place * 13) %% 400 / 100.0 AS pounds FROM vine WHERE farm_id = %(farm)s
    ) AS weighed ORDER BY block_id, row_number, place
"""

if __name__ == "__main__":
    prepare()
