"""Summaries are read from a real standby: never older than they say, never with a failure of its own, never past a wall."""

from __future__ import annotations

import shutil
import tempfile
import time
import uuid
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.db import Error, connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.urls import reverse
from prometheus_client import REGISTRY

from balance.api.summaries.addresses import ADDRESSES
from balance.summaries import replica
from balance.summaries.keeping import settle
from balance.summaries.reading_from import read_summaries, summary_connection
from records.access import enter, open_farm
from records.context import set_context
from records.kinds import KINDS
from records.models import Farm
from tests.prepared import give_tables
from tests.records.yard import Yard
from tests.vineyard.standby import Standby
from vineyard.databases import primary_at, replica_at
from vineyard.env import Database
from vineyard.stack import Stack

WEIGHING = KINDS["dormant_record"]
SEASON = 2027
COUNT = "SELECT coalesce(sum(weighed), 0), count(DISTINCT farm_id) FROM block_season"


def folder() -> Path:
    made = Path(tempfile.mkdtemp(prefix="vineyard-test-"))
    made.chmod(0o755)  # the database's user enters it
    return made


def parts_of(address: str) -> Database:
    said = psycopg.conninfo.conninfo_to_dict(address)
    return Database(*(str(said.get(part) or "") for part in ("dbname", "user", "password", "host", "port")))


@pytest.fixture(scope="module")
def servers() -> Iterator[tuple[Stack, Standby]]:
    """A primary that keeps its word through a crash, and a standby that follows it."""
    bases = folder(), folder()
    give_tables(bases[0])
    with Stack(bases[0]) as primary:
        standby = Standby(primary, bases[1])
        yield primary, standby
        standby.stop()
    for base in bases:
        shutil.rmtree(base, ignore_errors=True)


@pytest.fixture(scope="module")
def yard(servers: tuple[Stack, Standby], django_db_blocker: Any) -> Iterator[Both]:
    """The cast and a block of theirs on that primary, which is the service's database for as long as this lasts."""
    from tests.conftest import make_cast

    primary, standby = servers
    settings, opened = connections.settings, connections["default"]
    connections.settings = connections.configure_settings(
        {
            "default": primary_at(parts_of(primary.environment()["DATABASE_URL"]), 5_000),
            "replica": replica_at(parts_of(standby.serving), 5_000),
        }
    )
    del connections["default"]
    with django_db_blocker.unblock():
        cast = make_cast()
        with transaction.atomic():
            yard = Yard(cast)
        yield Both(yard, cast)
        connections.close_all()
    connections.settings = settings
    connections["default"] = opened


class Both:
    """One block of vines, and who reads of it."""

    def __init__(self, yard: Yard, cast: Any) -> None:
        self.yard, self.cast = yard, cast
        self.weighings = 0

    def weigh(self) -> None:
        """Weigh the next vine; once all are, in the season before."""
        season, vine = divmod(self.weighings, len(self.yard.vines))
        sent = self.yard.new(
            WEIGHING,
            vine=str(self.yard.vines[vine].pk),
            observed_at=f"{SEASON - season}-01-16T10:02:00-05:00",
        )
        answer = self.yard.post(WEIGHING, sent)
        assert answer.status_code == 201, answer.content
        self.weighings += 1

    def settle(self) -> None:
        """Sum up what waits for it, as a reader on the primary does."""
        with transaction.atomic():
            set_context(farms=[self.cast.farm.pk])
            settle([self.cast.farm.pk])

    def read(self, player: Any = None, farm: Any = None) -> tuple[int, str, datetime]:
        """Give how many weighings the summaries know, from where, and as of when."""
        caller, farm = (player or self.cast.owner).caller, farm or self.cast.farm
        with transaction.atomic():
            enter(caller)
            open_farm(caller, farm.pk)
            return read_summaries([farm.pk], count)


def count(connection: BaseDatabaseWrapper, as_of: datetime) -> tuple[int, str, datetime]:
    with connection.cursor() as cursor:
        cursor.execute(COUNT)
        return int(cursor.fetchone()[0]), connection.alias, as_of


def clock_of_the_primary() -> datetime:
    with connections["default"].cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        now: datetime = cursor.fetchone()[0]
        return now


def reads(outcome: str) -> float:
    return REGISTRY.get_sample_value("vineyard_summary_reads_total", {"outcome": outcome}) or 0.0


