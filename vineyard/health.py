"""Is the process alive, is it ready to serve, what has it counted: for whoever starts and watches it.

*Unready* (503) means that requests would fail, so none should come here: the database is away, lacks a migration, or
is reached as a role that the walls do not hold.  *Degraded* (200) means that requests are answered and stored while
the work behind them waits: the broker, the scheduler or the worker is away, or a job waits too long.  A service that
was taken away for that would lose the writes, too.
"""

from __future__ import annotations

import hmac
import ipaddress
import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

import redis
from django.conf import settings
from django.db import Error, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views.decorators.http import require_safe
from prometheus_client.exposition import CONTENT_TYPE_PLAIN_0_0_4

from balance.summaries import replica
from vineyard import heartbeat
from vineyard.api.answers import problem_response
from vineyard.api.problems import KINDS
from vineyard.database_role import UnsafeRole, refuse_unsafe_role
from vineyard.metrics import exposition
from vineyard.present_state import queue_now

log = logging.getLogger("vineyard.health")

#: A proxy adds them: then the peer says nothing about who asks.
_OF_A_PROXY: Final = {"X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "X-Real-Ip", "Forwarded", "Via"}


@require_safe
def livez(request: HttpRequest) -> HttpResponse:  # noqa: ARG001
    """Answer that the process is alive; it asks nothing of anybody."""
    return JsonResponse({"status": "alive"})


@require_safe
def readyz(request: HttpRequest) -> HttpResponse:
    """Answer whether requests can be served, and say of each part how it is."""
    looks = {**CHECKS, **(OF_THE_REPLICA if replica.is_set() else {})}
    told = {name: check.look(name) for name, check in looks.items()}
    checks = {name: {"state": state, "sentence": sentence} for name, (state, sentence) in told.items()}
    failing = [sentence for state, sentence in told.values() if state == "away"]
    if failing:
        detail = f"Not ready. {' '.join(dict.fromkeys(failing))}"
        response = problem_response(request, KINDS["unavailable"], detail, checks=checks)
        response["Retry-After"] = "5"
        return response
    degraded = any(state != "ok" for state, _ in told.values())
    return JsonResponse({"status": "degraded" if degraded else "ready", "checks": checks})


@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Give what was counted to whoever may read it; to everybody else there is nothing here."""
    if not _may_read_metrics(request):
        return problem_response(request, KINDS["not_found"], "There is nothing at this address.")
    return HttpResponse(exposition(), content_type=CONTENT_TYPE_PLAIN_0_0_4, headers={"Cache-Control": "no-store"})


def _may_read_metrics(request: HttpRequest) -> bool:
    """Ask for the token; where none is set, the caller must be on this machine, and no proxy between."""
    if settings.METRICS_TOKEN:
        sent = request.headers.get("Authorization", "").partition(" ")[2].strip()
        return hmac.compare_digest(sent.encode(), settings.METRICS_TOKEN.encode())
    if settings.PUBLIC_URL.startswith("https://") or _OF_A_PROXY & set(request.headers):
        return False
    try:
        return ipaddress.ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback
    except ValueError:
        return False


NO_DATABASE: Final = "The database does not answer."
NO_BROKER: Final = "The broker does not answer: records are taken and answered, background work waits."


class Away(Exception):
    """A part that is looked at is not as it must be."""


@dataclass(frozen=True)
class Check:
    """A look at one part: what it says when all is well and when not, and whether requests fail without it.

    The sentence is for strangers, too: it names no host, role, table or number.
    """

    look_at: Callable[[], None]
    well: str
    otherwise: str
    state_otherwise: str = "away"

    def look(self, name: str) -> tuple[str, str]:
        """Give state and sentence."""
        state, sentence, reason = self._seen()
        if _LAST.get(name, "ok") != state:  # whoever watches asks every few seconds; the change is what is news
            log.warning("%s is %s%s", name, state, reason)
        _LAST[name] = state
        return state, sentence

    def _seen(self) -> tuple[str, str, str]:
        try:
            self.look_at()
        except (UnsafeRole, Away):
            return self.state_otherwise, self.otherwise, ""
        except Error as error:
            return self.state_otherwise, NO_DATABASE, f" ({type(error).__name__})"
        except redis.RedisError as error:
            return self.state_otherwise, NO_BROKER, f" ({type(error).__name__})"
        return "ok", self.well, ""


def database_answers() -> None:
    """Ask the database the least that it can be asked."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")


def migrations_are_applied() -> None:
    """Compare the applied migrations with those of this version; once they fit, they are not asked again."""
    if _MIGRATED:
        return
    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        raise Away
    _MIGRATED.append(True)


def broker_answers() -> None:
    """Ping Valkey."""
    client = heartbeat.broker_client()
    try:
        client.ping()
    finally:
        client.close()


def no_job_waits_too_long() -> None:
    """Compare the age of the oldest waiting job with the limit of the settings."""
    if queue_now().oldest_seconds > settings.OLDEST_JOB_SECONDS:
        raise Away


def replica_is_near() -> None:
    """Look whether the replica answers, and how old what it shows is."""
    standing = replica.standing_if_any()
    if standing is None or not standing.is_within(timedelta(seconds=settings.SUMMARIES_MAY_LAG_SECONDS)):
        raise Away


def is_heard_of(part: str) -> Callable[[], None]:
    """Give a look at the signs of life of scheduler or worker."""

    def look() -> None:
        if not heartbeat.heard_of(part):
            raise Away

    return look


_MIGRATED: list[bool] = []
_LAST: Final[dict[str, str]] = {}
CHECKS: Final[dict[str, Check]] = {
    "database": Check(database_answers, "The database answers.", NO_DATABASE),
    "migrations": Check(
        migrations_are_applied,
        "The database fits this version.",
        "The database does not fit this version: a migration is missing.",
    ),
    "role": Check(
        refuse_unsafe_role,
        "The walls between farms hold for the service itself.",
        "The walls between farms do not hold for the service itself: no record is served.",
    ),
    "broker": Check(
        broker_answers,
        "The broker answers.",
        NO_BROKER,
        "degraded",
    ),
    "queue": Check(
        no_job_waits_too_long,
        "No job waits too long.",
        "A job waits for longer than it should: is a worker running?",
        "degraded",
    ),
    "scheduler": Check(
        is_heard_of("scheduler"),
        "The scheduler is at work.",
        "Nothing was heard of the scheduler for a minute: jobs whose worker died are not woken again.",
        "degraded",
    ),
    "worker": Check(
        is_heard_of("worker"),
        "A worker is at work.",
        "Nothing was heard of a worker for a minute: background work waits.",
        "degraded",
    ),
}
#: Looked at only where the service has one.
OF_THE_REPLICA: Final[dict[str, Check]] = {
    "replica": Check(
        replica_is_near,
        "The replica is near the present.",
        "The replica is away or too far behind: summaries are read from the primary.",
        "degraded",
    ),
}
