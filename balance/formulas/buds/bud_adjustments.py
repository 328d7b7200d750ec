"""The published ways to leave more nodes after bud injury; each by itself, because they contradict each other."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from balance.formulas.errors import OutOfRange
from balance.formulas.methods import Method

NO_CHANGE: Final = "no_change"
ADD_INJURY_PERCENT: Final = "add_injury_percent"
ADD_PERCENT: Final = "add_percent"
DIVIDE_BY_SURVIVAL: Final = "divide_by_survival"
LEAVE_MORE: Final = "leave_more"
MINIMAL_PRUNING: Final = "minimal_pruning"
#: Rules, and how people write them.
RULES: Final = {
    NO_CHANGE: "normal target",
    ADD_INJURY_PERCENT: "normal target × (1 + injury ÷ 100)",
    ADD_PERCENT: "normal target × (1 + {value} ÷ 100)",
    DIVIDE_BY_SURVIVAL: "normal target ÷ (1 − injury ÷ 100)",
    LEAVE_MORE: "more than the normal target; no number printed",
    MINIMAL_PRUNING: "minimal pruning; no number",
}

OK: Final = "ok"
UNDEFINED: Final = "undefined_gap"
AMBIGUOUS: Final = "ambiguous_band"
NOT_PRINTED: Final = "no_number_printed"
BEYOND: Final = "beyond_upper_limit"
STATUSES: Final = (OK, UNDEFINED, AMBIGUOUS, NOT_PRINTED, BEYOND)
#: What pounds and kilograms are to weights, counts are to percentages: a billionth means nothing.
_DECIMALS: Final = 9


@dataclass(frozen=True)
class Band:
    """What one source says of injuries from one percentage to another: a row of the catalogue.

    Attributes
    ----------
    code, version, label : str, int, str
        The adjustment that the band belongs to.
    from_percent, to_percent : float
        Ends of the band [% of primary buds dead].
    from_included, to_included : bool
        Whether the source counts the end itself.
    rule : str
        A key of ``RULES``.
    value : float or None
        The percentage that ``add_percent`` adds [%].
    source, source_mark, region, year, note : str, str, str, int or None, str
    """

    code: str
    version: int
    label: str
    from_percent: float
    from_included: bool
    to_percent: float
    to_included: bool
    rule: str
    value: float | None
    source: str
    source_mark: str
    region: str
    year: int | None
    note: str

    def holds(self, injury_percent: float) -> bool:
        """Tell whether an injury lies in the band."""
        return (
            self.from_percent < injury_percent < self.to_percent
            or (self.from_included and injury_percent == self.from_percent)
            or (self.to_included and injury_percent == self.to_percent)
        )

    def factor(self, injury_percent: float) -> float | None:
        """Give what the normal target is multiplied by; None where the source gives no number."""
        if self.rule == NO_CHANGE:
            return 1.0
        if self.rule == ADD_INJURY_PERCENT:
            return 1 + injury_percent / 100
        if self.rule == ADD_PERCENT and self.value is not None:
            return 1 + self.value / 100
        if self.rule == DIVIDE_BY_SURVIVAL and injury_percent < 100:
            return 100 / (100 - injury_percent)
        return None

    @property
    def expression(self) -> str:
        """The rule as people write it."""
        return RULES[self.rule].format(value="" if self.value is None else f"{self.value:g}")

    def __str__(self) -> str:
        return f"{self.from_percent:g} to {self.to_percent:g} % ({self.expression})"


@dataclass(frozen=True)
class Adjustment:
    """One published adjustment: its bands as printed, with their overlaps and gaps."""

    bands: tuple[Band, ...]

    @property
    def code(self) -> str:
        return self.bands[0].code

    @property
    def version(self) -> int:
        return self.bands[0].version

    @property
    def method(self) -> Method:
        """The adjustment as a whole; its mark is that of the first band, and each band keeps its own."""
        return self.method_by(self.bands[0])

    def method_by(self, band: Band) -> Method:
        """Give the adjustment as one of its bands applies it."""
        return Method(band.code, band.version, band.label, band.expression, band.source, band.source_mark, band.note)


@dataclass(frozen=True)
class Judged:
    """What an adjustment says of one injury.

    Attributes
    ----------
    status : str
        ``ok``, ``undefined_gap``, ``ambiguous_band``, ``no_number_printed`` or ``beyond_upper_limit``.
    factor : float or None
        What the normal target is multiplied by; None unless the status is ``ok``.
    bands : tuple of Band
        The bands in which the injury lies.
    """

    status: str
    factor: float | None
    bands: tuple[Band, ...]


def adjustments_of(bands: Iterable[Band]) -> tuple[Adjustment, ...]:
    """Put the bands of a catalogue together, an adjustment for each code and version, in the order of the catalogue.

    Raises
    ------
    ValueError
        A band has no such rule, or lacks the value that its rule takes.
    """
    made = []
    for _, own in groupby(bands, key=lambda band: (band.code, band.version)):
        together = tuple(own)
        for band in together:
            if band.rule not in RULES or (band.rule == ADD_PERCENT) != (band.value is not None):
                raise ValueError(f"{band.code}: {band.rule} with value {band.value} is no rule")
        made.append(Adjustment(together))
    return tuple(made)


def judge_injury(adjustment: Adjustment, injury_percent: float) -> Judged:
    """Say what an adjustment makes of an injury: by what the normal target is multiplied, or why there is no number.

    Parameters
    ----------
    adjustment : Adjustment
        Named by the caller: there is no default, and two are never mixed.
    injury_percent : float
        Primary buds dead, 0 to 100 [%].

    Returns
    -------
    Judged

    Raises
    ------
    OutOfRange

    Notes
    -----
    Where the printed bands overlap and say different things, where they leave a gap, where the source prints no number
    and above its upper limit there is no factor.  Bands that meet, each with the common end inside, overlap at it.

    References
    ----------
    The bands carry their sources; trade.md section 13, row 10.

    Examples
    --------
    >>> source = ("a page", "READ", "", None, "")
    >>> low = Band("x", 1, "X", 0, True, 15, True, NO_CHANGE, None, *source)
    >>> high = Band("x", 1, "X", 20, True, 50, True, ADD_INJURY_PERCENT, None, *source)
    >>> [judge_injury(Adjustment((low, high)), injury).status for injury in (10, 17, 35, 60)]
    ['ok', 'undefined_gap', 'ok', 'beyond_upper_limit']
    """
    if not 0 <= injury_percent <= 100:
        raise OutOfRange("the injury [%]", injury_percent, 0, 100)
    injury = round(injury_percent, _DECIMALS)
    holding = tuple(band for band in adjustment.bands if band.holds(injury))
    if not holding:
        beyond = injury >= max(band.to_percent for band in adjustment.bands)
        return Judged(BEYOND if beyond else UNDEFINED, None, ())
    if len({(band.rule, band.value) for band in holding}) > 1:
        return Judged(AMBIGUOUS, None, holding)
    factor = holding[0].factor(injury)
    if factor is None:
        return Judged(BEYOND if holding[0].rule == MINIMAL_PRUNING else NOT_PRINTED, None, holding)
    return Judged(OK, factor, holding)