@pytest.fixture
def standby(servers: tuple[Stack, Standby], yard: Both, monkeypatch: pytest.MonkeyPatch) -> Iterator[Standby]:
    """The standby as it is in good days: it has everything, and nobody has found it away."""
    monkeypatch.setattr(replica, "_trust", replica._Trust())
    monkeypatch.setattr(replica, "_followed", replica._Followed())
    monkeypatch.setattr(replica, "PATIENCE_SECONDS", 0.5)
    monkeypatch.setattr(replica, "_PAUSES", (0.005,) * 40)  # other tests may keep the machine busy
    servers[1].catch_up()
    yield servers[1]
    servers[1].be_well()


def test_a_summary_is_read_from_the_replica_and_says_as_of_when(standby, yard):
    yard.weigh()
    standby.catch_up()
    before = clock_of_the_primary()
    told, place, as_of = yard.read()
    assert (told, place) == (yard.weighings, "replica")
    assert before <= as_of <= clock_of_the_primary()


def test_wherever_it_is_read_it_tells_of_everything_that_was_stored_before_its_instant(standby, yard, settings):
    """Every second round the replica stands still, for longer than anybody could overlook, within what it may lag."""
    settings.SUMMARIES_MAY_LAG_SECONDS = 60
    stored: list[tuple[datetime, int]] = []
    places = []
    for turn in range(20):
        if turn % 4 == 0:
            standby.pause()
        if turn % 4 == 2:
            standby.resume()
        yard.weigh()
        stored.append((clock_of_the_primary(), yard.weighings))
        told, place, as_of = yard.read()
        places.append((place, told == yard.weighings))
        assert told >= max([number for at, number in stored if at <= as_of], default=0)
    assert ("replica", False) in places  # it did lag, and said so by its instant
    assert ("replica", True) in places


def test_whoever_wrote_something_reads_it_while_the_replica_follows(standby, yard):
    for _ in range(10):
        yard.weigh()
        assert yard.read()[0] == yard.weighings


def test_where_nobody_writes_the_replica_is_as_new_as_the_present(standby, yard, monkeypatch):
    """The time of the last replayed commit grows old then, though nothing lags."""
    standby.catch_up()
    monkeypatch.setattr(replica, "_PRIMARY", replica._PRIMARY.replace("clock_timestamp()", "now() + interval '1 day'"))
    _, place, as_of = yard.read()
    assert place == "replica"
    assert (as_of - clock_of_the_primary()).total_seconds() > 80_000


def test_an_instant_is_known_by_the_log_alone_while_one_long_transaction_writes(standby, yard):
    """Its end is not in the log yet, so no commit says how far the replica is."""
    now = replica._followed.look()
    later = replica.Look(now.flushed + 1_000_000, now.at.replace(year=now.at.year + 1), now.cluster)
    assert replica._followed.as_of(later, now.flushed + 10, None) == now.at
    assert replica._followed.as_of(later, now.flushed - 10, None) is None
    assert replica._followed.as_of(later, later.flushed, None) == later.at


def test_what_is_told_of_by_no_more_than_its_bound_is_read_from_the_primary(standby, yard, settings):
    settings.SUMMARIES_MAY_LAG_SECONDS = 0
    standby.pause()
    before = reads("lagging")
    yard.weigh()
    asked_at = clock_of_the_primary()
    told, place, as_of = yard.read()
    assert (told, place) == (yard.weighings, "default")
    assert as_of >= asked_at
    assert reads("lagging") == before + 1
    standby.resume()
    standby.catch_up()
    assert yard.read()[1] == "replica"


def leave_a_mark(yard: Both, year: int) -> datetime:
    """Change what a block sets for all its seasons; they are summed up by whoever reads next."""
    block = f"{yard.yard.url}/blocks/{yard.yard.block.pk}"
    etag = yard.cast.owner.client.get(block).headers["ETag"]
    before = clock_of_the_primary()
    answer = yard.cast.owner.client.patch(block, {"year_planted": year}, format="json", headers={"If-Match": etag})
    assert answer.status_code == 200, answer.content
    return before


def test_of_one_farm_a_mark_that_the_replica_shows_is_settled_on_the_primary_first(standby, yard):
    leave_a_mark(yard, 2001)
    standby.catch_up()
    before = reads("unsettled")
    assert yard.read()[1] == "default"
    assert reads("unsettled") == before + 1
    standby.catch_up()
    assert yard.read()[1] == "replica"


