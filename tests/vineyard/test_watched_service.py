"""A real service is watched: one line a request, one count, the worker's lines by the same id, and no word of anybody's."""

from __future__ import annotations

import json
import re
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import httpx
import pytest

from tests.vineyard.watched import Watched, written

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]
TRACE = "4bf92f3577b34da6a3ce929d0e0e4736"
JSON = {"Content-Type": "application/json"}
CSV = {"Content-Type": "text/csv"}


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Watched]:
    started = Watched(tmp_path_factory.mktemp("watched"))
    yield started
    started.stop()


def lines_of(service: Watched, request_id: str) -> list[dict[str, Any]]:
    return service.lines(logger="vineyard.request", request_id=request_id)


def test_each_request_has_one_line_that_says_by_ids_who_asked_what_and_how_it_ended(service):
    asked = str(uuid4())
    headers = {"X-Request-ID": asked, "traceparent": f"00-{TRACE}-00f067aa0ba902b7-01"}
    answer = service.ask("owner", "GET", f"{service.farm}/blocks?limit=7", headers=headers)
    rows = len(answer.json()["results"])
    line = service.wait_for(lambda: lines_of(service, asked))[0]
    assert UUID(line.pop("person")) and line.pop("ms") > 0 and line.pop("statements") > 2 and line.pop("time")
    assert line == {
        "level": "info",
        "logger": "vineyard.request",
        "message": "GET /api/v1/farms/{farm}/blocks 200",
        "request_id": asked,
        "trace_id": TRACE,
        "key": service.facts["keys"]["owner"].split("_")[1],
        "farm": service.facts["farm"],
        "method": "GET",
        "route": "/api/v1/farms/{farm}/blocks",
        "status": 200,
        "rows": rows,
    }
    assert len(lines_of(service, asked)) == 1


def test_a_request_that_is_refused_before_any_view_has_its_line_too(service):
    asked = str(uuid4())
    answer = httpx.post(
        f"{service.url}{service.farm}/blocks", content=b"x" * 3_000_000, headers={**JSON, "X-Request-ID": asked},
        trust_env=False,
    )  # fmt: skip
    line = service.wait_for(lambda: lines_of(service, asked))[0]
    assert (answer.status_code, line["status"], line["route"]) == (413, 413, "/api/v1/farms/{farm}/blocks")
    assert {"person", "key"} & line.keys() == set()


def test_a_host_that_is_not_ours_is_one_warning_without_a_traceback_and_without_its_name(service):
    asked = str(uuid4())
    headers = {"Host": "evil.example", "X-Request-ID": asked}
    assert httpx.get(f"{service.url}/livez", headers=headers, trust_env=False).status_code == 400
    service.wait_for(lambda: lines_of(service, asked))
    about = [line for line in service.lines(request_id=asked) if line["logger"] != "vineyard.request"]
    assert [(line["level"], line["message"]) for line in about] == [
        ("warning", "refused as suspicious: DisallowedHost")
    ]
    assert "evil.example" not in service.log.read_text()


def test_the_worker_writes_the_id_of_the_request_that_asked_for_the_job(service):
    asked = str(uuid4())
    answer = service.ask(
        "owner", "POST", f"{service.farm}/imports?block=Watched&season=2027",
        content="row,vine,pruning_weight\n1,1,1.25\n", headers={**CSV, "X-Request-ID": asked},
    )  # fmt: skip
    job = answer.json()["job"]["id"]
    told = service.wait_for(lambda: service.lines(logger="vineyard.work", job=job, message="job left"))
    assert {line["request_id"] for line in service.lines(job=job)} == {asked}
    assert told[0]["farm"] == service.facts["farm"]
    service.wait_for(lambda: service.samples().get('vineyard_jobs_ended_total{kind="import_vines",state="succeeded"}'))
    assert service.samples()['vineyard_rows_total{outcome="created"}'] == 1


def test_a_failure_is_told_by_type_code_and_place_and_not_by_what_it_says(service):
    asked, canary = str(uuid4()), f"canary-{secrets.token_hex(8)}"
    service.as_owner("ALTER TABLE block RENAME TO block_away")
    try:
        body = {"name": canary}
        answer = service.ask("owner", "POST", f"{service.farm}/blocks", json=body, headers={"X-Request-ID": asked})
    finally:
        service.as_owner("ALTER TABLE block_away RENAME TO block")
    assert answer.status_code == 500
    service.wait_for(lambda: lines_of(service, asked))
    failures = [line for line in service.lines(request_id=asked) if "exception" in line]
    assert len(failures) == 1
    assert "ProgrammingError" in failures[0]["exception"]
    assert "(42P01)" in failures[0]["exception"]
    assert re.search(r"records/\S+\.py:\d+ ", failures[0]["exception"])
    assert lines_of(service, asked)[0]["level"] == "error"
    assert canary not in service.log.read_text()


def test_what_two_processes_count_adds_up(service):
    counted = 'vineyard_requests_total{method="GET",route="/api/v1/units",status="2xx"}'
    timed = 'vineyard_request_seconds_count{method="GET",route="/api/v1/units"}'
    before = service.samples()
    for _ in range(60):  # each on a connection of its own, so that both processes get some
        service.ask("viewer", "GET", "/api/v1/units")
    after = service.samples()
    assert after[counted] - before.get(counted, 0) == 60
    assert after[timed] - before.get(timed, 0) == 60
    assert len(list((service.home / "demo" / "metrics").glob("histogram_*.db"))) >= 2


