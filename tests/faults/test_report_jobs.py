"""Reports while parts of the service are killed: each is made once and whole, or fails with a reason; none is lost."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import signal
import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import pytest

from balance.reports.rendering import FORMS
from tests.faults.service import Service, until
from tests.faults.workers import SEASON, Workers, let_the_lease_run_out, make_orchard, state_of

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]
#: trust.md B2: from the death of a worker to the report.
RECOVERED_WITHIN = 60
#: trust.md B4
ANSWERED_WITHIN = 2


@dataclass
class Office:
    """Whoever asks for the reports of one farm, and looks at what became of them."""

    service: Service
    url: str

    @property
    def farm(self) -> str:
        return self.url.rpartition("/")[2]

    def ask(self, units: str = "metric", season: int = SEASON) -> dict[str, Any]:
        """Ask under an id of its own, so that each is a report of its own."""
        sent = {"id": str(uuid.uuid4()), "season": season, "units": units}
        reply = self.service.phone().insist("POST", f"{self.url}/reports", sent)
        assert reply.status == 202, reply.content
        asked: dict[str, Any] = reply.json()
        return asked

    def over(self, job: str, within: float) -> str:
        """Wait until a job is over, whatever becomes of it."""
        until(lambda: state_of(self.service, job)[0] not in {"queued", "running"}, within, f"{job} is not over")
        return state_of(self.service, job)[0]

    def document(self, report: dict[str, Any]) -> dict[str, Any]:
        reply = self.service.phone().insist("GET", f"{self.url}/reports/{report['id']}/files/json")
        assert reply.status == 200, reply.content
        said: dict[str, Any] = json.loads(reply.content)
        return said

    def files(self, report: dict[str, Any]) -> list[tuple[str, int, str]]:
        rows = self.service.ask(
            "SELECT form, attempt, sha256 FROM report_file WHERE report_id = %s ORDER BY form", report["id"]
        )
        return [(form, attempt, sha256) for form, attempt, sha256 in rows]

    def attempts(self, report: dict[str, Any]) -> tuple[int, str]:
        ((attempts, failure),) = self.service.ask("SELECT attempts, failure FROM job WHERE id = %s", report["job"])
        return attempts, failure

    def is_made_once(self, report: dict[str, Any], attempt: int) -> dict[str, Any]:
        """Assert that there is one set of files, of one attempt, and that each is rendered from what the report says.

        Gives what it says, without the moment at which it was so.
        """
        document = self.document(report)
        rendered = [(form, attempt, sha256_of(each.render(document))) for form, each in FORMS.items()]
        assert self.files(report) == sorted(rendered)
        assert self.service.ask("SELECT attempt FROM report WHERE id = %s", report["id"]) == [(attempt,)]
        return {**document, "taken_at": "", "check_code": ""}


def sha256_of(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


@pytest.fixture(scope="module")
def office(service: Service) -> Office:
    return Office(service, make_orchard(service.phone()))


@pytest.fixture(scope="module")
def elsewhere(service: Service) -> Office:
    """Give another farm, on which small things are to be done, so that the reports of the first stay what they are."""
    return Office(service, make_orchard(service.phone(), blocks=1))


@pytest.fixture(scope="module")
def undisturbed(office: Office) -> dict[str, Any]:
    """Give what a report says that nobody disturbed."""
    report = office.ask()
    assert office.over(report["job"], 60) == "succeeded"
    return office.is_made_once(report, attempt=1)


@pytest.fixture
def workers(service: Service) -> Workers:
    return Workers(service)


def child_dies(workers: Workers, office: Office, job: str) -> None:
    with workers.held_in(job) as child:
        child.kill()
    let_the_lease_run_out(office.service, job)
    workers.wake(office.farm, job)


def backend_dies(workers: Workers, office: Office, job: str) -> None:
    """It carries the connection that holds the moment: every other one ends with it."""
    with workers.held_in(job):
        held = "SELECT pid FROM pg_stat_activity WHERE usename = 'vineyard_app' AND state = 'idle in transaction'"
        (backend, *_) = office.service.ask(f"{held} ORDER BY xact_start")
        os.kill(backend[0], signal.SIGKILL)
        until(lambda: office.service.phone().insist("GET", office.url).ok, 60, "the database did not come back")
    until(lambda: could(lambda: let_the_lease_run_out(office.service, job)), 60, "the database did not come back")
    workers.wake(office.farm, job)


def worker_dies(workers: Workers, _: Office, job: str) -> None:
    """Nobody helps: its lease runs out, and the sweeper wakes the one that is started in its place."""
    with workers.held_in(job):
        workers.kill()
    workers.start()


def could(do: Callable[[], object]) -> bool:
    try:
        do()
    except Exception:
        time.sleep(0.2)
        return False
    return True


@pytest.mark.parametrize("dies", [child_dies, backend_dies, worker_dies])
def test_a_report_in_the_middle_of_which_something_is_killed_is_made_once_and_says_the_same(
    dies, office, undisturbed, workers
):
    report = office.ask()
    dies(workers, office, report["job"])
    began = time.monotonic()
    assert office.over(report["job"], RECOVERED_WITHIN) == "succeeded"
    attempts, _ = office.attempts(report)
    assert attempts >= 2, "nothing was killed in the middle"
    print(f"{dies.__name__}: trials 1, fault hits {attempts - 1}, failures 0, after {time.monotonic() - began:.1f} s")
    assert office.is_made_once(report, attempt=attempts) == undisturbed


def test_a_job_that_ends_its_worker_each_time_stops_after_three_tries_and_the_others_are_done(
    office, elsewhere, workers
):
    poisoned = office.ask("us")
    others = [small_file(elsewhere, number) for number in range(1, 5)]
    for attempt in (1, 2, 3):
        with workers.held_in(poisoned["job"], attempt) as child:
            child.kill()
        let_the_lease_run_out(office.service, poisoned["job"])
        workers.wake(office.farm, poisoned["job"])
    assert office.over(poisoned["job"], 60) == "failed"
    attempts, failure = office.attempts(poisoned)
    assert (attempts, "tried 3 times" in failure) == (3, True)
    assert office.files(poisoned) == [], "no half of it is kept"
    assert [office.over(job, 60) for job in others] == ["succeeded"] * 4


def small_file(office: Office, place: int) -> str:
    """Ask for something else to be done: a file of one line, about a vine of its own."""
    body = f"row,vine,pruning_weight\n1,{place},1.25\n".encode()
    address = f"{office.url}/imports?block=Imported&season={SEASON}"
    reply = office.service.phone().send("POST", address, body, Content_Type="text/csv")
    assert reply.status == 202, reply.content
    return str(reply.json()["job"]["id"])


def test_a_broker_that_forgets_fifty_jobs_and_one_that_is_away_lose_none(service, elsewhere, workers):
    """Thirty stand in it when it is wiped; twenty are asked for while it is down, each answered within two seconds."""
    workers.kill()
    jobs = [elsewhere.ask(season=2020 + number)["job"] for number in range(2)]
    jobs += [small_file(elsewhere, place) for place in range(100, 128)]
    service.kill_broker()
    shutil.rmtree(service.base / "valkey")
    waited = []
    try:
        for number in range(20):
            began = time.monotonic()
            jobs.append(elsewhere.ask(season=2030)["job"] if number == 0 else small_file(elsewhere, 200 + number))
            waited.append(time.monotonic() - began)
    finally:
        service.start_broker()
        workers.start()
    began = time.monotonic()
    states = [elsewhere.over(job, RECOVERED_WITHIN) for job in jobs]
    print(f"broker wiped: trials {len(jobs)}, fault hits {len(jobs)}, failures {len(jobs) - states.count('succeeded')}, "
          f"slowest answer {max(waited):.2f} s, all done after {time.monotonic() - began:.1f} s")  # fmt: skip
    assert (len(jobs), states) == (50, ["succeeded"] * 50)
    assert max(waited) < ANSWERED_WITHIN
    assert service.ask("SELECT max(attempts) FROM job WHERE id = ANY(%s::uuid[])", jobs) == [(1,)]


def test_ten_deliveries_to_two_workers_of_which_one_is_two_hours_ahead_are_one_report(
    office, elsewhere, undisturbed, workers, tmp_path
):
    """Only the database's clock says whose a job is: the one that is ahead takes no lease for run out."""
    with workers.another(tmp_path / "ahead", hours_ahead=2) as log:
        until(lambda: taken_up_in(log, elsewhere) > 0, 90, "the worker that is ahead took nothing up")
        reports = [office.ask() for _ in range(3)]
        for report in reports:
            workers.wake(office.farm, report["job"], times=10)
        assert [office.over(report["job"], 60) for report in reports] == ["succeeded"] * 3
        for report in reports:
            assert office.attempts(report) == (1, "")
            assert office.is_made_once(report, attempt=1) == undisturbed
    ahead = [line for line in log.read_text().splitlines() if '"job taken up"' in line]
    stamped = datetime.fromisoformat(json.loads(ahead[-1])["time"])
    assert stamped - datetime.now(tz=stamped.tzinfo) > timedelta(hours=1), "its clock is not ahead"
    print(f"two hours ahead: trials 3 x 10 deliveries, fault hits {len(ahead)}, failures 0")


def taken_up_in(log: Any, office: Office) -> int:
    """Give it something small to do, and count what it took up."""
    small_file(office, 1000 + time.monotonic_ns() % 9_000)
    time.sleep(0.3)
    return log.read_text().count('"job taken up"') if log.exists() else 0
