"""What tests of records share."""

from __future__ import annotations

from typing import Any

import pytest


@pytest.fixture
def desk(cast: Any) -> Any:
    """Give the desk at which files of vines are handed in."""
    from tests.records.desk import Desk  # not before Django is set up

    return Desk(cast)


@pytest.fixture
def office(desk: Any) -> Any:
    """Give the desk with a block of twenty vines in two rows, and the worker who may record and not plant."""
    from tests.records.office import furnished  # not before Django is set up

    return furnished(desk)
