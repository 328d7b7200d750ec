"""The catalogues: every row has its source, and a stored formula is never changed."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import pytest

from records.models import Cultivar, PruningFormula
from records.services.catalogue import ChangedVersion, load_catalogues

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "catalogue"
FILES = sorted(FOLDER.glob("*.csv"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_row_names_its_source_and_how_well_it_is_known(path):
    with path.open(newline="") as file:
        for row in csv.DictReader(file):
            assert row["source"].strip(), row
            assert row["source_mark"] in {"READ", "READ*", "COMPUTED", "MEMORY", "common practice, no source"}, row


def test_no_formula_that_is_only_remembered_is_shipped():
    with (FOLDER / "pruning_formulas.csv").open(newline="") as file:
        assert {row["source_mark"] for row in csv.DictReader(file)} <= {"READ", "READ*"}


@pytest.mark.django_db
def test_loading_twice_changes_nothing(catalogue):
    before = list(PruningFormula.objects.values()), list(Cultivar.objects.values())
    load_catalogues(FOLDER)
    assert (list(PruningFormula.objects.values()), list(Cultivar.objects.values())) == before


@pytest.mark.django_db
def test_a_changed_version_is_refused_and_a_new_version_is_taken(catalogue, tmp_path):
    folder = tmp_path / "catalogue"
    shutil.copytree(FOLDER, folder)
    file = folder / "pruning_formulas.csv"
    text = file.read_text()
    file.write_text(
        text.replace(
            "american-30-10-lb,1,30+10 per lb,first_and_further,30,10",
            "american-30-10-lb,1,30+10 per lb,first_and_further,30,12",
        )
    )
    with pytest.raises(ChangedVersion, match="american-30-10-lb version 1.*further_nodes.*next version"):
        load_catalogues(folder)
    file.write_text(
        text + "american-30-10-lb,2,30+12 per lb,first_and_further,30,12,1,[lb_av],american,,no,,,,,,,,a test,READ,\n"
    )
    load_catalogues(folder)
    assert PruningFormula.objects.filter(code="american-30-10-lb").count() == 2


@pytest.mark.django_db
def test_every_group_has_exactly_one_default_formula(catalogue):
    groups = set(Cultivar.objects.values_list("group", flat=True))
    defaults = PruningFormula.objects.filter(is_default=True, cultivar=None)
    assert sorted(defaults.values_list("group", flat=True)) == sorted(groups)
