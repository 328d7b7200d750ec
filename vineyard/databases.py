"""How the service is connected to PostgreSQL: to the primary, and to a replica where it has one."""

from __future__ import annotations

from typing import Any

from psycopg import IsolationLevel

from vineyard.env import Database


def primary_at(address: Database, statement_timeout_ms: int) -> dict[str, Any]:
    """Give Django's settings for the database that serves."""
    return {
        "ENGINE": "django.db.backends.postgresql",
        **address.as_django(),
        # Each of API_THREADS keeps one connection, so there are never more than processes × threads of them.  A pool
        # would give no other bound here, because no thread ever waits for a client (vineyard/front.py); it would cost
        # a hand-over on every request, and psycopg's waits longer and longer before it tries a database again.
        "CONN_MAX_AGE": 600,
        "CONN_HEALTH_CHECKS": True,
        # Row-level security reads the farm from the transaction, so every request is one transaction.
        "ATOMIC_REQUESTS": True,
        "OPTIONS": {
            "connect_timeout": 2,
            # Only what records/planned.py asks is kept by a connection; Django's own statements never are.
            "prepare_threshold": 5,
            "application_name": "vineyard",
            "options": (
                f"-c statement_timeout={statement_timeout_ms} -c lock_timeout=3000 "
                "-c idle_in_transaction_session_timeout=30000"
            ),
        },
        "TEST": {"NAME": "vineyard_test"},
    }


def replica_at(address: Database, statement_timeout_ms: int) -> dict[str, Any]:
    """Give Django's settings for a standby that only summaries are read from."""
    return {
        "ENGINE": "django.db.backends.postgresql",
        **address.as_django(),
        "CONN_MAX_AGE": 600,  # looked at before each use: see balance/summaries/replica.py
        "OPTIONS": {
            "connect_timeout": 2,
            # A machine that is gone says nothing: what is not taken within two seconds never will be.
            "tcp_user_timeout": 2_000,
            "keepalives_idle": 2,
            "keepalives_interval": 1,
            "keepalives_count": 2,
            "application_name": "vineyard",
            "isolation_level": IsolationLevel.REPEATABLE_READ,  # a summary of many reads tells of one moment
            "options": (
                f"-c default_transaction_read_only=on -c statement_timeout={statement_timeout_ms} "
                "-c idle_in_transaction_session_timeout=30000"
            ),
        },
        "TEST": {"MIRROR": "default"},
    }
