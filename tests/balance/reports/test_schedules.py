"""A report every year: asked for on its day, once, in the name of whoever wished for it, and as long as they may."""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.db import transaction
from django.db.models.functions import Now

from balance.models import Report, ReportSchedule
from balance.reports.schedules import next_day, season_over_on
from records.access import enter, open_farm, open_for_work
from records.models import Farm, Job, JobTicket
from records.services import jobs
from records.services.consents import Adviser, Asked, consents_of, give_consent, withdraw_consent
from records.waking import wake

WHENEVER = {"If-Match": "*"}


class Wishes:
    """The schedules of one person, and what comes of them."""

    def __init__(self, desk: Any, player: Any) -> None:
        self.desk, self.player, self.farm = desk, player, desk.cast.farm
        self.url = f"{desk.yard.url}/report-schedules"

    def wish(self, **said: Any) -> Any:
        return self.player.client.post(self.url, {"units": "metric", **said}, format="json")

    def at(self, schedule: Any) -> str:
        return f"{self.url}/{schedule['id']}"

    def shown(self, schedule: Any) -> Any:
        return self.player.client.get(self.at(schedule)).json()

    def change(self, schedule: Any, **said: Any) -> Any:
        return self.player.client.patch(self.at(schedule), said, format="json", headers=WHENEVER)

    def jobs(self, **columns: Any) -> list[Job]:
        with transaction.atomic():
            open_for_work(self.farm.pk)
            return list(Job.objects.for_farm(self.farm).filter(**columns).order_by("id"))

    def alarm(self, schedule: Any) -> uuid.UUID:
        with transaction.atomic():
            open_for_work(self.farm.pk)
            job: uuid.UUID = ReportSchedule.objects.for_farm(self.farm).get(pk=schedule["id"]).job_id
            return job

    def let_the_day_come(self, job: uuid.UUID) -> None:
        JobTicket.objects.filter(job_id=job).update(leased_until=Now() - timedelta(seconds=1))
        jobs.run(self.farm.pk, job)

    def reports(self) -> list[Report]:
        with transaction.atomic():
            open_for_work(self.farm.pk)
            found = Report.objects.for_farm(self.farm).select_related("job__asked_by").defer("document")
            return list(found.order_by("received_at", "id"))


@pytest.fixture
def viewer(desk: Any) -> Wishes:
    return Wishes(desk, desk.cast.viewer)


def on(day: str) -> Any:
    return time_machine.travel(datetime.fromisoformat(day), tick=False)


@pytest.mark.parametrize(
    ("hemisphere", "day", "season"),
    [("north", date(2026, 12, 1), 2026), ("north", date(2026, 11, 1), 2026), ("north", date(2026, 10, 31), 2025),
     ("north", date(2027, 3, 1), 2026), ("south", date(2027, 6, 1), 2027), ("south", date(2027, 4, 30), 2026),
     ("south", date(2026, 12, 1), 2026)],
)  # fmt: skip
def test_the_season_that_is_over_on_a_day_is_the_one_before_the_winter_or_summer_that_it_lies_in(
    hemisphere, day, season
):
    assert season_over_on(Farm(hemisphere=hemisphere), day) == season


@pytest.mark.parametrize(
    ("zone", "now", "day"),
    [("America/New_York", datetime(2026, 12, 1, 10, 59, tzinfo=UTC), date(2026, 12, 1)),
     ("America/New_York", datetime(2026, 12, 1, 11, 0, tzinfo=UTC), date(2027, 12, 1)),
     ("Pacific/Auckland", datetime(2026, 11, 30, 16, 59, tzinfo=UTC), date(2026, 12, 1)),
     ("Pacific/Auckland", datetime(2026, 11, 30, 17, 1, tzinfo=UTC), date(2027, 12, 1))],
)  # fmt: skip
def test_the_day_is_the_farms_own_and_its_hour_is_six_in_the_morning_there(zone, now, day):
    assert next_day(Farm(time_zone=zone), 12, 1, now) == day


def test_without_a_day_it_is_the_one_after_the_seasons_end_in_the_farms_hemisphere(viewer, desk):
    with on("2026-11-20T12:00:00+00:00"):
        made = viewer.wish()
    said = made.json()
    assert (made.status_code, said["month"], said["day"], said["next_on"]) == (201, 12, 1, "2026-12-01")
    assert (said["by_email"], said["ended_because"]) == (True, "")
    assert made.headers["ETag"] == '"1"'
    with transaction.atomic():
        open_for_work(viewer.farm.pk)
        Farm.objects.filter(pk=viewer.farm.pk).update(hemisphere="south")
    with on("2026-11-20T12:00:00+00:00"):
        assert Wishes(desk, desk.cast.owner).wish().json()["next_on"] == "2027-06-01"


