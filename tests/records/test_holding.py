"""A farm that is erased while somebody's request is under way is gone for that request too: 404, never a fault of ours."""

from __future__ import annotations

import uuid
from dataclasses import replace

import pytest

from records.access import enter, open_farm
from records.errors import NotFound
from records.models import Farm
from records.services.exports import ask_for_export
from records.services.farms import change_farm
from records.services.members import add_member

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "work",
    [
        ask_for_export,
        lambda opened: change_farm(opened, {"region": "Harrow Vale (invented)"}, version=None),
        lambda opened: add_member(opened, email="new@harrow-vale.example", name="Lio Bram", role="viewer"),
    ],
    ids=["export", "change", "member"],
)
def test_work_on_a_farm_that_was_erased_meanwhile_finds_nothing(work, cast):
    enter(cast.owner.caller)
    opened = open_farm(cast.owner.caller, cast.farm.pk)
    with pytest.raises(NotFound):
        work(replace(opened, farm=Farm(pk=uuid.uuid4(), name=opened.farm.name)))
