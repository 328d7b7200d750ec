"""A batch in the wrong unit is flagged against its block's history, and never corrected."""

from __future__ import annotations

import csv
import json
import random
import statistics
import uuid
from pathlib import Path

import pytest
from django.db import transaction
from hypothesis import given
from hypothesis import strategies as st

from records.services.unit_doubts import likely_unit
from tests.records.yard import Bulk

POUND = 0.45359237
in_transactions_of_their_own = pytest.mark.django_db(transaction=True)


@pytest.fixture
def bulk(cast) -> Bulk:
    with transaction.atomic():
        return Bulk(cast)


@in_transactions_of_their_own
def test_pounds_sent_as_kilograms_are_flagged_and_stored_as_sent(bulk):
    assert bulk.send(bulk.weighings(12)).json()["doubts"] == []
    wrong = [
        {**row, "id": str(uuid.uuid4()), "observed_at": "2028-01-20T10:02:00-05:00",
         "pruning_weight": {"value": row["pruning_weight"]["value"], "unit": "kg"}}
        for row in bulk.weighings(12)
    ]  # fmt: skip
    answer = bulk.send(wrong).json()
    assert [(each["block"], each["sent_unit"], each["likely_unit"], each["records"]) for each in answer["doubts"]] == [
        (str(bulk.block.pk), "kg", "[lb_av]", 12)
    ]
    stored = bulk.client.get(f"{bulk.url}/dormant-records/{wrong[0]['id']}").json()
    assert stored["pruning_weight"]["value"] == wrong[0]["pruning_weight"]["value"]


@in_transactions_of_their_own
def test_a_few_weights_or_a_block_without_a_history_raise_no_doubt(bulk):
    assert bulk.send(bulk.weighings(12, pruning_weight={"value": 40, "unit": "kg"})).json()["doubts"] == []
    few = [{**row, "observed_at": "2028-01-20T10:02:00-05:00"} for row in bulk.weighings(7)]
    assert bulk.send(few).json()["doubts"] == []


def weights() -> list[float]:
    """Give real weights: coombe2019 of shared data where it is laid out, else its published mean and spread."""
    path = Path(__file__).resolve().parents[3] / "shared" / "data" / "coombe2019.csv"
    if path.exists():
        with path.open(newline="") as file:
            rows = list(csv.DictReader(file))
        column = next(name for name in rows[0] if "pruning" in name.lower())
        return [float(row[column]) for row in rows if row[column] not in {"", "NA"}]
    rng = random.Random(7)  # trade.md, section 12: mean 2.681, sd 0.926 kg
    return [max(0.7, rng.gauss(2.681, 0.926)) for _ in range(349)]


@pytest.mark.parametrize(("unit", "factor"), [("kg", 1 / POUND), ("[lb_av]", POUND)])
def test_of_a_thousand_planted_batches_nearly_all_are_flagged_and_of_clean_ones_hardly_any(unit, factor):
    """The bar of trust.md, E4: at least 95 % of planted batches, at most 1 % of clean ones; years differ by ± 15 %."""
    rng, known = random.Random(2019), weights()
    planted, clean = [], []
    for _ in range(1000):
        rng.shuffle(known)
        before, batch = known[:60], known[60:90]
        year = rng.lognormvariate(0, 0.15)
        ratio = year * statistics.median(batch) / statistics.median(before)
        planted.append(likely_unit(unit, ratio * factor) is not None)
        clean.append(likely_unit(unit, ratio) is not None)
    assert sum(planted) >= 950
    assert sum(clean) <= 10


@given(ratio=st.floats(0.7, 1.45), unit=st.sampled_from(["kg", "[lb_av]", "g", "[oz_av]"]))
def test_what_years_do_is_not_remarked_on(ratio, unit):
    assert likely_unit(unit, ratio) is None


@in_transactions_of_their_own
def test_the_doubt_is_a_sentence_with_both_medians_and_the_way_out(bulk):
    bulk.send(bulk.weighings(12))
    wrong = [
        {**row, "observed_at": "2028-01-20T10:02:00-05:00", "pruning_weight": {"value": 2, "unit": "kg"}}
        for row in bulk.weighings(12)
    ]
    detail = json.loads(bulk.send(wrong).content)["doubts"][0]["detail"]
    assert "2.00 kg" in detail
    assert "correct them" in detail
