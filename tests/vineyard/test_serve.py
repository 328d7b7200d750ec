"""`manage.py serve`: comes up, answers, is found by its ready file, and leaves nothing behind, however it ends."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import socket
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import psutil
import pytest

from tests.prepared import give_scenario

ROOT = Path(__file__).resolve().parents[2]
pytestmark = pytest.mark.slow


def environment(home: Path) -> dict[str, str]:
    """Give an environment without the stack of the tests, so that the command brings up its own."""
    ours = {"DATABASE_URL", "DATABASE_OWNER_URL", "BROKER_URL", "SECRET_KEY", "PUBLIC_URL", "DJANGO_SETTINGS_MODULE"}
    kept = {name: value for name, value in os.environ.items() if name not in ours}
    return {**kept, "STACK_HOME": str(home)}


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


class Served:
    """One running service."""

    def __init__(self, home: Path, *listening: str) -> None:
        give_scenario(home)
        self.file = home / "ready.json"
        argv = [sys.executable, "manage.py", "serve", "--demo", "--port", "0", "--ready-file", str(self.file)]
        argv += listening
        self.log = home / "serve.log"
        with self.log.open("w") as log:
            self.process = subprocess.Popen(argv, cwd=ROOT, env=environment(home), stdout=log, stderr=log)
        self.facts = self._wait()
        self.url = self.facts["base_url"]

    def _wait(self) -> dict[str, Any]:
        end = time.monotonic() + 120
        while time.monotonic() < end and self.process.poll() is None:
            facts: dict[str, Any] = json.loads(self.file.read_text()) if self.file.exists() else {}
            if facts.get("pid") == self.process.pid:
                return facts
            time.sleep(0.1)
        pytest.fail(f"it did not come up: {self.log.read_text()}")

    def ask(self, who: str, method: str, path: str, **kwargs: Any) -> httpx.Response:
        key = kwargs.pop("key", self.facts["keys"][who])
        headers = {"Authorization": f"Bearer {key}", **kwargs.pop("headers", {})}
        return httpx.request(method, self.url + path, headers=headers, timeout=30, trust_env=False, **kwargs)

    def family(self) -> list[psutil.Process]:
        return psutil.Process(self.process.pid).children(recursive=True)


def left_over(processes: list[psutil.Process], within: float = 10) -> list[psutil.Process]:
    _, alive = psutil.wait_procs(processes, timeout=within)
    return [process for process in alive if process.is_running() and process.status() != psutil.STATUS_ZOMBIE]


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("home")


class Services:
    """The services of this module, one at a time: the stack of a folder has one owner."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.last: Served | None = None

    def start(self, *listening: str) -> Served:
        self.stop()
        self.last = Served(self.home, *listening)
        return self.last

    def running(self) -> Served:
        return self.last if self.last and self.last.process.poll() is None else self.start()

    def stop(self) -> None:
        if self.last and self.last.process.poll() is None:
            self.last.process.terminate()
            self.last.process.wait(30)


@pytest.fixture(scope="module")
def services(home: Path) -> Iterator[Services]:
    started = Services(home)
    yield started
    started.stop()


@pytest.fixture(scope="module")
def served(services: Services) -> Served:
    return services.start()


def test_the_ready_file_has_the_address_and_a_key_for_each_person_and_is_private(served):
    assert set(served.facts["keys"]) == {
        "owner",
        "worker",
        "viewer",
        "field_app",
        "adviser",
        "lead",
        "stranger",
        "grower",
    }
    assert stat.S_IMODE(served.file.stat().st_mode) == 0o600
    assert _in_time_ready(served)


def _in_time_ready(served: Served) -> bool:
    """Wait for the first sign of life of the scheduler and the worker; requests are answered before it."""
    end = time.monotonic() + 60
    while time.monotonic() < end:
        if httpx.get(f"{served.url}/readyz", trust_env=False).json()["status"] == "ready":
            return True
        time.sleep(0.2)
    return False


def test_a_field_app_gets_a_target_for_a_real_vine(served):
    farm, block = served.facts["farm"], served.facts["block"]
    vine = served.ask("field_app", "GET", f"/api/v1/farms/{farm}/blocks/{block}/vines?limit=1").json()["results"][0]
    body = {
        "vine": vine["id"],
        "observed_at": "2027-01-16T10:02:00-05:00",
        "pruning_weight": {"value": 2.8, "unit": "lb"},
    }
    answer = served.ask("field_app", "POST", f"/api/v1/farms/{farm}/dormant-records", json=body)
    assert (answer.status_code, answer.json()["target"]["nodes"]) == (201, 48)
    assert answer.json()["app_name"] == "Example field app (invented)"
    assert answer.headers["Location"].startswith(served.url)


def test_the_stranger_sees_nothing_of_the_farm(served):
    assert served.ask("stranger", "GET", f"/api/v1/farms/{served.facts['farm']}").status_code == 404


def test_a_file_is_taken_in_by_the_worker(served):
    farm = served.facts["farm"]
    asked = served.ask(
        "owner", "POST", f"/api/v1/farms/{farm}/imports?block=Imported&season=2027",
        content="row,vine,pruning_weight\n1,1,1.25\n1,2,heavy\n", headers={"Content-Type": "text/csv"},
    )  # fmt: skip
    assert asked.status_code == 202
    end = time.monotonic() + 30
    while (job := served.ask("worker", "GET", asked.headers["Location"].removeprefix(served.url)).json())[
        "state"
    ] != "succeeded":
        assert time.monotonic() < end, job
        time.sleep(0.1)
    rows = served.ask("worker", "GET", f"/api/v1/farms/{farm}/imports/{asked.json()['import']['id']}/rows").json()[
        "results"
    ]
    assert [row["outcome"] for row in rows] == ["created", "created"]
    assert rows[1]["findings"][0]["code"] == "not_a_number"


