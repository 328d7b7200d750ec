"""What was seen on a vine in the evening happened on that day of the farm, though UTC has the next one already."""

from __future__ import annotations

import uuid
from datetime import date

import pytest

from records.kinds.definitions import VINE_EVENT
from tests.balance.cordons.test_cases import Cases
from tests.balance.cordons.test_proposals import Failing
from tests.balance.summaries.test_attention import on
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db
#: On the farm, in New York, it is still the 10th of January.
EVENING = "2026-01-10T20:30:00-05:00"


@pytest.fixture
def yard(cast) -> Yard:
    """A yard whose first vine was replanted on an evening; the day itself was not written down."""
    yard = Yard(cast)
    told = {"id": str(uuid.uuid4()), "vine": str(yard.vines[0].pk), "event": "replanted", "observed_at": EVENING}
    answer = yard.post(VINE_EVENT, told)
    assert answer.status_code == 201, answer.json()
    return yard


def test_a_cordon_looked_at_on_that_day_is_one_of_the_new_plant(yard, cast):
    failing = Failing(yard, cast.owner)
    failing.set(fewest_living_positions=4)
    failing.look("2026-01-10", living_positions=2, blank_positions=2)
    assert failing.told() == [(1, "left", ["few_positions"])]
    now = yard.client.get(f"{yard.url}/cordon-capacity?season=2026").json()["lost_now"]
    assert (now["cordons"], now["measured"], now["blank"]["value"]) == (1, 1, 50)


def test_a_case_noticed_on_that_day_asks_for_work(yard, cast, monkeypatch):
    assert Cases(yard).open(noticed_on="2026-01-10").status_code == 201
    told = yard.client.get(f"{yard.url}/cordon-worklist?season=2026&part_of_year=summer").json()
    assert (told["count"], told["without_a_vine"]) == (1, 0)
    on(monkeypatch, date(2026, 7, 1))
    notices = cast.owner.client.get(f"{yard.url}/attention").json()["results"]
    assert "cordons_due" in {each["code"] for each in notices}
