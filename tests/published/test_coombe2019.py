"""Statistics against figures published for open field data: coombe2019 of the R package InPlotSampling (MIT)."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from balance.formulas.statistics import summarise

DATA = Path(__file__).resolve().parents[3] / "shared" / "data" / "coombe2019.csv"


def test_the_pruning_weights_have_the_published_mean_deviation_and_variation():
    """n = 349 of 352, mean 2.681 kg, sd 0.926 kg, CV 34.5 % (data set's README; AAGI-AUS/InPlotSampling)."""
    if not DATA.exists():
        pytest.skip("the open data lies beside the project, in ../shared/data, and is not there")
    with DATA.open(newline="") as file:
        weights = [float(row["pruning_weight"] or math.nan) for row in csv.DictReader(file)]
    summary = summarise(weights)
    assert (summary.n, summary.missing) == (349, 3)
    assert summary.mean == pytest.approx(2.681, abs=0.0005)
    assert summary.standard_deviation == pytest.approx(0.926, abs=0.0005)
    assert summary.coefficient_of_variation == pytest.approx(34.5, abs=0.05)