def test_among_many_farms_a_mark_says_how_old_the_rows_are_until_that_is_too_old(standby, yard, settings):
    yard.settle()
    both = [yard.cast.farm.pk, yard.cast.other_farm.pk]
    before = leave_a_mark(yard, 2002)
    after = clock_of_the_primary()
    standby.catch_up()
    with transaction.atomic():
        settings.SUMMARIES_MAY_LAG_SECONDS = 600
        _, place, as_of = read_summaries(both, count)
        assert place == "replica"
        assert before < as_of < after
        settings.SUMMARIES_MAY_LAG_SECONDS = 0
        _, place, as_of = read_summaries(both, count)
        assert place == "default"
        assert as_of > after
    standby.catch_up()
    settings.SUMMARIES_MAY_LAG_SECONDS = 600
    with transaction.atomic():
        assert read_summaries(both, count)[2] > after  # it was settled


WRITES = ["DELETE FROM block_season_mark", "INSERT INTO program (id, name) VALUES (gen_random_uuid(), 'x')"]


@pytest.mark.parametrize("sql", WRITES)
def test_the_replica_refuses_to_write(sql, standby, yard):
    with pytest.raises(Error, match="read-only transaction"), connections["replica"].cursor() as cursor:
        cursor.execute(sql)


def test_no_session_on_the_replica_makes_itself_one_that_writes(standby, yard):
    with pytest.raises(Error, match="during recovery"), connections["replica"].cursor() as cursor:
        cursor.execute("SET TRANSACTION READ WRITE")


def test_on_the_replica_a_forgotten_filter_shows_the_open_farm_alone(standby, yard):
    def farms(connection: BaseDatabaseWrapper, as_of: datetime) -> tuple[str, list[uuid.UUID]]:
        with connection.cursor() as cursor:
            cursor.execute("SELECT id FROM farm")
            return connection.alias, [found for (found,) in cursor.fetchall()]

    for player, farm in ((yard.cast.owner, yard.cast.farm), (yard.cast.stranger, yard.cast.other_farm)):
        with transaction.atomic():
            enter(player.caller)
            open_farm(player.caller, farm.pk)
            assert read_summaries([farm.pk], farms) == ("replica", [farm.pk])
    assert yard.read(yard.cast.stranger, yard.cast.other_farm)[0] == 0


def test_the_context_of_a_read_is_gone_from_the_kept_connection(standby, yard):
    yard.read()
    with connections["replica"].cursor() as cursor:
        cursor.execute("SELECT count(*) FROM farm")
        assert cursor.fetchone() == (0,)


def test_what_was_open_on_the_primary_is_open_again_after_a_summary_of_fewer(standby, yard, monkeypatch):
    monkeypatch.setattr(replica, "is_set", lambda: False)
    both = [yard.cast.farm.pk, yard.cast.other_farm.pk]
    with transaction.atomic():
        set_context(farms=both)
        with summary_connection(both[:1]):
            assert Farm.objects.count() == 1
        assert Farm.objects.count() == 2


def test_a_replica_that_dies_fails_no_read_is_left_alone_and_comes_back(standby, yard, monkeypatch):
    monkeypatch.setattr(replica, "AGAIN_AFTER_SECONDS", 600.0)
    assert yard.read()[1] == "replica"
    standby.kill()
    yard.weigh()
    before = reads("away")
    assert [yard.read()[:2] for _ in range(5)] == [(yard.weighings, "default")] * 5
    assert reads("away") == before + 5
    assert connections["replica"].connection is None  # it was asked once, and not again
    standby.start()
    standby.catch_up()
    assert yard.read()[1] == "default"  # nobody looks so soon
    monkeypatch.setattr(replica._trust, "_away_until", time.monotonic())
    assert yard.read()[:2] == (yard.weighings, "replica")


def test_a_replica_that_was_started_anew_between_two_reads_is_read_as_before(standby, yard):
    """The kept connection is dead, the replica is not."""
    assert yard.read()[1] == "replica"
    standby.kill()
    standby.start()
    standby.catch_up()
    assert yard.read()[1] == "replica"


def test_a_replica_that_dies_while_it_is_read_fails_no_read(standby, yard):
    seen = []

    def dies(connection: BaseDatabaseWrapper, as_of: datetime) -> tuple[int, str, datetime]:
        seen.append(connection.alias)
        if connection.alias == "replica":
            standby.kill()
        return count(connection, as_of)

    with transaction.atomic():
        enter(yard.cast.owner.caller)
        opened = open_farm(yard.cast.owner.caller, yard.cast.farm.pk)
        assert read_summaries([opened.farm.pk], dies)[:2] == (yard.weighings, "default")
        assert seen == ["replica", "default"]
        assert opened.farm.__class__.objects.count() == 1  # the request goes on
    standby.start()


