"""People and farms that are really stored, so that a service in processes of its own sees them."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import transaction


@pytest.fixture
def founding(transactional_db: None) -> Any:
    """Open the transaction in which the cast is founded, as a request would."""
    opened = transaction.atomic()
    opened.__enter__()
    return opened


@pytest.fixture
def players(founding: Any, cast: Any) -> Any:
    """The cast, stored for every process to see."""
    founding.__exit__(None, None, None)
    return cast
