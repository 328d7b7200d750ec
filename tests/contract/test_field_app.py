"""The example client keeps its four rules against the whole service, over a network that eats requests and replies."""

from __future__ import annotations

import importlib.util
import json
import random
import subprocess
import sys
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import httpx
import pytest

from tests.contract.conftest import ROOT
from tests.vineyard.test_serve import Served

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]
FILE = ROOT / "fixtures" / "client" / "field_app.py"


class Network(httpx.BaseTransport):
    """Carries requests, or loses them, or loses the replies, or answers for a service that is too busy."""

    def __init__(self, *, loses: float = 0.0, fate: Callable[[httpx.Request], str] | None = None) -> None:
        chance = random.Random(20270116)
        self.wire = httpx.HTTPTransport()
        self.fate = fate or (lambda _: chance.choice(["request", "reply", "busy"]) if chance.random() < loses else "")
        self.lost = 0
        self.carried: list[str] = []

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        fate = self.fate(request)
        self.lost += bool(fate)
        if fate == "request":
            raise httpx.ConnectError("lost on the way")
        if fate == "busy":
            return httpx.Response(503, headers={"Retry-After": "2"}, request=request)
        if fate == "gone":
            return httpx.Response(410, json={"code": "cursor_expired"}, request=request)
        self.carried.append(str(request.url))
        answer = self.wire.handle_request(request)
        answer.read()
        if fate == "reply":
            raise httpx.ReadError("carried out, and nobody heard of it")
        return answer


@pytest.fixture(scope="module")
def client() -> ModuleType:
    """The file itself, as a script would load it."""
    spec = importlib.util.spec_from_file_location("field_app", FILE)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def vines(served: Served) -> Iterator[str]:
    """Vines of a block of their own, so that nobody has recorded anything about them."""
    blocks = f"/api/v1/farms/{served.facts['farm']}/blocks"
    block = served.ask("owner", "POST", blocks, json={"name": f"Block of the field app {uuid.uuid4()}"}).json()["id"]
    served.ask("owner", "POST", f"{blocks}/{block}/rows", json={"number": 1, "vines": 40})
    listed = served.ask("owner", "GET", f"{blocks}/{block}/vines?limit=40").json()["results"]
    return iter([vine["id"] for vine in listed])


@pytest.fixture
def phone(client, served, tmp_path) -> Callable[..., Any]:
    """Make a phone: a file of its own, the key of the field app, and a network."""
    pauses: list[float] = []

    def make(name: str = "phone", network: Network | None = None) -> Any:
        key = served.facts["keys"]["field_app"]
        service = client.Service(served.url, key, transport=network or Network(), sleep=pauses.append, trust_env=False)
        app = client.FieldApp(service, served.facts["farm"], str(tmp_path / f"{name}.sqlite"))
        app.pauses = pauses
        return app

    return make


def weighing(vine: str, pounds: float = 2.8) -> dict[str, Any]:
    return {
        "vine": vine,
        "observed_at": "2026-01-18T10:02:00-05:00",
        "pruning_weight": {"value": pounds, "unit": "lb"},
    }


def test_half_the_network_lost_and_every_record_is_there_once(phone, vines, client, monkeypatch, served):
    monkeypatch.setattr(client, "LINES_AT_ONCE", 2)
    network = Network(loses=0.5)
    app = phone(network=network)
    sent = [app.record("dormant_record", **weighing(next(vines))) for _ in range(12)]
    app.push()
    app.pull()
    assert app.standing() == {"stored": 12}
    assert network.lost >= 6 and 2.0 in app.pauses  # Retry-After was minded
    listed = served.ask("owner", "GET", f"{app.farm}/dormant-records?limit=500").json()["results"]
    assert sorted(record["id"] for record in listed if record["id"] in sent) == sorted(sent)
    assert set(sent) <= app.known("dormant_record").keys()


def test_a_phone_that_dies_before_it_hears_the_reply_sends_again_and_stores_nothing_twice(phone, vines, client):
    deaf = phone(network=Network(fate=lambda _: "reply"))
    record = deaf.record("dormant_record", **weighing(next(vines)))
    with pytest.raises(client.Offline):
        deaf.push()
    again = phone()  # the same file, after a restart
    assert again.standing() == {"waiting": 1}
    again.push()
    again.pull()
    assert again.standing() == {"stored": 1}
    assert again.known("dormant_record")[record]["version"] == 1