def test_nothing_is_made_before_the_day(viewer):
    schedule = viewer.wish().json()
    jobs.run(viewer.farm.pk, viewer.alarm(schedule))
    assert jobs.sweep() == 0
    assert viewer.reports() == []


def test_on_the_day_the_report_of_the_season_that_is_over_is_asked_for_and_the_next_year_is_noted(viewer):
    with on("2026-11-20T12:00:00+00:00"):
        schedule = viewer.wish(month=11, day=25, units="us").json()
    first = viewer.alarm(schedule)
    with on("2026-11-25T11:00:01+00:00"):
        viewer.let_the_day_come(first)
    (report,) = viewer.reports()
    assert (report.season, report.units, report.scheduled) == (2026, "us", True)
    assert (report.job.kind, report.job.asked_by) == ("season_report", viewer.player.person)
    shown = viewer.shown(schedule)
    assert (shown["next_on"], shown["version"]) == ("2027-11-25", 2)
    second = viewer.alarm(schedule)
    assert second != first
    ticket = JobTicket.objects.get(job_id=second)
    assert ticket.leased_until == datetime(2027, 11, 25, 11, tzinfo=UTC)
    jobs.run(viewer.farm.pk, report.job_id)
    made = viewer.player.client.get(f"{viewer.desk.url}/{report.pk}").json()
    assert (made["state"], made["scheduled"]) == ("succeeded", True)


def test_a_worker_killed_before_it_could_say_that_it_asked_leads_to_no_second_report(viewer):
    """The job is carried out again: its schedule names the next one already."""
    schedule = viewer.wish(month=1, day=1).json()
    first = viewer.alarm(schedule)
    for _ in jobs.KINDS["scheduled_report"](viewer.farm.pk, first):
        break
    viewer.let_the_day_come(first)
    assert len(viewer.reports()) == 1
    assert len(viewer.jobs(kind="scheduled_report", state="queued")) == 1


def test_a_late_clock_does_not_find_the_same_day_again(viewer):
    with on("2026-11-20T12:00:00+00:00"):
        schedule = viewer.wish(month=11, day=25).json()
    with on("2026-11-25T09:00:00+00:00"):  # two hours late, by this worker's clock alone
        viewer.let_the_day_come(viewer.alarm(schedule))
    assert viewer.shown(schedule)["next_on"] == "2027-11-25"


def test_a_service_that_was_away_for_two_years_makes_one_report_and_goes_on_from_today(viewer):
    with on("2026-11-20T12:00:00+00:00"):
        schedule = viewer.wish(month=11, day=25).json()
    with on("2028-12-24T12:00:00+00:00"):
        viewer.let_the_day_come(viewer.alarm(schedule))
    assert [report.season for report in viewer.reports()] == [2026]
    assert viewer.shown(schedule)["next_on"] == "2029-11-25"


def test_a_report_that_somebody_else_has_made_at_this_moment_is_not_taken_for_the_scheduled_one(viewer):
    with on("2026-11-20T12:00:00+00:00"):
        schedule = viewer.wish(month=11, day=25).json()
    assert viewer.desk.ask(season=2026).status_code == 202
    viewer.let_the_day_come(viewer.alarm(schedule))
    assert [report.scheduled for report in viewer.reports()] == [False, True]


@pytest.mark.parametrize("ends", ["another day", "removed"])
def test_a_schedule_that_was_changed_or_removed_leaves_its_waiting_job_nothing_to_do(ends, viewer):
    schedule = viewer.wish(month=1, day=1).json()
    first = viewer.alarm(schedule)
    if ends == "removed":
        gone = viewer.player.client.delete(viewer.at(schedule), headers=WHENEVER)
        assert gone.status_code == 204
    else:
        assert viewer.change(schedule, day=2).json()["day"] == 2
        assert viewer.alarm(schedule) != first
    viewer.let_the_day_come(first)
    assert viewer.reports() == []
    assert [job.state for job in viewer.jobs(pk=first)] == ["cancelled"]
    assert JobTicket.objects.count() == (0 if ends == "removed" else 1)


def test_a_job_that_a_worker_holds_while_the_schedule_is_changed_does_nothing(viewer):
    schedule = viewer.wish(month=1, day=1).json()
    first = viewer.alarm(schedule)
    JobTicket.objects.update(leased_until=Now() + timedelta(seconds=20))
    with transaction.atomic():
        open_for_work(viewer.farm.pk)
        Job.objects.for_farm(viewer.farm).filter(pk=first).update(state="running", attempts=1)
    viewer.change(schedule, day=2)
    assert list(jobs.KINDS["scheduled_report"](viewer.farm.pk, first)) == [(1, 1)]
    assert viewer.reports() == []