def test_a_chunked_body_is_refused_and_nothing_is_silently_lost(served):
    """A body of unknown length: 411, never a 2xx that did not apply."""

    def chunks() -> Iterator[bytes]:
        yield b'{"name": "Chunked"}'

    answer = served.ask("owner", "POST", f"/api/v1/farms/{served.facts['farm']}/blocks", content=chunks(),
                        headers={"Content-Type": "application/json"})  # fmt: skip
    assert answer.status_code == 411
    assert answer.headers["Content-Type"] == "application/problem+json"


def test_nothing_listens_but_the_api_and_that_on_this_machine_only(served):
    listening = set()
    for process in [psutil.Process(served.process.pid), *served.family()]:
        with contextlib.suppress(psutil.NoSuchProcess, FileNotFoundError):  # PostgreSQL's helpers come and go
            listening |= {c.laddr.ip for c in process.net_connections("inet") if c.status == psutil.CONN_LISTEN}
    assert listening == {"127.0.0.1"}


def test_the_documentation_needs_no_other_host(served):
    for path in ("/docs", "/redoc", "/", "/problems"):
        page = httpx.get(served.url + path, trust_env=False)
        assert page.status_code == 200
        for attribute in ('src="http', "src='http", 'href="http', "url(http"):
            assert attribute not in page.text.replace(f"{attribute.split('http')[0]}{served.url}", ""), (
                path,
                attribute,
            )


def test_a_second_start_in_the_same_place_is_refused_with_a_sentence(served, home):
    argv = [sys.executable, "manage.py", "serve", "--demo", "--port", str(free_port())]
    second = subprocess.run(
        argv, cwd=ROOT, env=environment(home), capture_output=True, text=True, timeout=60, check=False
    )
    assert second.returncode == 1
    assert f"belongs to process {served.process.pid}" in second.stderr
    assert "Traceback" not in second.stderr


def test_another_command_uses_the_stack_that_runs(served, home):
    argv = [
        sys.executable,
        "manage.py",
        "make_key",
        "new.person@tern-hill.example",
        "--name",
        "New Person",
        "--scopes",
        "read",
    ]
    made = subprocess.run(argv, cwd=ROOT, env=environment(home), capture_output=True, text=True, timeout=60, check=True)
    answer = httpx.get(
        f"{served.url}/api/v1/me", headers={"Authorization": f"Bearer {made.stdout.strip()}"}, trust_env=False
    )
    assert (answer.status_code, answer.json()["farms"]) == (200, [])


def test_a_taken_port_is_refused_with_a_sentence(served, tmp_path):
    port = served.url.rsplit(":", 1)[1]
    argv = [sys.executable, "manage.py", "serve", "--port", port]
    ended = subprocess.run(
        argv, cwd=ROOT, env=environment(tmp_path), capture_output=True, text=True, timeout=60, check=False
    )
    assert (ended.returncode, f"Port {port} of 127.0.0.1 cannot be used" in ended.stderr) == (1, True)
    assert list(tmp_path.iterdir()) == [], "something was started before the port was looked at"


def test_a_worker_of_the_api_that_is_killed_is_replaced(served):
    workers = [process for process in served.family() if "granian" in " ".join(process.cmdline())]
    youngest = max(workers, key=lambda process: process.create_time())
    youngest.kill()
    end = time.monotonic() + 20
    while time.monotonic() < end:
        try:
            if httpx.get(f"{served.url}/livez", timeout=2, trust_env=False).status_code == 200:
                return
        except httpx.HTTPError:
            time.sleep(0.2)
    pytest.fail("the API did not come back")


def test_kill_9_leaves_no_process_behind_and_the_next_start_works_with_everything_kept(served, services):
    """Last of those that share one service: it kills it."""
    records = f"/api/v1/farms/{served.facts['farm']}/dormant-records?limit=500"
    kept = served.ask("owner", "GET", records).json()["results"]
    processes = served.family()
    served.process.kill()
    assert left_over(processes) == []
    again = services.start()
    assert again.ask("owner", "GET", records).json()["results"] == kept
    assert again.ask("owner", "GET", "/api/v1/me", key=served.facts["keys"]["owner"]).status_code == 401


def test_a_part_that_dies_for_good_is_named_and_ends_the_service(services):
    """The API is found by its arguments; its own workers come back, its supervisor does not."""
    served = services.running()
    processes = served.family()
    next(child for child in psutil.Process(served.process.pid).children() if "granian" in child.cmdline()).kill()
    assert served.process.wait(30) == 1
    assert "The API ended with status -9" in served.log.read_text()
    assert left_over(processes, within=1) == []


@pytest.mark.parametrize(
    "signals",
    [
        pytest.param([signal.SIGINT], id="Ctrl-C"),
        pytest.param([signal.SIGTERM, signal.SIGTERM], id="SIGTERM, passed on by a launcher as well"),
    ],
)
def test_one_signal_is_one_clean_stop(signals, services):
    """On another address of this machine, so that the service knows itself by the name it was given."""
    served = services.start("--host", "127.0.0.2")
    processes = served.family()
    for sent in signals:
        served.process.send_signal(sent)
    assert served.process.wait(20) == 0
    assert left_over(processes, within=1) == []
    assert not served.file.exists()
