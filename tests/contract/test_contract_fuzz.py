"""Schemathesis with every check and every phase against the served stack: no failure, and no operation left out."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.contract.conftest import HERE
from tests.vineyard.test_serve import Served

pytestmark = [pytest.mark.slow, pytest.mark.timeout(900)]

#: A schema says what is well formed. Well formed and refused all the same: another version stands (412, RFC 9110
#: section 15.5.13), a rule of the records refuses it (422). A 400 would mean that the document does not say all it holds.
WELL_FORMED_BUT_REFUSED = [401, 403, 404, 409, 410, 412, 422]
#: RFC 9110, section 13.1.2: ``If-None-Match: *`` asks for nothing where there is anything.
NOT_SENT_AGAIN = [304]
#: A body without a length (411), an ETag that can match nothing (412), a body too large (413): refusals as well.
REFUSED = [400, 401, 403, 404, 405, 406, 409, 411, 412, 413, 415, 422, 428, 429]
#: RFC 6585, section 3: the answer to a change without If-Match.
HEADER_MISSING = [428]
EXAMPLES_AN_OPERATION = 3
STATEFUL_EXAMPLES = 25


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    """A service of the fuzzer's own: what it leaves of a farm is nobody else's ground."""
    home = tmp_path / "home"
    home.mkdir()
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("WEBHOOKS_ONLY_LISTED", "yes")  # the fuzzer makes receivers up: nothing leaves this machine
        running = Served(home)
    yield running
    running.process.terminate()
    running.process.wait(30)


@pytest.fixture
def ground(served: Served) -> dict[str, list[str]]:
    """A farm to fuzz, with one of everything on it; gives real ids by the parameter that takes them."""

    def made(path: str, body: Any, **kwargs: Any) -> Any:
        content = {"content": body} if isinstance(body, str) else {"json": body}
        answer = served.ask("owner", "POST", f"/api/v1/farms{path}", **content, **kwargs)
        assert answer.is_success, answer.text
        return answer.json()

    columns = {"name": "Fuzzed farm (invented)", "hemisphere": "north", "time_zone": "America/New_York"}
    farm = made("", columns)["id"]
    block = made(f"/{farm}/blocks", {"name": "Fuzzed block (invented)", "cultivar": "concord"})["id"]
    made(f"/{farm}/blocks/{block}/rows", {"number": 1, "vines": 40})
    vines = served.ask("owner", "GET", f"/api/v1/farms/{farm}/blocks/{block}/vines?limit=40").json()["results"]
    when = "2026-01-18T10:02:00-05:00"
    weighed = [made(f"/{farm}/dormant-records", {"vine": vine["id"], "observed_at": when}) for vine in vines[:3]]
    own = {"code": "own-fuzzed", "label": "fuzzed (invented)", "source": "invented"}
    made(f"/{farm}/formulas", {**own, "kind": "fixed", "first_nodes": 80})
    made(f"/{farm}/ranges", {**own, "measure": "mean_cane_weight", "low": 20, "unit": "g"})
    choice = made(f"/{farm}/range-choices", {"measure": "mean_cane_weight", "range": "own-fuzzed"})["id"]
    failing = {"vine": vines[5]["id"], "scope": "cordon", "cordon": "left", "noticed_on": "2025-01-10"}
    case = made(f"/{farm}/cordon-cases", failing)["id"]
    cordons = made(f"/{farm}/cordon-settings", {"blank_share_percent": 40})["id"]
    report = made(f"/{farm}/reports", {"season": 2026, "units": "metric"})["id"]
    schedule = made(f"/{farm}/report-schedules", {"units": "metric"})["id"]
    told = {"url": "https://receiver.example/farm", "events": ["report.ready"]}
    endpoint = made(f"/{farm}/webhook-endpoints", told)["id"]
    csv = {"headers": {"Content-Type": "text/csv"}}
    taken = made(f"/{farm}/imports?block=Fuzzed+file&season=2026", "row,vine,pruning_weight\n1,1,1.25\n", **csv)
    return {
        "path.farm": [farm],
        "path.block": [block],
        "path.vine": [vine["id"] for vine in vines],
        "path.record": [record["id"] for record in weighed],
        "path.program": [served.facts["program"]],
        "path.formula": ["own-fuzzed@1", "american-30-10-lb@1"],
        "path.range": ["own-fuzzed@1"],
        "path.choice": [choice],
        "path.import_id": [taken["import"]["id"]],
        "path.case": [case],
        "path.settings": [cordons],
        "path.report": [report],
        "path.schedule": [schedule],
        "path.endpoint": [endpoint],
        "path.job": [taken["job"]["id"]],
        "body.vine": [vine["id"] for vine in vines],
        "body.block": [block],
        "body.cultivar": ["concord", "reliance"],
        "body.range": ["own-fuzzed"],
        "query.cultivar": ["concord"],
        "query.farm": [farm],
        "body.time_zone": ["America/New_York", "Europe/Paris"],
    }


def settings(ground: dict[str, list[str]]) -> str:
    """Write the settings of the fuzzer: every check, every phase, and real ids most of the time."""
    lines = [
        "seed = 20270116",
        "continue-on-failure = true",
        "workers = 1",  # two threads that compile code at once meet a race in CPython 3.11
        f"hooks = {json.dumps(str((HERE / 'fuzz_hooks.py').relative_to(HERE.parents[1])))}",
        'headers = { Authorization = "Bearer ${OWNER_KEY}" }',
        'phases.coverage.unexpected-methods = ["PUT", "TRACE"]',  # the rest of them meet the same one check
        f"phases.stateful.generation.max-examples = {STATEFUL_EXAMPLES}",
        f"checks.positive_data_acceptance.expected-statuses = {['2xx', *map(str, NOT_SENT_AGAIN + WELL_FORMED_BUT_REFUSED)]}",
        f"checks.negative_data_rejection.expected-statuses = {REFUSED}",
        f"checks.missing_required_header.expected-statuses = {HEADER_MISSING}",
        "[parameters]",
        *(f"{json.dumps(slot)} = {{ dictionary = {json.dumps(slot)}, probability = 0.8 }}" for slot in ground),
        "[dictionaries]",
        *(f"{json.dumps(slot)} = {{ values = {json.dumps(values)} }}" for slot, values in ground.items()),
    ]
    return "\n".join(lines) + "\n"


def test_no_check_of_any_phase_fails(served, ground, tmp_path: Path):
    config = tmp_path / "schemathesis.toml"
    config.write_text(settings(ground))
    argv = [
        str(Path(sys.executable).with_name("st")),
        "--config-file",
        str(config),
        "run",
        f"{served.url}/openapi.json",
    ]
    argv += ["--url", served.url, "--checks", "all", "--max-examples", str(EXAMPLES_AN_OPERATION), "--no-color"]
    argv += ["--generation-deterministic"]
    environment = {**os.environ, "OWNER_KEY": served.facts["keys"]["owner"], "FUZZED": served.url}
    ended = subprocess.run(
        argv, cwd=HERE.parents[1], env=environment, capture_output=True, text=True, timeout=850, check=False
    )
    assert ended.returncode == 0, ended.stdout[-20_000:] + ended.stderr
    operations = sum(len(item) for item in served.ask("owner", "GET", "/openapi.json").json()["paths"].values())
    assert f"Selected: {operations}/{operations}" in ended.stdout
    assert f"Tested: {operations}" in ended.stdout
    for phase in ("Examples", "Coverage", "Fuzzing", "Stateful"):
        assert f"✅ {phase}" in ended.stdout
