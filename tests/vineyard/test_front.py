"""The front: slow clients cost no thread, one farm's flood leaves turns to the others, bodies arrive whole."""

from __future__ import annotations

import asyncio
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import ExitStack
from pathlib import Path

import httpx
import pytest

from tests.vineyard.slow_clients import LARGE
from vineyard.servers import GRANIAN
from vineyard.turns import Turns, TurnsAreFull, caller_of, farm_of

ROOT = Path(__file__).resolve().parents[2]
FARM = "01991b5e-0000-7000-8000-00000000fa01"
OTHER_FARM = "01991b5e-0000-7000-8000-00000000fa02"


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    """One worker process of four threads, as granian serves it."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        free: int = probe.getsockname()[1]
    argv = [sys.executable, "-m", "granian", *GRANIAN, "--port", str(free), "--log-level", "critical"]
    argv += ["--factory", "tests.vineyard.slow_clients:served"]
    process = subprocess.Popen(argv, cwd=ROOT)
    try:
        _wait(free)
        yield free
    finally:
        process.terminate()
        process.wait(20)


def _wait(port: int) -> None:
    end = time.monotonic() + 30
    while time.monotonic() < end:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except OSError:
            time.sleep(0.05)
        else:
            return
    pytest.fail("granian did not come up")


def open_with(port: int, said: bytes) -> socket.socket:
    line = socket.create_connection(("127.0.0.1", port), timeout=10)
    line.sendall(said)
    return line


def head(path: str, length: int) -> bytes:
    return f"POST {path} HTTP/1.1\r\nHost: localhost\r\nContent-Length: {length}\r\n\r\n".encode()


def read_all(line: socket.socket) -> bytes:
    answer = b""
    while part := line.recv(65536):
        answer += part
    return answer


@pytest.mark.slow
def test_clients_that_send_half_and_wait_do_not_stop_others(port):
    """trust.md C1: sixty half-sent bodies and a hundred half-sent heads stand against four threads."""
    with ExitStack() as lines:
        for _ in range(100):
            lines.enter_context(open_with(port, b"GET /anything HTTP/1.1\r\nHost: local"))
        for _ in range(60):
            lines.enter_context(open_with(port, head("/anything", 1_000_000) + b'{"half": '))
        answers = [httpx.get(f"http://127.0.0.1:{port}/{n}", timeout=10) for n in range(20)]
        assert [answer.json()["path"] for answer in answers] == [f"/{n}" for n in range(20)]


@pytest.mark.slow
@pytest.mark.parametrize("length", [50, 50_000])  # awaited in one piece, and piece by piece
def test_a_body_that_comes_too_slowly_is_refused_with_a_sentence(length, port):
    with open_with(port, head("/anything", length) + b"{") as line:
        answer = read_all(line)
    assert answer.startswith(b"HTTP/1.1 408")
    assert b"application/problem+json" in answer
    assert b'"code":"too_slow"' in answer


@pytest.mark.slow
def test_a_body_that_keeps_coming_is_waited_for_longer(port):
    """2,000 bytes buy two seconds more than the first one."""
    with open_with(port, head("/anything", 4_000)) as line:
        for _ in range(8):
            line.sendall(b"x" * 500)
            time.sleep(0.2)
        assert line.recv(65536).startswith(b"HTTP/1.1 200")


@pytest.mark.slow
def test_more_bodies_than_fit_are_refused_until_there_is_room_again(port):
    path = f"/api/v1/farms/{FARM}/imports"
    with ExitStack() as lines:
        for _ in range(2):
            lines.enter_context(open_with(port, head(path, 6_000_000) + b"x" * 4_500_000))
        with open_with(port, head(path, 6_000_000) + b"x" * 4_500_000) as third:
            assert third.recv(65536).startswith(b"HTTP/1.1 503")
    assert httpx.post(f"http://127.0.0.1:{port}/anything", content=b"x" * 2_000_000).status_code == 200


@pytest.mark.slow
def test_a_flood_of_one_farm_leaves_turns_to_another(port):
    """Forty slow requests of one farm wait for its two turns; the other farm's are answered among the first."""
    with ThreadPoolExecutor(45) as pool, httpx.Client(timeout=30, limits=httpx.Limits(max_connections=60)) as client:

        def ask(farm: str, key: int) -> str:
            address = f"http://127.0.0.1:{port}/api/v1/farms/{farm}/slow"
            assert client.get(address, headers={"Authorization": f"Bearer {farm} {key}"}).status_code == 200
            return farm

        flood = [pool.submit(ask, FARM, n % 5) for n in range(40)]
        time.sleep(0.2)
        few = [pool.submit(ask, OTHER_FARM, 0) for _ in range(2)]
        order = [done.result() for done in as_completed([*flood, *few])]
    assert max(place for place, farm in enumerate(order) if farm == OTHER_FARM) < 30


@pytest.mark.slow
def test_a_large_answer_arrives_whole(port):
    assert len(httpx.get(f"http://127.0.0.1:{port}/large", timeout=30).content) == LARGE


@pytest.mark.slow
def test_what_the_application_raises_is_answered_and_says_nothing_of_it(port):
    answer = httpx.get(f"http://127.0.0.1:{port}/fails")
    assert (answer.status_code, answer.json()["code"]) == (500, "internal_error")
    assert "secret" not in answer.text


@pytest.mark.slow
def test_a_header_with_an_underscore_cannot_pass_for_one_of_a_proxy(port):
    said = b"GET / HTTP/1.1\r\nHost: localhost\r\nX_Forwarded_For: 192.0.2.1\r\nConnection: close\r\n\r\n"
    with open_with(port, said) as line:
        assert b"192.0.2.1" not in read_all(line)


@pytest.mark.slow
def test_a_header_sent_twice_reads_as_one_list(port):
    headers = [("X-Forwarded-For", "192.0.2.1"), ("X-Forwarded-For", "192.0.2.2")]
    told = httpx.get(f"http://127.0.0.1:{port}/", headers=headers).json()["headers"]
    assert (told["HTTP_X_FORWARDED_FOR"], told["REMOTE_ADDR"]) == ("192.0.2.1,192.0.2.2", "127.0.0.1")


def test_a_turn_that_does_not_come_in_time_is_refused():
    async def play() -> None:
        turns = Turns(at_once=1)
        async with turns.of("farm a", 1):
            with pytest.raises(TurnsAreFull):
                async with turns.of("farm a", 0.01):
                    pytest.fail("two have the only turn")
            async with turns.of("farm b", 0.01):
                pass
        async with turns.of("farm a", 0.01):
            pass

    asyncio.run(play())


@pytest.mark.parametrize(
    ("path", "farm"),
    [
        (f"/api/v1/farms/{FARM}/blocks", f"farm {FARM}"),
        (f"/api/v1/farms/{FARM.upper()}", f"farm {FARM}"),
        (f"/api/v1/farms/{FARM}0", None),
        ("/api/v1/farms", None),
        ("/livez", None),
    ],
)
def test_the_farm_of_an_address(path, farm):
    assert farm_of(path) == farm


def test_a_caller_is_known_by_the_key_and_without_one_by_the_address():
    one = caller_of({"HTTP_AUTHORIZATION": "Bearer a", "REMOTE_ADDR": "192.0.2.1"})
    assert one != caller_of({"HTTP_AUTHORIZATION": "Bearer b", "REMOTE_ADDR": "192.0.2.1"})
    assert "Bearer" not in one
    assert caller_of({"REMOTE_ADDR": "192.0.2.1"}) == "address 192.0.2.1"
