"""In which band a planting lies: how far from the mean of all, in their own spread; never a rank."""

from __future__ import annotations

import math
from typing import Final

from balance.formulas.errors import OutOfRange
from balance.formulas.methods import NO_SOURCE, Method

WELL_BELOW: Final = "well_below"
BELOW: Final = "below"
ABOUT: Final = "about"
ABOVE: Final = "above"
WELL_ABOVE: Final = "well_above"
BANDS: Final = (WELL_BELOW, BELOW, ABOUT, ABOVE, WELL_ABOVE)
#: In spreads from the mean: nearer than the first is about the middle, further than the second well away from it.
NEAR: Final = 0.5
FAR: Final = 1.5

BAND: Final = Method(
    code="band-among-growers",
    version=1,
    label="Where a block lies among those of other growers",
    expression="(own − mean) ÷ spread: up to 0.5 either way about, up to 1.5 above or below, beyond that well so",
    source="Standard score; where the bands end is our own choice",
    mark=NO_SOURCE,
    note="From the mean and the spread as they are told, rounded. A band says how the block lies, not that it is right "
    "or wrong: that depends on cultivar, use and site.",
)


def band_of(own: float, mean: float, spread: float) -> str:
    """Give the band of one value.

    Parameters
    ----------
    own, mean : float
        0 or more, in the same unit.
    spread : float
        Above 0.

    Returns
    -------
    str
        One of ``BANDS``.

    Raises
    ------
    OutOfRange

    Notes
    -----
    The score is rounded to six digits before it is held against the limits, so that a unit changes no band.

    References
    ----------
    See ``BAND``.

    Examples
    --------
    >>> [band_of(own, 1.0, 0.2) for own in (0.6, 0.8, 1.1, 1.11, 1.31)]
    ['well_below', 'below', 'about', 'above', 'well_above']
    """
    for name, value in (("own value", own), ("mean", mean)):
        if not 0 <= value < math.inf:
            raise OutOfRange(name, value, 0, "any finite number")
    if not 0 < spread < math.inf:
        raise OutOfRange("spread", spread, "above 0", "any finite number")
    score = (own - mean) / spread
    away = float(f"{abs(score):.6g}")
    if away <= NEAR:
        return ABOUT
    if away <= FAR:
        return ABOVE if score > 0 else BELOW
    return WELL_ABOVE if score > 0 else WELL_BELOW
