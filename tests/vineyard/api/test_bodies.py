"""A body is applied whole or refused: never lost, never cut, never a 2xx that did not take it."""

from __future__ import annotations

import io
import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psutil
import pytest
from django.http import HttpResponse
from django.test import RequestFactory

from vineyard.api.bodies import LARGEST_FILE, BodyEndedEarly, WholeBody
from vineyard.api.middleware import BodyRules
from vineyard.servers import GRANIAN

ROOT = Path(__file__).resolve().parents[3]


def asked(method: str = "POST", path: str = "/api/v1/farms", **environ: Any) -> int:
    """Give the status of a request after the rules; 200 where none of them refused it."""
    environ = {"CONTENT_LENGTH": "2", "CONTENT_TYPE": "application/json", **environ}
    request = RequestFactory().generic(method, path, b"{}", **environ)
    return BodyRules(lambda _: HttpResponse())(request).status_code


@pytest.mark.parametrize(
    ("environ", "status"),
    [
        ({}, 200),
        ({"CONTENT_LENGTH": "2500000"}, 200),
        ({"CONTENT_LENGTH": "2500001"}, 413),
        ({"CONTENT_LENGTH": "9" * 15}, 413),
        ({"CONTENT_LENGTH": "9" * 5000}, 400),
        ({"CONTENT_LENGTH": "-5"}, 400),
        ({"CONTENT_LENGTH": "two"}, 400),
        ({"CONTENT_LENGTH": "٢"}, 400),
        ({"HTTP_TRANSFER_ENCODING": "chunked"}, 411),
        ({"CONTENT_LENGTH": "", "HTTP_TRANSFER_ENCODING": "chunked"}, 411),
        ({"CONTENT_LENGTH": "", "wsgi.input_terminated": True, "wsgi.input": io.BytesIO(b"{}")}, 411),
        ({"CONTENT_LENGTH": "", "wsgi.input_terminated": True, "wsgi.input": io.BytesIO()}, 200),
        ({"HTTP_CONTENT_ENCODING": "gzip"}, 415),
        ({"HTTP_CONTENT_ENCODING": "identity"}, 200),
        ({"CONTENT_TYPE": "application/json; charset=UTF-8"}, 200),
        ({"CONTENT_TYPE": 'application/json; charset="utf-8"'}, 200),
        ({"CONTENT_TYPE": "application/json; charset=latin-1"}, 415),
        ({"CONTENT_TYPE": "application/json; charset="}, 415),
        ({"QUERY_STRING": "name=%00"}, 400),
        ({"QUERY_STRING": "name=%ff"}, 400),
        ({"QUERY_STRING": "name=\xff"}, 400),
        ({"QUERY_STRING": "name=Ch%C3%A2teau"}, 200),
    ],
)
def test_what_is_wrong_with_a_body_is_seen_before_it_is_read(environ, status):
    assert asked(**environ) == status


def test_a_file_may_be_larger_than_a_record_but_only_where_files_are_taken():
    files = "/api/v1/farms/7/imports"
    assert [asked(path=files, CONTENT_LENGTH=str(size)) for size in (LARGEST_FILE, LARGEST_FILE + 1)] == [200, 413]
    assert asked(path=f"{files}/7/rows", CONTENT_LENGTH=str(LARGEST_FILE)) == 413


def test_a_server_that_does_not_end_the_body_itself_is_not_asked_for_more():
    class Waits(io.BytesIO):
        def read(self, _: int | None = -1, /) -> bytes:
            pytest.fail("this would wait for ever")

    environ: dict[str, Any] = {"CONTENT_LENGTH": "", "wsgi.input": Waits()}
    assert asked(**environ) == 200


def test_a_body_in_pieces_is_put_together():
    class Pieces(io.BytesIO):
        def read(self, size: int | None = -1, /) -> bytes:
            return super().read(min(3, size or 0))

    assert WholeBody(Pieces(b'{"name": "a"} and more'), 13).read() == b'{"name": "a"}'


def test_a_body_that_ends_early_is_none():
    with pytest.raises(BodyEndedEarly):
        WholeBody(io.BytesIO(b'{"name": "a"}'), 14).read()
    lines = WholeBody(io.BytesIO(b"one\ntwo\n"), 9)
    assert [lines.readline(), lines.readline()] == [b"one\n", b"two\n"]
    with pytest.raises(BodyEndedEarly):
        lines.readline()


def test_a_whole_body_ends_and_what_follows_it_is_left():
    body = WholeBody(io.BytesIO(b"one\ntwo\nTHE NEXT REQUEST"), 8)
    assert [body.readline(2), body.readline(), body.read(99), body.read(), body.readline()] == [
        b"on",
        b"e\n",
        b"two\n",
        b"",
        b"",
    ]


