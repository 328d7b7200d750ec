"""The README keeps its word: its tour runs, and prints what it says; its table of files is there."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.vineyard.test_serve import Served

ROOT = Path(__file__).resolve().parent.parent
TEXT = (ROOT / "README.md").read_text()
pytestmark = pytest.mark.slow


def steps() -> Iterator[tuple[str, str]]:
    """Give every command of the tour with the output that the README shows."""
    for block in re.findall(r"^```console\n(.*?)^```", TEXT, re.MULTILINE | re.DOTALL):
        for step in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, _, output = step.partition("\n")
            yield command, output


def test_the_tour_prints_what_the_readme_says(tmp_path_factory):
    if shutil.which("curl") is None:
        pytest.skip("curl is not installed")
    home = tmp_path_factory.mktemp("tour")
    served = Served(home)
    try:
        (home / "ready.json").write_text(served.file.read_text())
        mark = "=== next"
        script = "\n".join(f"{command}\necho '{mark}'" for command, _ in steps())
        ended = subprocess.run(
            ["bash", "-c", script], cwd=home, capture_output=True, text=True, timeout=90, check=False
        )
    finally:
        served.process.terminate()
        served.process.wait(30)
    printed = ended.stdout.split(mark + "\n")
    assert ended.stderr == ""
    for (command, expected), output in zip(steps(), printed, strict=False):
        assert output == expected, command


def test_the_readme_opens_with_the_job_and_names_the_two_commands():
    assert TEXT.index("weighs the one-year-old wood") < TEXT.index("## Two commands")
    assert "python3 -m pip install uv && uv run manage.py demo\nuv run pytest\n" in TEXT


def test_the_top_level_is_exactly_as_designed():
    ours = {
        path.name
        for path in ROOT.iterdir()
        if not path.name.startswith(".") and path.name not in {"uv.lock", "secrets"}
    }
    assert ours == {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "manage.py", "vineyard", "records", "balance", "tests",
        "docker-compose.yml", "fixtures",
    }  # fmt: skip


@pytest.mark.parametrize(
    "path", sorted(set(re.findall(r"`((?:vineyard|records|balance|fixtures|tests)/[\w./]+)`", TEXT)))
)
def test_a_file_that_the_readme_names_is_there(path):
    assert (ROOT / path).exists()