def test_one_bad_record_among_good_ones_is_kept_with_its_reason(phone, vines):
    app = phone()
    app.record("dormant_record", **weighing(next(vines)))
    bad = app.record("dormant_record", **weighing(next(vines), pounds=2800))
    app.push()
    app.push()  # what was refused is not sent again
    assert app.standing() == {"refused": 1, "stored": 1}
    (answer,) = app.disk.execute("SELECT answer FROM queue WHERE id = ?", (bad,)).fetchone()
    assert json.loads(answer)["errors"][0]["pointer"].endswith("/pruning_weight")


def test_two_people_who_weighed_one_vine_are_shown_both_versions_and_one_chooses(phone, vines, served):
    vine = next(vines)
    ada, tomas = phone("ada"), phone("tomas")
    theirs = ada.record("dormant_record", **weighing(vine, 2.5))
    mine = tomas.record("dormant_record", **weighing(vine, 3.1))
    ada.push()
    tomas.push()
    (conflict,) = tomas.conflicts()
    assert (conflict["mine"]["id"], conflict["theirs"]["id"]) == (mine, theirs)
    assert conflict["theirs"]["pruning_weight"]["value"] == 2.5
    tomas.resolve(mine, "mine")
    tomas.push()
    standing = served.ask("owner", "GET", f"{tomas.farm}/dormant-records/{theirs}").json()
    assert (standing["pruning_weight"]["value"], standing["version"]) == (3.1, 2)
    assert tomas.conflicts() == []


def test_a_correction_of_an_old_version_shows_what_stands_and_a_lost_reply_makes_no_conflict(phone, vines):
    app = phone()
    record = app.record("dormant_record", **weighing(next(vines)))
    app.push()
    eaten = iter(["reply"])
    app.service.client._transport = Network(fate=lambda _: next(eaten, ""))
    app.correct("dormant_record", record, 1, nodes_retained=48)
    app.push()
    assert app.conflicts() == []  # its own correction, known again
    late = app.correct("dormant_record", record, 1, nodes_retained=50)
    app.push()
    (conflict,) = app.conflicts()
    assert (conflict["entry"], conflict["theirs"]["nodes_retained"]) == (late, 48)
    app.resolve(late, "theirs")
    assert app.conflicts() == []


def test_the_feed_goes_on_where_it_was_and_is_read_anew_when_the_cursor_leads_nowhere(phone, vines):
    app, other = phone("app"), phone("other")
    app.pull()
    before = len(app.known("dormant_record"))
    record = other.record("dormant_record", **weighing(next(vines)))
    other.push()
    network = Network()
    app.service.client._transport = network
    app.pull()
    assert network.carried and all("cursor=" in address for address in network.carried)
    assert len(app.known("dormant_record")) == before + 1
    restored = iter(["gone"])
    app.service.client._transport = Network(fate=lambda _: next(restored, ""))
    app.pull()
    assert record in app.known("dormant_record") and len(app.known("dormant_record")) == before + 1
    assert len(app.known("vine")) >= 48


def test_ids_made_on_the_phone_are_of_version_7_and_in_order(client):
    ids = [client.uuid7() for _ in range(3)]
    assert {(made.version, made.variant) for made in ids} == {(7, uuid.RFC_4122)}
    assert [made.int >> 80 for made in ids] == sorted(made.int >> 80 for made in ids)


def test_the_file_runs_as_a_command(served, vines, tmp_path: Path):
    who = ["--url", served.url, "--key", served.facts["keys"]["field_app"], "--farm", served.facts["farm"]]
    argv = [sys.executable, str(FILE), *who, "--file", str(tmp_path / "phone.sqlite")]

    def run(*verb: str) -> list[str]:
        ended = subprocess.run([*argv, *verb], capture_output=True, text=True, timeout=60, check=True)
        return ended.stdout.splitlines()

    record = run("record", "dormant_record", json.dumps(weighing(next(vines))))[0]
    assert json.loads(run("sync")[-1]) == {"stored": 1}
    assert uuid.UUID(record).version == 7
