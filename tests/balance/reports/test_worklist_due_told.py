"""Receivers are told once when a winter or summer begins in which cases of cordons ask for work."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.db import transaction
from standardwebhooks import Webhook

from balance.reports.webhooks.alarms import WORKLIST
from records.access import enter, open_for_work
from records.models import Farm, Job, JobTicket
from records.services import jobs
from records.services.farms import create_farm
from tests.balance.cordons.test_cases import Cases
from tests.balance.cordons.test_proposals import Failing
from tests.balance.reports.listening import Listening, going_wrong
from tests.balance.reports.receiver import let_in, work
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db(transaction=True)
EVENT = "worklist.due"
#: Of the invented farm, which keeps the clock of New York.
IN_SUMMER, WINTER_BEGINS = datetime(2026, 9, 10, 12, tzinfo=UTC), datetime(2026, 11, 1, 11, tzinfo=UTC)
SUMMER_BEGINS, NEXT_WINTER = datetime(2027, 5, 1, 10, tzinfo=UTC), datetime(2027, 11, 1, 10, tzinfo=UTC)


@pytest.fixture
def receiver(tmp_path, settings):
    with let_in(tmp_path, settings) as receiver:
        yield receiver


@pytest.fixture
def farm(cast, receiver) -> Listening:
    return Listening(cast, receiver)


@pytest.fixture
def cases(cast) -> Cases:
    with transaction.atomic():
        return Cases(Yard(cast))


@pytest.fixture
def due(cases: Cases) -> Cases:
    """A candidate was chosen in the summer of 2026: it is to be laid down in the winter."""
    case: dict[str, Any] = cases.open(noticed_on="2026-01-10").json()
    assert cases.move(case, "candidate_chosen", "2026-07-08").status_code == 201
    return cases


def listen(farm: Listening, *events: str) -> dict[str, Any]:
    with time_machine.travel(IN_SUMMER, tick=False):
        return farm.listen(*(events or (EVENT,)))


def come(farm: Listening, day: datetime) -> int:
    """Let the day come: carry out what waits for a time that is over by then."""
    waiting = [job for job, due in farm.alarms(WORKLIST) if due <= day]
    with time_machine.travel(day, tick=False):
        for job in waiting:
            JobTicket.objects.filter(job_id=job).update(leased_until="2020-01-01T00:00:00Z")
            jobs.run(farm.farm.pk, job)
    return len(waiting)


def data(farm: Listening) -> list[dict[str, Any]]:
    """Send what waits, and give what the messages say."""
    return [message["data"] for message in farm.told()]


def test_when_the_winter_begins_and_cases_ask_for_work_it_is_told_in_a_signed_message(farm, due, receiver):
    endpoint = listen(farm)
    assert come(farm, WINTER_BEGINS) == 1
    farm.told()
    (message,) = receiver.received
    said = Webhook(endpoint["secret"]).verify(message.body, message.headers)
    assert said["type"] == EVENT
    assert said["data"] == {"farm": str(farm.farm.pk), "season": 2027, "part_of_year": "winter"}


def test_the_worklist_of_what_is_told_is_not_empty(farm, due):
    listen(farm)
    come(farm, WINTER_BEGINS)
    (said,) = data(farm)
    asked = f"season={said['season']}&part_of_year={said['part_of_year']}"
    assert due.yard.client.get(f"{due.yard.url}/cordon-worklist?{asked}").json()["count"] > 0


def test_the_job_waits_for_six_o_clock_on_the_farm_on_the_day_when_the_next_part_begins(farm):
    listen(farm)
    ((_, when),) = farm.alarms(WORKLIST)
    local = when.astimezone(ZoneInfo("America/New_York"))
    assert (local.month, local.day, local.hour) == (11, 1, 6)


def test_each_part_of_the_year_is_told_of_once_and_the_next_is_waited_for(farm, due):
    listen(farm)
    told = []
    for day in (WINTER_BEGINS, SUMMER_BEGINS, NEXT_WINTER):
        assert come(farm, day - timedelta(days=1)) == 0
        assert come(farm, day) == 1
        told.append(len(data(farm)))
    assert told[0] == 1
    assert told == sorted(told)
    assert {(said["season"], said["part_of_year"]) for said in data(farm)} >= {(2027, "winter"), (2028, "winter")}
    assert len(data(farm)) == len({(said["season"], said["part_of_year"]) for said in data(farm)})


def test_a_farm_with_nothing_due_is_told_nothing_and_looked_at_again_when_the_next_part_begins(farm, cases):
    listen(farm)
    assert come(farm, WINTER_BEGINS) == 1
    assert data(farm) == []
    assert come(farm, SUMMER_BEGINS) == 1


def test_what_is_only_proposed_is_not_due(farm, cases, cast):
    """Thresholds propose replacements, which the worklist shows; nobody has decided on one."""
    failing = Failing(cases.yard, cast.owner)
    failing.set(fewest_living_positions=7)
    failing.look("2026-01-10", living_positions=0, blank_positions=10)
    shown = cases.yard.client.get(f"{cases.yard.url}/cordon-worklist?season=2027&part_of_year=winter").json()
    assert {row["task"] for row in shown["results"]} == {"decide"}
    listen(farm)
    come(farm, WINTER_BEGINS)
    assert data(farm) == []


def test_a_job_that_is_carried_out_twice_tells_once(farm, due):
    listen(farm)
    ((job, _),) = farm.alarms(WORKLIST)
    come(farm, WINTER_BEGINS)
    with time_machine.travel(WINTER_BEGINS, tick=False):
        for _ in jobs.KINDS[WORKLIST](farm.farm.pk, job):
            pass
    assert len(data(farm)) == 1
    assert len(farm.alarms(WORKLIST)) == 1


def test_two_receivers_share_one_job_and_each_is_told(farm, due):
    listen(farm)
    listen(farm)
    assert len(farm.alarms(WORKLIST)) == 1
    come(farm, WINTER_BEGINS)
    assert len(data(farm)) == 2


@pytest.mark.parametrize("end", ["removed", "unsubscribed", "switched off"])
def test_it_ends_with_the_last_receiver_that_wants_to_know(farm, due, end):
    first, last = listen(farm), listen(farm, EVENT, "report.ready")
    farm.remove(first)
    assert len(farm.alarms(WORKLIST)) == 1
    if end == "removed":
        farm.remove(last)
    elif end == "unsubscribed":
        farm.change(last, events=["report.ready"])
    else:
        farm.change(last, enabled=False)
    assert farm.alarms(WORKLIST) == []
    with transaction.atomic():
        open_for_work(farm.farm.pk)
        assert [job.state for job in Job.objects.for_farm(farm.farm).filter(kind=WORKLIST)] == ["cancelled"]


def test_who_wants_to_know_again_is_told_again(farm, due):
    endpoint = listen(farm)
    farm.change(endpoint, enabled=False)
    with time_machine.travel(IN_SUMMER, tick=False):
        farm.change(endpoint, enabled=True)
    assert come(farm, WINTER_BEGINS) == 1
    assert len(data(farm)) == 1


def test_a_receiver_whose_maker_may_no_longer_manage_the_farm_is_told_nothing(farm, due, cast):
    from records.context import set_context
    from records.models import Membership

    listen(farm)
    with transaction.atomic():
        set_context(farms=[farm.farm.pk])
        Membership.objects.for_farm(farm.farm).filter(person=cast.owner.person).update(role="viewer")
    assert come(farm, WINTER_BEGINS) == 1
    assert work(farm.farm) == 0
    assert farm.receiver.received == []


def test_a_farm_in_the_south_is_told_in_may_of_its_winter(cast, farm):
    with transaction.atomic():
        enter(cast.owner.caller)
        columns = {"name": "South Slope", "hemisphere": "south", "time_zone": "Australia/Adelaide"}
        cast.farm, _ = create_farm(cast.owner.caller, None, columns)
    southern = Listening(cast, farm.receiver)
    listen(southern)
    ((_, when),) = southern.alarms(WORKLIST)
    local = when.astimezone(ZoneInfo("Australia/Adelaide"))
    assert (local.month, local.day, local.hour) == (11, 1, 6)  # its summer, of the harvest of 2027
    assert come(southern, when) == 1
    ((_, when),) = southern.alarms(WORKLIST)
    assert when.astimezone(ZoneInfo("Australia/Adelaide")).month == 5


def test_a_farm_that_moves_its_clock_is_told_on_its_own_day(farm, due):
    """The job was noted for the old clock, on which it is November three hours before it is on the new one."""
    listen(farm)
    with transaction.atomic():
        open_for_work(farm.farm.pk)
        Farm.objects.filter(pk=farm.farm.pk).update(time_zone="Pacific/Honolulu")
    early = WINTER_BEGINS - timedelta(hours=2)
    ((job, _),) = farm.alarms(WORKLIST)
    with time_machine.travel(early, tick=False):
        JobTicket.objects.filter(job_id=job).update(leased_until="2020-01-01T00:00:00Z")
        jobs.run(farm.farm.pk, job)
    ((_, when),) = farm.alarms(WORKLIST)
    assert when.astimezone(ZoneInfo("Pacific/Honolulu")).hour == 6
    assert come(farm, when) == 1
    assert {"season": 2027, "part_of_year": "winter"}.items() <= data(farm)[-1].items()


def test_a_job_that_comes_to_no_end_is_tried_again_later(farm, due, monkeypatch):
    listen(farm)

    ((job, _),) = farm.alarms(WORKLIST)
    with monkeypatch.context() as broken:
        broken.setitem(jobs.KINDS, WORKLIST, going_wrong)
        for _ in range(jobs.MOST_ATTEMPTS):
            JobTicket.objects.filter(job_id=job).update(leased_until="2020-01-01T00:00:00Z")
            with pytest.raises(RuntimeError):
                jobs.run(farm.farm.pk, job)
    ((another, _),) = farm.alarms(WORKLIST)
    assert another != job
    JobTicket.objects.filter(job_id=another).update(leased_until="2020-01-01T00:00:00Z")
    with time_machine.travel(WINTER_BEGINS, tick=False):
        jobs.run(farm.farm.pk, another)
    assert len(data(farm)) == 1
