"""Clients that generators make of the OpenAPI document, one in Python and one in TypeScript, live through one day.

Both do the same as the same person: a fault of the document shows as a member that is missing, an enumeration
that cannot be named, or a type that does not compile.
"""

from __future__ import annotations

import importlib
import io
import json
import re
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from tests.contract.conftest import HERE, NODE_TOOLS

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]

THE_DAY = {
    "farms": True,
    "row": 1,
    "spacing": 2.7,
    "target": 48,
    "outcome": "too_few",
    "slip": "one_further_unit_left_out",
    "stale": "stale",
    "bulk": ["created", "already_recorded"],
    "told": True,
    "job": "succeeded",
    "lines": {"created": 2, "updated": 0, "completed": 0, "unchanged": 0, "not_stored": 0, "with_findings": 1},
}
COMPILER = {
    "strict": True,
    "target": "es2022",
    "module": "nodenext",
    "moduleResolution": "nodenext",
    "types": [],
    "lib": ["es2022", "dom"],
}


def test_a_typescript_client_compiles_and_lives_through_the_day(document, served, node, tmp_path):
    (tmp_path / "node_modules").symlink_to(NODE_TOOLS / "node_modules")
    (tmp_path / "package.json").write_text('{"type": "module"}')
    (tmp_path / "tsconfig.json").write_text(json.dumps({"compilerOptions": COMPILER, "include": ["scenario.ts"]}))
    (tmp_path / "scenario.ts").write_text((HERE / "scenario.ts").read_text().replace('"./api"', '"./api.js"'))
    node("openapi-typescript", str(document), "--output", "api.d.ts", cwd=tmp_path)
    node("tsc", "--project", ".", cwd=tmp_path)
    key = served.facts["keys"]["owner"]
    assert json.loads(node("node", "scenario.js", cwd=tmp_path, BASE_URL=served.url, KEY=key)) == THE_DAY


@pytest.fixture
def generated(document: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], ModuleType]:
    """Give the modules of a client that was generated just now."""
    argv = [sys.executable, "-m", "openapi_python_client", "generate", "--meta", "none"]
    argv += ["--path", str(document), "--output-path", str(tmp_path / "generated_client")]
    ended = subprocess.run(argv, cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False)
    assert ended.returncode == 0, ended.stderr
    said = ended.stdout + ended.stderr
    unread = set(re.findall(r"nsupported content[ _]type ([a-z0-9/.+-]+)", said))
    assert unread <= FORMS_IT_CANNOT_READ
    assert said.count("WARNING parsing") == said.count("nsupported content") and "ERROR" not in said
    monkeypatch.syspath_prepend(str(tmp_path))
    return lambda name: importlib.import_module(f"generated_client.{name}")


#: The generator knows JSON and forms; each of these addresses takes or gives one of those as well, but for the ZIP.
FORMS_IT_CANNOT_READ = {
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "application/x-ndjson",
    "application/zip",
    "text/csv",
}


def test_a_python_client_lives_through_the_day(generated, served):
    client = generated("client").AuthenticatedClient(base_url=served.url, token=served.facts["keys"]["owner"])
    assert PythonDay(generated, client).live() == THE_DAY


class PythonDay:
    """The day of scenario.ts, by the generated Python client."""

    def __init__(self, generated: Callable[[str], ModuleType], client: Any) -> None:
        self.models = generated("models")
        self.types = generated("types")
        self.module = generated
        self.client = client

    def ask(self, operation: str, *ids: Any, **kwargs: Any) -> Any:
        answer = self.module(f"api.{operation}").sync_detailed(*ids, client=self.client, **kwargs)
        return answer.parsed

    def live(self) -> dict[str, Any]:
        m = self.models
        me = self.ask("farms.me_retrieve")
        farms = self.ask("farms.farms_list", limit=10).results
        farm = farms[0].id
        spacing = m.LengthInRequest(value=2.7, unit="m")
        block = m.BlockInRequest(name="From Python", cultivar="concord", row_spacing=spacing)
        block = self.ask("blocks_and_vines.farms_blocks_create", farm, body=block)
        row = self.ask("blocks_and_vines.farms_blocks_rows_create", farm, block.id, body=m.RowInRequest(number=1))
        vine = m.VineInRequest(row_number=row.number, place=1)
        vine = self.ask("blocks_and_vines.farms_blocks_vines_create", farm, block.id, body=vine)
        weighed, counted, stale = self.weigh(farm, vine)
        bulk, told = self.in_bulk(farm, vine)
        taken = self.ask("imports.farms_imports_create", farm, body=self.file())
        job = self.ended(farm, taken.job.id)
        imported = self.ask("imports.farms_imports_retrieve", farm, taken.import_.id)
        return {
            "farms": len(farms) == len(me.farms),
            "row": row.number,
            "spacing": block.row_spacing.m,
            "target": weighed.target.nodes,
            "outcome": counted.verdict.outcome.value,
            "slip": counted.verdict.slips[0].code,
            "stale": stale.code.value,
            "bulk": bulk,
            "told": told,
            "job": job,
            "lines": imported.counts.to_dict(),
        }

    def weigh(self, farm: Any, vine: Any) -> tuple[Any, Any, Any]:
        m = self.models
        weighing = m.DormantRecordInRequest(
            vine=vine.id,
            observed_at=datetime.fromisoformat("2026-01-18T10:02:00-05:00"),
            pruning_weight=m.MassInRequest(value=2.8, unit="lb"),
            scale_resolution=m.MassInRequest(value=0.25, unit="lb"),
        )
        weighed = self.ask("dormant_records.farms_dormant_records_create", farm, body=weighing)
        version = f'"{weighed.version}"'
        change = "dormant_records.farms_dormant_records_partial_update"
        count = m.PatchedDormantRecordPatchRequest(nodes_retained=38)
        counted = self.ask(change, farm, weighed.id, body=count, if_match=version)
        count = m.PatchedDormantRecordPatchRequest(nodes_retained=40)
        return weighed, counted, self.ask(change, farm, weighed.id, body=count, if_match=version)

    def in_bulk(self, farm: Any, vine: Any) -> tuple[list[str], bool]:
        m = self.models
        shoots = m.ShootCountLineRequest(
            kind=m.ShootCountLineKindEnum.SHOOT_COUNT,
            vine=vine.id,
            observed_at=datetime.fromisoformat("2026-05-20T09:15:00-04:00"),
            count_shoots=44,
        )
        again = m.DormantRecordLineRequest(
            kind=m.DormantRecordLineKindEnum.DORMANT_RECORD,
            vine=vine.id,
            observed_at=datetime.fromisoformat("2026-01-19T10:02:00-05:00"),
        )
        results = self.ask("records_in_bulk.farms_records_create", farm, body=[shoots, again]).results
        changes = self.ask("changes.farms_changes_retrieve", farm, limit=500, kinds="shoot_count").results
        told = [str(change.id) for change in changes if change.operation.value == "stored"]
        return [each.error.code.value if each.error else each.status.value for each in results], results[0].id in told

    def file(self) -> Any:
        text = io.BytesIO(b"row,vine,pruning_weight\n1,1,1.25\n1,2,heavy\n")
        file = self.types.File(payload=text, file_name="vines.csv", mime_type="text/csv")
        return self.models.ImportFileRequest(file=file, block="File from Python", season="2026")

    def ended(self, farm: Any, job: Any) -> str:
        for _ in range(300):
            state: str = self.ask("jobs.farms_jobs_retrieve", farm, job).state.value
            if state in {"succeeded", "failed"}:
                return state
            time.sleep(0.1)
        pytest.fail("the job did not end")