def test_a_replica_that_is_frozen_fails_no_read_and_is_waited_for_once(standby, yard):
    """It holds its connections and says nothing: no time limit of its own ends anything then."""
    assert yard.read()[1] == "replica"
    standby.freeze()
    try:
        began = time.monotonic()
        assert [yard.read()[:2] for _ in range(5)] == [(yard.weighings, "default")] * 5
        waited = time.monotonic() - began
    finally:
        standby.thaw()
    assert waited < 5 * replica.PATIENCE_SECONDS


def test_what_is_wrong_with_a_read_itself_is_told_and_not_laid_to_the_replica(standby, yard):
    def wrong(connection: BaseDatabaseWrapper, as_of: datetime) -> None:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1 / 0")

    with transaction.atomic():
        enter(yard.cast.owner.caller)
        open_farm(yard.cast.owner.caller, yard.cast.farm.pk)
        with pytest.raises(Error, match="division by zero"), transaction.atomic():
            read_summaries([yard.cast.farm.pk], wrong)
    assert yard.read()[1] == "replica"


def test_what_is_no_standby_of_ours_is_not_read(standby, yard, servers, monkeypatch):
    """Its address leads to the primary, or to another cluster: it would always seem to be at the present."""
    yard.read()
    connections["replica"].close()
    primary = parts_of(servers[0].environment()["DATABASE_URL"])
    with monkeypatch.context() as patched:
        patched.setitem(connections["replica"].settings_dict, "HOST", primary.host)
        assert yard.read()[1] == "default"
    with pytest.raises(replica.NotOurs):
        replica._asked(cluster=1)


SUMMARIES = sorted(str(each.name) for each in ADDRESSES)


def summary(name: str, yard: Both) -> Any:
    """Ask for a summary of the block, of the farm or of all farms of its owner."""
    arguments = {
        "block-": {"farm": yard.cast.farm.pk, "block": yard.yard.block.pk},
        "farm-": {"farm": yard.cast.farm.pk},
    }
    given = next((said for prefix, said in arguments.items() if name.startswith(prefix)), {})
    return yard.cast.owner.client.get(reverse(name, kwargs=given))


def test_every_summary_over_http_says_the_same_from_the_replica_as_from_the_primary(standby, yard):
    yard.weigh()
    yard.settle()
    standby.catch_up()
    before = reads("replica")
    answers = {name: [summary(name, yard)] for name in SUMMARIES}
    assert len(answers) > 10
    assert reads("replica") == before + len(answers)
    standby.kill()
    for name, both in answers.items():
        both.append(summary(name, yard))
        assert [answer.status_code for answer in both] == [200, 200], (name, both[0].content)
        first, second = (answer.json() for answer in both)
        assert first.pop("as_of") < second.pop("as_of"), name
        assert first == second, name
        assert both[0].headers["ETag"] == both[1].headers["ETag"], name
    assert reads("replica") == before + len(answers)


def states(client: Any) -> tuple[str, dict[str, str]]:
    told = client.get("/readyz").json()
    return told["status"], told["checks"]["replica"]


@pytest.fixture
def everything_else_well(monkeypatch: pytest.MonkeyPatch) -> None:
    from vineyard import health

    monkeypatch.setattr(health, "CHECKS", {"database": health.CHECKS["database"]})
    monkeypatch.setattr(health, "_LAST", {})


def test_ready_says_of_the_replica_how_it_is_and_stays_ready_without_it(
    standby, yard, client, settings, everything_else_well
):
    assert states(client) == ("ready", {"state": "ok", "sentence": "The replica is near the present."})
    settings.SUMMARIES_MAY_LAG_SECONDS = 0
    standby.pause()
    yard.weigh()
    behind = "The replica is away or too far behind: summaries are read from the primary."
    assert states(client) == ("degraded", {"state": "degraded", "sentence": behind})
    standby.resume()
    standby.catch_up()
    standby.kill()
    assert states(client) == ("degraded", {"state": "degraded", "sentence": behind})
    standby.start()


def test_the_metrics_say_whether_the_replica_is_there_and_how_old_what_it_shows_is(standby, yard, client):
    def told() -> dict[str, float]:
        lines = client.get("/metrics").content.decode().splitlines()
        pairs = (line.split(" ") for line in lines if line.startswith("vineyard_replica_"))
        return {name: float(value) for name, value in pairs}

    yard.weigh()
    standby.catch_up()
    assert told() == {"vineyard_replica_up": 1.0, "vineyard_replica_lag_seconds": 0.0}
    standby.pause()
    yard.weigh()
    lagging = told()
    assert lagging["vineyard_replica_up"] == 1.0
    assert lagging["vineyard_replica_lag_seconds"] > 0.0
    standby.resume()
    standby.catch_up()
    standby.kill()
    assert told() == {"vineyard_replica_up": 0.0}
    standby.start()
