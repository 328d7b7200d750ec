"""Crop load: the crop of a growing season over the prunings weighed in the dormant season that follows it."""

from __future__ import annotations

from typing import Final

from numpy.typing import ArrayLike

from balance.formulas.crops.quotients import Quotients, Ratio, divide
from balance.formulas.methods import READ, Method
from balance.formulas.ranges import ABOVE, BELOW

CROP_LOAD: Final = Ratio("crop load", "1", "The yield", "The pruning weight", most=1000)
LEAF_AREA_PER_YIELD: Final = Ratio("leaf area per crop", "m2/kg", "The leaf area", "The yield", most=100)

METHOD: Final = Method(
    code="crop-load",
    version=1,
    label="Yield : pruning weight",
    expression="yield ÷ weight of the one-year-old prunings of the dormant season that follows that harvest",
    source="Practical Winery & Vineyard, June 2017 (pairing of the two seasons, and that no range holds everywhere); "
    "Kliewer & Dokoozlian 2005, Am. J. Enol. Vitic. 56:170-181 (worked figures)",
    mark=READ,
    note="Sources differ in the range that they recommend (5-10, about 10, 13-18, 15, 17.5, 20), by cultivar, use and "
    "climate. A range belongs to a group and a use; where none is assigned there is a ratio and no verdict.",
)
HEAVY_AND_UNRIPE: Final = "heavy_crop_low_soluble_solids"
LIGHT_AND_UNRIPE: Final = "low_soluble_solids_without_heavy_crop"
_FLAGS: Final = {
    HEAVY_AND_UNRIPE: "The vine carried more than its range and the soluble solids lie below theirs: the crop was more "
    "than the vine could ripen. Look at thinning and at next winter's number of nodes.",
    LIGHT_AND_UNRIPE: "The soluble solids lie below their range although the crop was not above its own: look for "
    "another cause (shade, a short season, disease, leaf loss, picked early).",
}


class WrongPairing(ValueError):
    """The prunings were not weighed in the dormant season that follows the harvest."""

    def __init__(self, yield_season: int, pruning_season: int) -> None:
        super().__init__(
            f"A crop of season {yield_season} goes with the prunings of the dormant season that follows that harvest, "
            f"which is season {yield_season + 1}; the prunings are of season {pruning_season}. A dormant season is "
            "named after the harvest that comes after it."
        )
        self.yield_season = yield_season
        self.pruning_season = pruning_season


def check_pairing(yield_season: int, pruning_season: int) -> None:
    """Refuse a pairing of seasons that is no crop load.

    Parameters
    ----------
    yield_season : int
        Calendar year of the harvest.
    pruning_season : int
        Season of the dormant record: the calendar year of the harvest that comes after that winter.

    Raises
    ------
    WrongPairing

    Examples
    --------
    >>> check_pairing(2026, 2027)
    """
    if pruning_season != yield_season + 1:
        raise WrongPairing(yield_season, pruning_season)


def crop_load(yield_kg: ArrayLike, pruning_kg: ArrayLike, *, yield_season: int, pruning_season: int) -> Quotients:
    r"""Divide the crop of each vine by the prunings of the dormant season that follows.

    Parameters
    ----------
    yield_kg : array_like of float, shape (n,)
        All fruit picked in the growing season [kg], 0 to 10⁹; NaN where it was not weighed.
    pruning_kg : array_like of float, shape (n,)
        Fresh weight of the one-year-old prunings [kg], 0 to 10⁹; NaN where they were not weighed. Vines, a row or a
        whole block: both sides are of the same vines.
    yield_season : int
        Calendar year of the harvest.
    pruning_season : int
        Season of the dormant record; a winter bears the year of the harvest after it, so this is one more.

    Returns
    -------
    Quotients
        The ratio [1]. No number where a side is missing, where the prunings are zero, or above 1000.

    Raises
    ------
    WrongPairing
        The prunings are of another dormant season.
    OutOfRange
        A weight is negative, infinite or above 10⁹ kg.

    Notes
    -----
    .. math:: L_t = Y_t / P_{t+1}

    The wood cut after harvest *t* grew beside that crop. The same prunings set the node target of the year ahead, which
    is why the two are easily confused [1]_. For a group of vines it is the sum over the sum, not the mean of ratios.

    References
    ----------
    .. [1] Practical Winery & Vineyard, June 2017 (READ).
    .. [2] Kliewer & Dokoozlian 2005, Am. J. Enol. Vitic. 56:170-181, Tables 4 and 5 (READ): checked in
       tests/published.

    Examples
    --------
    >>> crop_load([9.8, 20.2], [1.30, 1.53], yield_season=1992, pruning_season=1993).values.round(1).tolist()
    [7.5, 13.2]
    """
    check_pairing(yield_season, pruning_season)
    return divide(yield_kg, pruning_kg, CROP_LOAD)


def leaf_area_per_yield(leaf_area_m2: ArrayLike, yield_kg: ArrayLike) -> Quotients:
    """Divide leaf area by the crop that it ripens.

    Parameters
    ----------
    leaf_area_m2 : array_like of float, shape (n,)
        Area of all leaves, one side [m2], 0 to 10⁹; NaN where it was not measured.
    yield_kg : array_like of float, shape (n,)
        Fruit of the same vines and season [kg], 0 to 10⁹; NaN where it was not weighed.

    Returns
    -------
    Quotients
        [m2/kg]; 1 m2/kg is 10 cm2/g. No number where a side is missing, where there was no crop, or above 100.

    Raises
    ------
    OutOfRange

    References
    ----------
    Kliewer & Dokoozlian 2005, Am. J. Enol. Vitic. 56:170-181, Tables 4 and 5 (READ).

    Examples
    --------
    >>> leaf_area_per_yield([16.2, 14.8], [9.8, 11.8]).values.round(2).tolist()
    [1.65, 1.25]
    """
    return divide(leaf_area_m2, yield_kg, LEAF_AREA_PER_YIELD)


def ripeness_flag(crop_load_verdict: str | None, soluble_solids_verdict: str | None) -> tuple[str, str] | None:
    """Flag fruit that did not ripen, and whether the crop was heavy.

    Parameters
    ----------
    crop_load_verdict, soluble_solids_verdict : str or None
        Verdicts of ``balance.formulas.ranges``; None where there is no figure or no range.

    Returns
    -------
    tuple of str, or None
        Code and sentence; None where nothing is to be flagged. Without a verdict on the crop load there is no flag of
        a heavy crop, and none that excludes it.

    References
    ----------
    UNECE Standard FFV-19, 2016 (READ): its minimum of soluble solids covers *Vitis vinifera* only and is a guide for
    hybrids, which the range itself says. That a heavy crop delays ripening: Bates 2021, Am. J. Enol. Vitic. 72(1)
    (READ).

    Examples
    --------
    >>> ripeness_flag("above", "below")[0], ripeness_flag("above", "within")
    ('heavy_crop_low_soluble_solids', None)
    """
    if soluble_solids_verdict != BELOW or crop_load_verdict is None:
        return None
    code = HEAVY_AND_UNRIPE if crop_load_verdict == ABOVE else LIGHT_AND_UNRIPE
    return code, _FLAGS[code]
