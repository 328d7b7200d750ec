"""Small bulk requests that arrive together: carried out as one, answered each as if alone."""

from __future__ import annotations

import asyncio
import json
import uuid
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import httpx
import orjson
import pytest
from django.db import transaction

from tests.records.yard import NDJSON, Bulk
from tests.vineyard.served import ServedApi
from vineyard.calling import Answer
from vineyard.combining import COMBINED, Combiner

FARM = "01991b5e-0000-7000-8000-00000000fa01"


def environ(body: bytes, **more: Any) -> dict[str, Any]:
    return {
        "REQUEST_METHOD": "POST", "PATH_INFO": f"/api/v1/farms/{FARM}/records", "QUERY_STRING": "",
        "CONTENT_TYPE": NDJSON, "CONTENT_LENGTH": str(len(body)), "REMOTE_ADDR": "127.0.0.1", "wsgi.url_scheme": "http",
        "HTTP_AUTHORIZATION": "Bearer one", **more,
    }  # fmt: skip


class Service:
    """Stands for the application: it stores every line but a wrong one, and notes how it was called."""

    def __init__(self, status: int = 200) -> None:
        self.status = status
        self.calls: list[tuple[int, bytes, str]] = []

    async def run(self, environ: Any, body: bytes) -> Answer:
        self.calls.append((environ[COMBINED], body, environ["HTTP_AUTHORIZATION"]))
        await asyncio.sleep(0.01)
        if self.status != 200:
            return Answer(self.status, [], b"{}")
        results = [self.result(index, line) for index, line in enumerate(body.split(b"\n"))]
        whole = {"summary": {}, "doubts": [], "results": results}
        return Answer(200, [("Content-Type", "application/json"), ("Content-Length", "1")], orjson.dumps(whole))

    def result(self, index: int, line: bytes) -> dict[str, Any]:
        if line == b"wrong":
            return {"index": index, "status": "error", "error": {"errors": [{"pointer": f"#/{index}/kind"}]}}
        return {"index": index, "id": line.decode(), "status": "created", "version": 1}


def together(service: Service, *requests: tuple[bytes, dict[str, Any]]) -> list[Answer | None]:
    async def all_of_them() -> list[Answer | None]:
        combiner = Combiner(service.run)
        asked = [asyncio.create_task(combiner.answer(environ(body, **more), body)) for body, more in requests[:1]]
        await asyncio.sleep(0.002)  # the first is under way when the others arrive
        asked += [asyncio.create_task(combiner.answer(environ(body, **more), body)) for body, more in requests[1:]]
        return await asyncio.gather(*asked)

    return asyncio.run(all_of_them())


def test_the_first_goes_at_once_and_those_that_arrive_meanwhile_go_together():
    service = Service()
    together(service, *[(f"line {number}".encode(), {}) for number in range(20)])
    assert [count for count, _, _ in service.calls] == [1, 19]


def test_each_gets_its_own_results_counted_from_its_own_beginning():
    answers = together(Service(), (b"a", {}), (b"b\nwrong\n\nc", {}), (b"d\n", {}))
    assert all(answers)
    bodies = [orjson.loads(answer.body) for answer in answers if answer]
    assert [[result.get("id") for result in body["results"]] for body in bodies] == [["a"], ["b", None, "c"], ["d"]]
    assert bodies[1]["results"][1]["error"]["errors"] == [{"pointer": "#/1/kind"}]
    assert bodies[1]["summary"] == {"received": 3, "created": 2, "updated": 0, "unchanged": 0, "failed": 1}
    assert [answer.status for answer in answers[1:] if answer] == [207, 200]


@pytest.mark.parametrize(
    "other",
    [{"HTTP_AUTHORIZATION": "Bearer two"}, {"QUERY_STRING": "on_conflict=update"}, {"REMOTE_ADDR": "127.0.0.2"},
     {"PATH_INFO": f"/api/v1/farms/{uuid.UUID(int=7)}/records"}, {"HTTP_ACCEPT": "text/html"}],
)  # fmt: skip
def test_requests_that_differ_in_anything_but_their_lines_are_kept_apart(other):
    service = Service()
    together(service, (b"a", {}), (b"b", {}), (b"c", other))
    assert sorted(body for _, body, _ in service.calls) == [b"a", b"b", b"c"]


@pytest.mark.parametrize(
    "other",
    [{"QUERY_STRING": "atomic=true"}, {"HTTP_IDEMPOTENCY_KEY": "x" * 20}, {"HTTP_PREFER": "return=minimal"},
     {"CONTENT_TYPE": "application/json"}, {"REQUEST_METHOD": "GET"}, {"CONTENT_LENGTH": "7"}, {"HTTP_X_REQUEST_ID": "a"}],
)  # fmt: skip
def test_a_request_that_has_to_be_one_by_itself_is_left_alone(other):
    service = Service()
    assert together(service, (b"a", other)) == [None]
    assert service.calls == []


@pytest.mark.parametrize(
    ("status", "calls"), [(401, [1, 2]), (404, [1, 2]), (429, [1, 2]), (500, [1, 2, 1, 1]), (400, [1, 2, 1, 1])]
)
def test_a_refusal_of_the_caller_is_everybodys_and_any_other_failure_only_that_of_its_cause(status, calls):
    service = Service(status)
    answers = together(service, (b"a", {}), (b"b", {}), (b"c", {}))
    assert [answer.status for answer in answers if answer] == [status] * 3
    assert [count for count, _, _ in service.calls] == calls


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_on_the_real_service_sixty_phones_at_once_each_get_their_own_answer(cast, tmp_path):
    with transaction.atomic():
        bulk = Bulk(cast)
    served = ServedApi(tmp_path / "api.log")
    try:
        rows = [bulk.weighing(number % 12, id=str(uuid.uuid4())) for number in range(60)]
        rows[7] = {"kind": "dormant_record", "wieght": 1}

        def send(row: Any) -> Any:
            headers = {"Authorization": f"Bearer {cast.worker.key_text}", "Content-Type": NDJSON}
            return httpx.post(f"{served.url}{bulk.url}/records", content=json.dumps(row), headers=headers, timeout=30)

        with ThreadPoolExecutor(60) as pool:
            answers = list(pool.map(send, rows))
        assert {answer.status_code for answer in answers} == {200, 207}
        results = [answer.json()["results"] for answer in answers]
        assert [len(result) for result in results] == [1] * 60
        assert [result[0].get("id") for result in results[8:]] == [row["id"] for row in rows[8:]]
        assert "#/0/wieght" in [error["pointer"] for error in results[7][0]["error"]["errors"]]
        created = {result[0]["id"] for result in results if result[0]["status"] == "created"}
        stored = {each["id"] for each in bulk.client.get(f"{bulk.url}/dormant-records").json()["results"]}
        assert created == stored
        assert len(created) == 12  # one a vine; the others are told that its place is taken
        assert served.log.read_text().count('"POST /api/v1/farms/{farm}/records') < 60
    finally:
        served.stop()
