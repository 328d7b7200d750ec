"""Is the process alive, and is it ready to serve: for whoever starts and watches it."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any, Final

import redis
from django.conf import settings
from django.db import Error, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views.decorators.http import require_safe

from vineyard.api.answers import problem_response
from vineyard.api.problems import KINDS

log = logging.getLogger("vineyard.health")


@require_safe
def livez(request: HttpRequest) -> HttpResponse:  # noqa: ARG001
    """Answer that the process is alive; it asks nothing of anybody."""
    return JsonResponse({"status": "alive"})


@require_safe
def readyz(request: HttpRequest) -> HttpResponse:
    """Answer whether requests can be served, and if not, which part is away."""
    away = [name for name, check in CHECKS.items() if not _holds(name, check)]
    if not away:
        return JsonResponse({"status": "ready", "checks": dict.fromkeys(CHECKS, "ok")})
    states = {name: "away" if name in away else "ok" for name in CHECKS}
    detail = f"Not ready: {', '.join(away)}."
    response = problem_response(request, KINDS["unavailable"], detail, checks=states)
    response["Retry-After"] = "5"
    return response


def _holds(name: str, check: Callable[[], Any]) -> bool:
    try:
        check()
    except (Error, redis.RedisError, NotMigrated) as error:
        log.warning("not ready: %s (%s)", name, type(error).__name__)
        return False
    return True


class NotMigrated(Exception):
    """The database lacks a migration of this version."""


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
        raise NotMigrated
    _MIGRATED.append(True)


def broker_answers() -> None:
    """Ping Valkey."""
    client = broker_client()
    try:
        client.ping()
    finally:
        client.close()


def broker_client() -> redis.Redis:
    """Give a client of the broker's server; ``redis+socket://`` is Celery's way to write a socket's path."""
    address = settings.BROKER_URL
    if address.startswith("redis+socket://"):
        path, _, query = address.removeprefix("redis+socket://").partition("?")
        number = query.partition("virtual_host=")[2] or "0"
        address = f"unix://{path}?db={number}"
    return redis.Redis.from_url(address, socket_timeout=2, socket_connect_timeout=2)


_MIGRATED: list[bool] = []
CHECKS: Final[dict[str, Callable[[], None]]] = {
    "database": database_answers,
    "migrations": migrations_are_applied,
    "broker": broker_answers,
}
