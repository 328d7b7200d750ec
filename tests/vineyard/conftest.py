"""People and farms that are really stored, so that a service in processes of its own sees them."""

from __future__ import annotations

from typing import Any

import pytest


@pytest.fixture
def players(transactional_db: None, cast: Any) -> Any:
    """The cast, stored for every process to see."""
    return cast
