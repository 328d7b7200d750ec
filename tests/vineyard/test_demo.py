"""`manage.py demo`: real targets on the real service, printed for a person; the same again changes nothing."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import psutil
import pytest

from tests.vineyard.test_serve import environment

ROOT = Path(__file__).resolve().parents[2]
pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("home")


def run(home: Path, *command: str) -> subprocess.CompletedProcess[str]:
    argv = [sys.executable, "manage.py", *command]
    return subprocess.run(
        argv, cwd=ROOT, env=environment(home), capture_output=True, text=True, timeout=240, check=False
    )


@pytest.fixture(scope="module")
def first(home: Path) -> subprocess.CompletedProcess[str]:
    return run(home, "demo")


def test_it_ends_well_and_leaves_nothing_running(first, home):
    assert first.returncode == 0, first.stderr
    assert [p for p in psutil.process_iter(["cmdline"]) if str(home) in " ".join(p.info["cmdline"] or [])] == []


@pytest.mark.parametrize(
    "words",
    [
        "48 ± 3", "too few by 10", "1.8 × 10 = 18", "30 + 18 = 48", "The scale's ±0.25 lb is worth ±2.5 nodes, so ±3.",
        "38 nodes were left, 10 too few", 'when the first 10 of the "+10" is left out', "no number: below formula range",
        "16 of 24 vines weighed", "five years of 3 farms and 7 blocks", "the work of winter 2025/2026",
        "First at Sallow Ridge", "the thresholds are the farms' own", "Ohio State Univ.", "Guide only", "invented", "serve --demo",
        "All farms of one adviser at the end of season 2026", "things want a look: counts off target 7",
        "Season-end reports of the harvest of 2025", "Sallow Ridge Vineyard (invented): 1 in balance, 1 under; check code",
    ],
)  # fmt: skip
def test_a_person_can_check_it_by_hand(words, first):
    unwrapped = " ".join(first.stdout.replace("│", " ").split())
    assert words in unwrapped


def test_the_reports_of_all_farms_lie_where_it_says(first, home):
    files = sorted((home / "demo" / "reports").iterdir())
    assert [file.suffix for file in files] == [".html", ".pdf"] * 3
    assert all(file.read_bytes().startswith(b"%PDF-" if file.suffix == ".pdf" else b"<!") for file in files)


def test_a_second_run_stores_nothing_twice(first, home):
    again = run(home, "demo")
    assert again.returncode == 0, again.stderr
    assert "16 of 16 weighings were known from an earlier run: nothing was stored twice" in again.stdout
    assert "The five years were known from an earlier run: nothing was stored twice" in again.stdout


def test_no_line_is_wider_than_the_page(first):
    assert max(len(line) for line in first.stdout.splitlines()) <= 100


def test_a_start_as_a_role_that_can_look_over_the_walls_is_refused(first, home):
    """The owner of the tables, and a superuser, given as the serving role."""
    script = (
        "import sys, subprocess, os; from pathlib import Path; from vineyard.stack import Stack\n"
        "with Stack(Path(sys.argv[1])) as stack:\n"
        "    told = stack.environment(); owner = told['DATABASE_OWNER_URL']\n"
        "    for address in (owner, owner.replace('vineyard_owner@', 'postgres@')):\n"
        "        env = {**os.environ, **told, 'SECRET_KEY': 'x' * 50, 'DATABASE_URL': address}\n"
        "        ended = subprocess.run([sys.executable, 'manage.py', 'serve', '--port', '0'], env=env, capture_output=True, text=True)\n"
        "        print(ended.returncode, ended.stderr)\n"
        "        wsgi = subprocess.run([sys.executable, '-c', 'import vineyard.wsgi'], env=env, capture_output=True, text=True)\n"
        "        print(wsgi.returncode, wsgi.stderr)\n"
    )
    argv = [sys.executable, "-c", script, str(home / "demo")]
    ended = subprocess.run(
        argv, cwd=ROOT, env=environment(home), capture_output=True, text=True, timeout=240, check=True
    )
    assert ended.stdout.count("which owns the tables") == 2
    assert ended.stdout.count("'postgres', which is a superuser") == 2
    assert [line[0] for line in ended.stdout.splitlines() if line[:2] in {"0 ", "1 ", "2 "}] == ["1"] * 4
