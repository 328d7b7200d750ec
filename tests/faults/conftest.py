"""One service for all tests of faults, and a farm for each."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.ground import Ground, make_ground
from tests.faults.proxy import ReplyEater, eating_replies
from tests.faults.service import Service
from tests.prepared import give_tables


@pytest.fixture(scope="session")
def service() -> Iterator[Service]:
    base = Path(tempfile.mkdtemp(prefix="vineyard-faults-"))
    base.chmod(0o755)  # the database's user enters it
    give_tables(base)
    started = Service(base)
    try:
        started.start()
        yield started
    finally:
        started.stop()
        shutil.rmtree(base, ignore_errors=True)


@pytest.fixture
def ground(service: Service) -> Ground:
    return make_ground(service.phone())


@pytest.fixture
def eater(service: Service) -> Iterator[ReplyEater]:
    with eating_replies(service.listening.port) as proxy:
        yield proxy