def test_units_and_the_wish_to_be_told_change_and_the_alarm_stays(viewer):
    schedule = viewer.wish(month=1, day=1).json()
    first = viewer.alarm(schedule)
    changed = viewer.change(schedule, units="us", by_email=False)
    assert (changed.json()["units"], changed.json()["by_email"], changed.headers["ETag"]) == ("us", False, '"2"')
    assert viewer.alarm(schedule) == first
    viewer.let_the_day_come(first)
    assert [report.units for report in viewer.reports()] == ["us"]


def test_a_consent_that_is_withdrawn_ends_the_schedule_and_one_that_is_given_anew_lets_it_be_set_going(desk):
    adviser = Wishes(desk, desk.cast.adviser)
    schedule = adviser.wish(month=1, day=1).json()
    with transaction.atomic():
        owner = desk.cast.owner.caller
        enter(owner)
        opened = open_farm(owner, adviser.farm.pk)
        withdraw_consent(opened, consents_of(opened).get().pk, version=None)
    adviser.let_the_day_come(adviser.alarm(schedule))
    assert adviser.reports() == []
    assert JobTicket.objects.count() == 0, "no further year is noted"
    with transaction.atomic():
        enter(owner)
        person = adviser.player.person
        asked = Asked(
            purpose="advice", text_version="advice@1", adviser=Adviser(person.email, person.name), rights=("read",)
        )
        give_consent(open_farm(owner, adviser.farm.pk), None, asked)
    ended = adviser.shown(schedule)
    assert (ended["next_on"], "no longer has the right" in ended["ended_because"]) == (None, True)
    going = adviser.change(schedule, day=1).json()
    assert (bool(going["next_on"]), going["ended_because"], going["version"]) == (True, "", 2)
    adviser.let_the_day_come(adviser.alarm(schedule))
    assert len(adviser.reports()) == 1


def test_one_person_has_one_schedule_on_a_farm_and_the_same_wish_again_is_the_same(viewer):
    sent = {"id": str(uuid.uuid4()), "month": 12, "day": 5}
    first, again = viewer.wish(**sent), viewer.wish(**sent)
    assert (first.status_code, again.status_code, again.json()) == (201, 200, first.json())
    other = viewer.wish(month=12, day=6)
    assert (other.status_code, other.json()["current"]["id"]) == (409, sent["id"])
    assert len(viewer.jobs(kind="scheduled_report")) == 1
    assert JobTicket.objects.count() == 1


def test_nobody_sees_or_moves_the_schedule_of_another(viewer, desk):
    schedule = viewer.wish().json()
    owner = Wishes(desk, desk.cast.owner)
    assert owner.player.client.get(owner.url).json()["results"] == []
    assert [answer.status_code for answer in (
        owner.player.client.get(owner.at(schedule)), owner.change(schedule, day=3),
        owner.player.client.delete(owner.at(schedule), headers=WHENEVER),
    )] == [404, 404, 404]  # fmt: skip
    refused = owner.wish(id=schedule["id"])
    assert (refused.status_code, refused.json().get("current")) == (409, None)
    assert [row["id"] for row in viewer.player.client.get(viewer.url).json()["results"]] == [schedule["id"]]


def test_a_change_says_which_version_it_knows(viewer):
    schedule = viewer.wish().json()
    client, place = viewer.player.client, viewer.at(schedule)
    assert client.patch(place, {"day": 3}, format="json").status_code == 428
    assert client.delete(place).status_code == 428
    assert client.delete(place, headers={"If-Match": '"7"'}).status_code == 412
    assert client.patch(place, {"day": 3}, format="json", headers={"If-Match": '"7"'}).status_code == 412
    for _ in range(2):  # the second is the first again, whose answer was lost
        changed = client.patch(place, {"day": 3}, format="json", headers={"If-Match": '"1"'})
        assert (changed.status_code, changed.headers["ETag"]) == (200, '"2"')
    assert len(viewer.jobs(kind="scheduled_report", state="queued")) == 1


@pytest.mark.parametrize(
    ("said", "status"),
    [({"month": 12}, 422), ({"day": 3}, 422), ({"month": 2, "day": 29}, 400), ({"month": 13, "day": 1}, 400),
     ({"month": 0, "day": 1}, 400), ({"month": "12", "day": 1}, 400), ({"units": "furlongs"}, 400),
     ({"every": "week"}, 400), ({"month": 1e300, "day": 1}, 422), ({"by_email": "yes"}, 400)],
)  # fmt: skip
def test_what_is_no_day_of_every_year_is_refused(said, status, viewer):
    assert viewer.wish(**said).status_code == status


def test_the_job_of_a_schedule_is_the_services_own(viewer):
    job = viewer.alarm(viewer.wish().json())
    refused = viewer.player.client.post(f"{viewer.desk.yard.url}/jobs/{job}/cancellation")
    assert (refused.status_code, "Change or delete the schedule" in refused.json()["detail"]) == (409, True)
    wake(viewer.farm.pk, job)
    assert viewer.reports() == []
