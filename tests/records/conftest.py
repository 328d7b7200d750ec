"""What tests of records share."""

from __future__ import annotations

from typing import Any

import pytest


@pytest.fixture
def desk(cast: Any) -> Any:
    """Give the desk at which files of vines are handed in."""
    from tests.records.desk import Desk  # not before Django is set up

    return Desk(cast)
