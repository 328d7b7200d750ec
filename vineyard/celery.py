"""The Celery application; it does not come up as a role that could look over the walls."""

from __future__ import annotations

import os
import sys
from typing import Any

from celery import Celery
from celery.signals import worker_init

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "vineyard.settings")
app = Celery("vineyard")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@worker_init.connect
def refuse_unsafe(**_: Any) -> None:
    """Stop the start of a worker whose role the walls do not hold."""
    from vineyard.database_role import UnsafeRole, refuse_unsafe_role  # noqa: PLC0415 - needs Django set up

    try:
        refuse_unsafe_role()
    except UnsafeRole as refusal:
        sys.exit(str(refusal))