@dataclass
class Served:
    port: int
    process: psutil.Process

    def send(self, *parts: bytes, then_end: bool = False) -> str:
        """Send bytes, say where wanted that no more will come, and give the whole answer."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=10) as client:
            try:
                for part in parts:
                    client.sendall(part)
                if then_end:
                    client.shutdown(socket.SHUT_WR)
            except OSError:
                pass  # it answered and closed while we were still sending
            answer = b""
            try:
                while part := client.recv(65536):
                    answer += part
            except ConnectionResetError:
                pass
        return answer.decode()

    def memory(self) -> int:
        return sum(each.memory_info().rss for each in [self.process, *self.process.children(recursive=True)])


@pytest.fixture(scope="module")
def served() -> Iterator[Served]:
    """The service under granian, as `serve` starts it, on a port of this machine."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    argv = [sys.executable, "-m", "granian", *GRANIAN, "--port", str(port), "--log-level", "warning"]
    argv += ["--factory", "tests.vineyard.api.probe_rsgi:served"]
    process = subprocess.Popen(argv, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)})
    try:
        _wait(port)
        yield Served(port, psutil.Process(process.pid))
    finally:
        process.terminate()
        process.wait(20)


def _wait(port: int) -> None:
    end = time.monotonic() + 30
    while time.monotonic() < end:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except OSError:
            time.sleep(0.1)
        else:
            return
    pytest.fail("granian did not come up")


def post(length: int | None, *, more: str = "") -> bytes:
    announced = "" if length is None else f"Content-Length: {length}\r\n"
    return (
        "POST /probe/anything HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nConnection: close\r\n"
        f"{announced}{more}\r\n"
    ).encode()


BODY = b'{"name": "a"}'


@pytest.mark.slow
@pytest.mark.parametrize(
    ("parts", "status"),
    [
        ([post(len(BODY)), BODY], "200 OK"),
        ([post(len(BODY)), BODY[:5], BODY[5:]], "200 OK"),
        ([post(len(BODY) - 1), BODY], "400 Bad Request"),
        ([post(None, more="Transfer-Encoding: chunked\r\n"), b"d\r\n", BODY, b"\r\n0\r\n\r\n"], "411 Length Required"),
        ([post(5, more="Transfer-Encoding: chunked\r\n"), b"d\r\n", BODY, b"\r\n0\r\n\r\n"], "411 Length Required"),
        ([post(100_000_000), b"{"], "413 Payload Too Large"),
        ([post(100_000_000, more="Expect: 100-continue\r\n")], "413 Payload Too Large"),
    ],
)
def test_over_a_real_socket_a_body_is_whole_or_refused(parts, status, served):
    answer = served.send(*parts)
    assert answer.startswith(f"HTTP/1.1 {status}")
    assert ('"got"' in answer) is (status == "200 OK")


@pytest.mark.slow
def test_a_body_that_ends_early_is_refused_although_what_came_reads_like_a_document(served):
    """A phone that loses its network in mid-request."""
    answer = served.send(post(len(BODY) + 50), BODY, then_end=True)
    assert answer.startswith("HTTP/1.1 400")
    assert "ended before the length" in answer


@pytest.mark.slow
def test_a_body_of_100_mb_is_refused_at_once_and_costs_no_memory(served):
    """trust.md C2: 413 within 1 s, growth under 50 MB."""
    before, began = served.memory(), time.monotonic()
    answer = served.send(post(100_000_000), *[b"x" * 1_000_000] * 100)
    assert answer.startswith("HTTP/1.1 413")
    assert time.monotonic() - began < 1
    assert served.memory() - before < 50_000_000


CURL = shutil.which("curl")


@pytest.mark.slow
@pytest.mark.skipif(
    CURL is None or "HTTP2" not in subprocess.run([CURL, "-V"], capture_output=True, text=True, check=False).stdout,
    reason="needs a curl that speaks HTTP/2",
)
def test_over_http_2_a_body_without_a_length_is_refused_not_lost(served):
    """HTTP/2 has no Transfer-Encoding to betray such a body (RFC 9113, section 8.2.2)."""
    argv = [
        str(CURL),
        "-s",
        "--http2-prior-knowledge",
        "-m",
        "10",
        "-T",
        "-",
        "-X",
        "POST",
        "-w",
        "%{http_version} %{http_code}",
    ]
    argv += ["-H", "Content-Type: application/json", f"http://localhost:{served.port}/probe/anything"]
    told = subprocess.run(argv, input=BODY, capture_output=True, check=True, timeout=20).stdout.decode()
    assert told.endswith("2 411")
    assert '"length_required"' in told
