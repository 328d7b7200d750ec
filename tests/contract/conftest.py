"""What the tests of the contract share: the document as generated now, a served stack, and the Node tools."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.vineyard.test_serve import Served

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
NODE_TOOLS = ROOT / ".venv" / "contract"


@pytest.fixture(scope="session")
def document(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The OpenAPI document of the code as it is, as a client would load it."""
    file = tmp_path_factory.mktemp("document") / "openapi.yaml"
    argv = [sys.executable, "manage.py", "spectacular", "--file", str(file)]
    subprocess.run(argv, cwd=ROOT, check=True, capture_output=True, timeout=60)
    return file


@pytest.fixture(scope="session")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The whole service with the invented scenario, over loopback."""
    running = Served(tmp_path_factory.mktemp("contract"))
    yield running
    running.process.terminate()
    running.process.wait(30)


@pytest.fixture(scope="session")
def node(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., str]:
    """Run one of the Node tools by its name, in a folder of its own with the tools beside it."""
    if shutil.which("node") is None or not (NODE_TOOLS / "node_modules").is_dir():
        pytest.skip("Node.js or its tools are missing: run .ci/node_tools, as .ci/run does, and this test runs.")
    quiet = {"REDOCLY_TELEMETRY": "off", "REDOCLY_SUPPRESS_UPDATE_NOTICE": "true", "NO_COLOR": "1"}

    def run(tool: str, *arguments: str, cwd: Path, **settings: str) -> str:
        argv = [str(NODE_TOOLS / "node_modules" / ".bin" / tool) if tool != "node" else "node", *arguments]
        env = {**os.environ, **quiet, **settings}
        ended = subprocess.run(argv, cwd=cwd, env=env, capture_output=True, text=True, timeout=100, check=False)
        assert ended.returncode == 0, f"{tool} {' '.join(arguments)}:\n{ended.stdout}\n{ended.stderr}"
        return ended.stdout

    return run
