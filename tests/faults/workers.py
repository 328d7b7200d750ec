"""The workers of the service: held still, killed, woken, one with a wrong clock; and the reports that they make."""

from __future__ import annotations

import signal
import sys
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

import psutil
from celery import Celery

from tests.faults.ground import stands
from tests.faults.phone import Phone
from tests.faults.service import Service, until
from vineyard import servers
from vineyard.stack import Children

VINES, BLOCKS = 6, 4
SEASON = 2027
#: A process that begins with this sees every clock of the day so many hours ahead; how long things take is as it was.
AHEAD = """
import datetime, time_machine
now = datetime.datetime.now(tz=datetime.timezone.utc)
time_machine.travel(now + datetime.timedelta(hours={hours}), tick=True).start()
"""


@dataclass
class Workers:
    """The worker of a service, and what of it dies."""

    service: Service

    @property
    def leader(self) -> psutil.Process:
        return psutil.Process(self.service._child("worker").pid)

    def wake(self, farm: str, job: str, times: int = 1) -> None:
        """Deliver a job as the sweeper does."""
        sender = Celery(broker=self.service.stack.environment()["BROKER_URL"], set_as_current=False)
        for _ in range(times):
            sender.send_task("records.tasks.run_job", args=[farm, job])
        sender.close()

    def kill(self) -> None:
        """End the worker and its child, as when a machine loses power."""
        family = [*self.leader.children(), self.leader]
        for each in family:
            each.kill()
        self.service._child("worker").wait(10)
        psutil.wait_procs(family, timeout=10)

    def start(self) -> None:
        self.service.stack.children.forget(self.service._child("worker"))
        servers.start_worker(cast(Children, self.service.stack), log=self.service.log)

    @contextmanager
    def another(self, folder: Path, hours_ahead: int) -> Iterator[Path]:
        """Run a second worker whose clock is wrong; gives its log."""
        folder.mkdir()
        (folder / "sitecustomize.py").write_text(AHEAD.format(hours=hours_ahead))
        log = folder / "ahead.log"
        argv = [sys.executable, "-m", "celery", "--app", "vineyard", "--quiet", "worker", "-c", "1", "-n", "ahead@%h"]
        argv += ["--loglevel", "info", "--without-mingle", "--without-gossip"]
        environment = {**servers.WORKER_ENVIRONMENT, "PYTHONPATH": str(folder), "LOG_FORMAT": "json"}
        children = cast(Children, self.service.stack)
        process = children.spawn("another worker", argv, environment=environment, log=log)
        try:
            yield log
        finally:
            process.terminate()
            process.wait(30)
            self.service.stack.children.forget(process)

    @contextmanager
    def held_in(self, job: str, attempt: int = 1) -> Iterator[psutil.Process]:
        """Hold the child still in the middle of one attempt, so that what is killed now is killed in the middle."""
        while True:
            until(lambda: attempts_of(self.service, job) == attempt, 60, "the job was not taken up")
            children = self.leader.children()
            if not children:
                continue
            child = children[0]
            child.send_signal(signal.SIGSTOP)
            state, done, total = state_of(self.service, job)
            if state == "running" and done:  # of a later attempt this may be how far the one before came
                assert done < total, "it was at its last step"
                break
            child.send_signal(signal.SIGCONT)
            assert state in {"queued", "running"}, state
            time.sleep(0.005)
        try:
            yield child
        finally:
            if child.is_running():
                child.send_signal(signal.SIGCONT)


def attempts_of(service: Service, job: str) -> int:
    return int(service.ask("SELECT attempts FROM job WHERE id = %s", job)[0][0])


def state_of(service: Service, job: str) -> tuple[str, int, int]:
    ((state, done, total),) = service.ask(
        "SELECT state, progress_done, coalesce(progress_total, 0) FROM job WHERE id = %s", job
    )
    return state, done, total


def let_the_lease_run_out(service: Service, job: str) -> None:
    """Twenty seconds go by, and the pause after a failure."""
    service.ask("UPDATE job_ticket SET leased_until = now() WHERE job_id = %s", job)


def make_orchard(phone: Phone, blocks: int = BLOCKS) -> str:
    """Create a farm of some blocks, each weighed; gives its address."""
    farm = str(uuid.uuid4())
    told = {"id": farm, "name": f"Farm {farm[:8]} (invented)", "hemisphere": "north", "time_zone": "America/New_York"}
    stands(phone.send("POST", "/farms", told))
    for number in range(blocks):
        block = {"id": str(uuid.uuid4()), "name": f"Block {number}", "pruning_formula": "american-30-10-lb"}
        stands(phone.send("POST", f"/farms/{farm}/blocks", block))
        place = f"/farms/{farm}/blocks/{block['id']}"
        stands(phone.send("POST", f"{place}/rows", {"number": 1, "vines": VINES}))
        vines = phone.send("GET", f"{place}/vines?limit=500").json()["results"]
        weighings = [_weighing(vine["id"], number + at / 7 + 1) for at, vine in enumerate(vines)]
        assert phone.send("POST", f"/farms/{farm}/records", weighings).status == 200
    return f"/farms/{farm}"


def _weighing(vine: str, pounds: float) -> dict[str, Any]:
    when = f"{SEASON}-01-16T10:02:00-05:00"
    weight = {"value": round(pounds, 2), "unit": "lb"}
    return {"kind": "dormant_record", "id": str(uuid.uuid4()), "vine": vine, "observed_at": when,
            "pruning_weight": weight}  # fmt: skip
