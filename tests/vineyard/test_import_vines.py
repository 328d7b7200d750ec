"""`manage.py import_vines FILE`: the first command in a fresh clone may be this one, with nothing but the file."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.vineyard.test_serve import ROOT, environment

pytestmark = pytest.mark.slow
COOMBE = ROOT.parent / "shared" / "data" / "coombe2019.csv"
LINES = ["row,vine,pruning_weight", "1,1,1.2", "1,2,[/kg]", "1,3,\x1b]0;x", "1,4,=1+1", "1,5,-1", "x,6,1.4"]


def import_vines(home: Path, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    argv = [sys.executable, "manage.py", "import_vines", *map(str, arguments)]
    return subprocess.run(
        argv, cwd=ROOT, env=environment(home), capture_output=True, text=True, timeout=90, check=False
    )


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fresh clone")


@pytest.fixture(scope="module")
def file(home: Path) -> Path:
    """Give a file of seven lines, five of them doubtful, one in the terminal's own language."""
    path = home / "lower [old].csv"
    path.write_text("\n".join(LINES))
    return path


@pytest.fixture(scope="module")
def first(home: Path, file: Path) -> subprocess.CompletedProcess[str]:
    return import_vines(home, file, "--block", "Lower", "--season", "2027", "--report", home / "findings.csv")


def test_good_lines_are_stored_and_the_others_named_and_it_ends_well(first):
    assert first.returncode == 0, first.stderr
    assert "lower [old].csv by the column map 'plain', season 2027: 5 lines stored, 0 unchanged, 1 not stored" in (
        " ".join(first.stdout.split())
    )
    assert "Block 'Lower': 1 vine weighed, 4 not; mean 1.200 kg" in " ".join(first.stdout.split())


def test_what_a_file_holds_is_shown_as_text(first):
    """Neither the markup of the table nor a control sequence reaches the terminal."""
    assert "[/kg]" in first.stdout
    assert "\x1b" not in first.stdout
    assert r"\x1b]0;x" in first.stdout


def test_the_report_has_every_finding_and_no_formula_for_a_spreadsheet(first, home):
    with (home / "findings.csv").open(newline="") as opened:
        rows = list(csv.DictReader(opened))
    assert [(row["line"], row["column"], row["value"]) for row in rows if row["line"] != "4"] == [
        ("3", "pruning_weight", "[/kg]"),
        ("5", "pruning_weight", "'=1+1"),
        ("6", "pruning_weight", "-1"),
        ("7", "row", "x"),
    ]
    assert {row["code"] for row in rows} == {"not_a_number", "out_of_range", "not_a_whole_number"}


def test_the_same_file_again_changes_nothing_and_says_so(first, home, file):
    again = import_vines(home, file, "--block", "Lower", "--season", "2027")
    assert again.returncode == 0, again.stderr
    assert "was taken in before" in again.stdout
    assert "1 vine weighed, 4 not; mean 1.200 kg" in " ".join(again.stdout.split())


@pytest.mark.parametrize(
    ("content", "arguments", "words"),
    [
        ("row,vine,pruning_weight\n1,1,1\n", [], "the harvest year that the winter belongs to"),
        ("row,plant,weight\n1,1,1\n", [], "The nearest is 'plain', which also needs pruning_weight, vine"),
        ("row,vine,pruning_weight\n1,1,1\n", ["--map", "none.json"], "none.json: No such file"),
        ("row,vine,pruning_weight\n1,1,1\n", ["--farm", "01991b5e-0000-7000-8000-00000000fa12"], "has no part in a farm"),
        (None, [], "missing.csv: No such file"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_at_all_ends_with_1_and_a_sentence(content, arguments, words, first, home):
    path = home / ("missing.csv" if content is None else "other.csv")
    if content is not None:
        path.write_text(content)
    ended = import_vines(home, path, *arguments)
    assert (ended.returncode, words in " ".join(ended.stderr.split())) == (1, True), ended.stderr
    assert "Traceback" not in ended.stderr


def test_the_real_vineyard_needs_nothing_but_its_file(first, home):
    """n = 349 of 352, mean 2.681 kg, sd 0.926 kg, CV 34.5 % (data set's README; AAGI-AUS/InPlotSampling)."""
    if not COOMBE.exists():
        pytest.skip("the open data lies beside the project, in ../shared/data, and is not there")
    ended = import_vines(home, COOMBE)
    said = " ".join(ended.stdout.split())
    assert ended.returncode == 0, ended.stderr
    assert "352 lines stored, 0 unchanged, 0 not stored; 68 findings" in said
    assert "349 vines weighed, 3 not; mean 2.681 kg, standard deviation 0.926 kg, CV 34.5 %" in said
    assert "349 targets by" in said
    assert "names no cultivar. The formula is our example" in said


def test_the_season_report_of_the_farm_is_made_from_the_command_line_too(first, home):
    argv = [sys.executable, "manage.py", "report", "lower [old]", "2027", "--form", "pdf", "json", "--to", str(home)]
    made = subprocess.run(
        argv, cwd=ROOT, env=environment(home), capture_output=True, text=True, timeout=90, check=False
    )
    assert made.returncode == 0, made.stderr
    document = json.loads((home / "report-2027-metric.json").read_text())
    assert document["blocks"][0]["name"] == "Lower"
    assert f"Check code {document['check_code']}" in " ".join(made.stdout.split())
    assert (home / "report-2027-metric.pdf").read_bytes().startswith(b"%PDF-")
