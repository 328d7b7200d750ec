"""Every k-th vine of a real block against as many at random: how far the mean is off.

The weights are those of the open data set coombe2019 (AAGI-AUS/InPlotSampling, MIT, Univ. Adelaide Biometry Hub), in
../shared/data; where it is absent, nothing is printed.  Every k-th vine is tried from each of its k starts, and the
draw of this service, with its fractional interval, from each of a thousand seeds; random vines are simulated.
"""

from __future__ import annotations

import csv
import math
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from balance.formulas.samples.sample_draw import systematic
from tests.bench.pairs import Figure

DATA: Final = Path(__file__).resolve().parents[3] / "shared" / "data" / "coombe2019.csv"
EVERY: Final = (5, 10, 15, 20)
SIMULATED: Final = 20_000
SEEDS: Final = 1000


def weights_of_the_block() -> NDArray[np.float64]:
    """Give the weights in walking order, which is that of the file [kg]; vines that were not weighed are left out."""
    with DATA.open(newline="") as file:
        return np.array([float(row["pruning_weight"]) for row in csv.DictReader(file) if row["pruning_weight"]])


def off_by(means: Iterable[float], truth: float) -> float:
    """Give the root mean square error of means [% of the truth]."""
    errors = np.array(list(means)) / truth - 1
    return 100 * math.sqrt(float(np.mean(errors**2)))


def figures() -> Iterator[Figure]:
    if not DATA.exists():
        print(f"sampling_draws: no {DATA.name} beside the project, so nothing to draw from", file=sys.stderr)
        return
    weights = weights_of_the_block()
    count, truth, chance = len(weights), float(weights.mean()), np.random.default_rng(2019)
    for every in EVERY:
        wanted = count // every
        at_random = off_by((chance.choice(weights, wanted, replace=False).mean() for _ in range(SIMULATED)), truth)
        every_kth = off_by((weights[start::every].mean() for start in range(every)), truth)
        ours = off_by((weights[systematic(count, wanted, seed)].mean() for seed in range(SEEDS)), truth)
        ratio = every_kth / at_random
        note = f"{wanted} of {count} vines: every {every}th errs by {every_kth:.2f} %, random by {at_random:.2f} %"
        yield Figure(
            f"sampling_draws_{every}",
            round(ratio, 2),
            "<= 1.05 x random vines",
            ratio <= 1.05,
            f"{note}; drawn by a seed {ours:.2f} %",
        )
