"""The steps of thinning one vine, in words and numbers that can be checked by hand."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from balance.formulas.counting import counted
from balance.formulas.methods import Working
from balance.formulas.targets.explanation import plain
from balance.formulas.yields.shoot_thinning import ShootShare


def crop_load_step(pruning_weight_kg: float, crop_load: float, wanted_kg: float) -> Working:
    """Give the step from the pruning weight to the wanted yield.

    Examples
    --------
    >>> crop_load_step(2, 10, 20).calculation
    '2 kg × 10 = 20 kg'
    """
    return Working(
        "wanted yield",
        f"{plain(pruning_weight_kg, 6)} kg of prunings carry {plain(wanted_kg)} kg at this crop load.",
        f"{plain(pruning_weight_kg, 6)} kg × {plain(crop_load)} = {plain(wanted_kg)} kg",
        wanted_kg,
        "kg",
    )


def area_step(yield_kg: float, vines: float, wanted_kg: float) -> Working:
    """Give the step from the wanted yield of an area to that of one vine.

    Examples
    --------
    >>> area_step(8000, 1600, 5).calculation
    '8000 kg ÷ 1600 = 5 kg'
    """
    return Working(
        "wanted yield",
        f"{plain(yield_kg)} kg on {plain(vines)} bearing vines are {plain(wanted_kg)} kg a vine.",
        f"{plain(yield_kg)} kg ÷ {plain(vines)} = {plain(wanted_kg)} kg",
        wanted_kg,
        "kg",
    )


def leave_steps(wanted_kg: float, cluster_kg: float, unrounded: float, leave: int) -> list[Working]:
    """Give the steps from the wanted yield to whole clusters.

    Examples
    --------
    >>> for step in leave_steps(9.1, 0.2, 45.5, 45):
    ...     print(step.sentence, step.calculation, sep="  ")
    9.1 kg of clusters of 0.2 kg are 45.5 clusters.  9.1 kg ÷ 0.2 kg = 45.5
    Rounded to the nearest whole cluster, a half towards fewer: 45.  45.5 → 45
    """
    clusters = (
        f"{plain(wanted_kg)} kg of clusters of {plain(cluster_kg, 6)} kg are {counted(plain(unrounded), 'cluster')}."
    )
    steps = [
        Working(
            "clusters to leave",
            clusters,
            f"{plain(wanted_kg)} kg ÷ {plain(cluster_kg, 6)} kg = {plain(unrounded)}",
            unrounded,
            "1",
        )
    ]
    if unrounded != leave:
        sentence = f"Rounded to the nearest whole cluster, a half towards fewer: {leave}."
        steps.append(Working("rounding", sentence, f"{plain(unrounded)} → {leave}", leave, "1"))
    return steps


def take_off_step(clusters: int, leave: int) -> Working:
    """Give the step from the clusters counted to those taken off, or say that there are too few.

    Examples
    --------
    >>> take_off_step(60, 45).sentence
    'Of 60 clusters 15 are taken off.'
    >>> take_off_step(30, 45).sentence
    'The vine has 30 clusters, 15 too few for the wanted yield: none is taken off.'
    """
    if clusters >= leave:
        sentence = f"Of {counted(clusters, 'cluster')} {counted(clusters - leave, 'is', 'are')} taken off."
        return Working(
            "clusters to take off", sentence, f"{clusters} − {leave} = {clusters - leave}", clusters - leave, "1"
        )
    lacking = leave - clusters
    sentence = (
        f"The vine has {counted(clusters, 'cluster')}, {lacking} too few for the wanted yield: none is taken off."
    )
    return Working("clusters to take off", sentence, f"{clusters} < {leave}", 0, "1")


def expected_step(clusters: int, cluster_kg: float, expected_kg: float) -> Working:
    """Give the step from the clusters that are left to the yield to expect.

    Examples
    --------
    >>> expected_step(45, 0.2, 9).calculation
    '45 × 0.2 kg = 9 kg'
    """
    return Working(
        "expected yield",
        f"{counted(clusters, 'cluster')} at {plain(cluster_kg, 6)} kg: {plain(expected_kg)} kg.",
        f"{clusters} × {plain(cluster_kg, 6)} kg = {plain(expected_kg)} kg",
        expected_kg,
        "kg",
    )


def per_shoot_step(leave: int, shoots: int, share: ShootShare) -> Working:
    """Give the step from the clusters of a vine to those of a shoot.

    Examples
    --------
    >>> from balance.formulas.yields.shoot_thinning import per_shoot
    >>> per_shoot_step(45, 40, per_shoot(45, 40)).sentence
    'On 40 shoots: 1 on each of 35 and 2 on each of 5, the fewer on the short ones.'
    """
    dealt = f"{share.fewer} on each of {share.shoots_with_fewer}"
    if share.shoots_with_more:
        dealt += f" and {share.more} on each of {share.shoots_with_more}, the fewer on the short ones"
    return Working(
        "clusters per shoot",
        f"On {counted(shoots, 'shoot')}: {dealt}.",
        f"{leave} ÷ {shoots} = {plain(share.mean)}",
        share.mean,
        "1",
    )


def by_length_step(clusters: ArrayLike) -> Working:
    """Give the step from the clusters of each shoot to those of the vine.

    Examples
    --------
    >>> by_length_step([0, 1, 2, 2]).sentence
    'Of 4 shoots 1 keeps 0, 1 keeps 1, 2 keep 2: 5 clusters.'
    """
    kept, shoots = np.unique(np.asarray(clusters, dtype=np.int64), return_counts=True)
    dealt = [(int(number), int(each)) for number, each in zip(shoots, kept, strict=True)]
    total = sum(number * each for number, each in dealt)
    words = ", ".join(f"{counted(number, 'keeps', 'keep')} {each}" for number, each in dealt)
    calculation = " + ".join(f"{number} × {each}" for number, each in dealt)
    return Working(
        "clusters by shoot length",
        f"Of {counted(int(shoots.sum()), 'shoot')} {words}: {counted(total, 'cluster')}.",
        f"{calculation} = {total}",
        total,
        "1",
    )
