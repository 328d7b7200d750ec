"""What the tests of reports share; nothing of the service is imported before Django is set up."""

from __future__ import annotations

from typing import Any

import pytest


@pytest.fixture
def desk(transactional_db: None, cast: Any) -> Any:
    """Whoever asks for reports of a farm with one block and its vines."""
    from django.db import transaction

    from tests.balance.reports.desk import Desk
    from tests.records.yard import Yard

    with transaction.atomic():
        yard = Yard(cast)
    return Desk(yard, cast)