def test_a_process_that_is_killed_takes_no_count_with_it_and_leaves_no_file(service):
    folder = service.home / "demo" / "metrics"
    counted = 'vineyard_requests_total{method="GET",route="/api/v1/units",status="2xx"}'
    before = service.samples()[counted]
    workers = [child for child in service.family() if "granian" in " ".join(child.cmdline())]
    victim = next(child for child in workers if (folder / f"counter_{child.pid}.db").exists())
    victim.kill()
    service.wait_for((folder / "counter_0.db").exists)
    assert service.samples()[counted] == before
    assert not (folder / f"counter_{victim.pid}.db").exists()


def test_no_label_of_a_metric_is_an_id_or_an_invented_word(service):
    for path in (f"/api/v1/farms/{uuid4()}/blocks/{uuid4()}", f"/nowhere/{uuid4()}"):
        service.ask("owner", "GET", path)
    httpx.request("BREW", f"{service.url}/livez", trust_env=False)
    told = service.metrics().text
    assert re.search(r"[0-9a-f]{8}-[0-9a-f]{4}-", told) is None
    assert 'route="(none)"' in told
    assert "BREW" not in told and 'method="other"' in told


def test_the_queue_and_the_feed_are_told_as_they_are_now(service):
    samples = service.samples()
    assert samples['vineyard_jobs{state="waiting"}'] == samples["vineyard_oldest_waiting_job_seconds{}"] == 0
    assert samples["vineyard_feed_lag_seconds{}"] >= 0
    assert samples["vineyard_database_up{}"] == 1


def test_metrics_are_for_this_machine_alone_and_a_proxy_is_not_this_machine(service):
    assert service.metrics().status_code == 200
    stranger = service.metrics(**{"X-Forwarded-For": "203.0.113.9"})
    assert (stranger.status_code, stranger.json()["code"]) == (404, "not_found")
    assert "vineyard_" not in stranger.text


def operations(service: Watched) -> Iterator[tuple[str, str]]:
    document = httpx.get(f"{service.url}/openapi.json", timeout=60, trust_env=False).json()
    for path, item in document["paths"].items():
        yield from ((method.upper(), path) for method in item if method in {"get", "post", "patch", "put", "delete"})


def test_no_key_and_nothing_that_anybody_sent_stands_in_any_log_or_with_the_broker(service):
    """Every operation of the document, with the canary in every place that a caller can fill."""
    canary = f"kanarie{secrets.token_hex(8)}"
    key = service.make_key(f"{canary}@tern-hill.example", f"Quill {canary}")
    secret = key.split("_", 2)[2]
    ends: set[int] = set()
    with httpx.Client(base_url=service.url, timeout=60, trust_env=False) as client:
        query = f"?q={canary}&{canary}=1"
        for who, more in ((key, query), (service.facts["keys"]["owner"], ""), (f"vine_0a1b2c3d_{canary}", query)):
            for method, path in operations(service):
                address = re.sub(r"\{farm\}", service.facts["farm"], path)
                address = re.sub(r"\{[a-z_]+\}", str(uuid4()), address)
                headers = {"Authorization": f"Bearer {who}", "If-Match": '"1"', "User-Agent": canary, **JSON}
                body = {"id": str(uuid4()), "name": canary, "notes": canary, "email": canary, canary: canary}
                content = None if method == "GET" else json.dumps(body)
                answer = client.request(method, address + more, headers=headers, content=content)
                ends.add(answer.status_code // 100)
        named = {"Authorization": f"Bearer {service.facts['keys']['owner']}", **JSON}
        made = [client.post(f"{service.farm}/blocks", headers=named, json={"name": canary}) for _ in range(2)]
        client.get(f"/api/v1/farms/{canary}", headers=named)
        client.get(f"/{canary}", headers={"Host": f"{canary}.example"})
        client.post(f"{service.farm}/blocks", headers=named, content=f'{{"name": "{canary}'.encode())
        file = f"row,vine,pruning_weight\n1,1,{canary}\n{canary},2,1\n"
        asked = client.post(
            f"{service.farm}/imports?block={canary}&season=2027", headers={**named, **CSV}, content=file
        )
    assert [answer.status_code for answer in made] == [201, 409], "neither success nor a broken constraint was tried"
    assert {2, 4} <= ends and 5 not in ends
    job = asked.json()["job"]["id"]
    service.wait_for(lambda: service.lines(logger="vineyard.work", job=job, message="job left"))
    found = {name: text for name, text in written(service.home).items() if canary in text or secret in text}
    assert list(found) == []
    assert "demo/postgres.log" in written(service.home) and service.log.stat().st_size > 50_000


def test_every_line_of_the_log_is_json_with_time_level_and_logger(service):
    apart = ("· Bringing up", "worker: Warm shutdown")
    for line in filter(str.strip, service.log.read_text().splitlines()):
        if not line.startswith(apart):
            assert {"time", "level", "logger", "message"} <= json.loads(line).keys(), line


def test_the_start_of_another_service_in_the_same_place_counts_anew(service, tmp_path: Path):
    """Last: it stops the service."""
    service.stop()
    again = Watched(service.home)
    try:
        assert 'route="/api/v1/units"' not in again.metrics().text
        assert not (service.home / "demo" / "metrics" / "counter_0.db").exists()
    finally:
        again.stop()
