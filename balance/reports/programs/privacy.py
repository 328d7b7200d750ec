"""The privacy rules in words, and what was left out and why: the same words whatever was withheld."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from balance.formulas.privacy.rules import RULES
from balance.reports.document import Section
from balance.reports.programs.document import Released
from balance.reports.quantities import Units

_FEWEST: Final = RULES.fewest_others
NOT_SHOWN: Final = "not shown"
WITHHELD: Final = (
    f"Not shown: fewer than {_FEWEST} growers besides whoever reads it, or one or two of them are nearly all of it, or "
    "nothing was measured. Which of these it is stays untold."
)
#: Said once, before the tables of groups.
GROUPS_SAID: Final = (
    "The tables that follow list the groups that may be shown; all others stand together in the last line. “not "
    "shown” means: fewer "
    f"than {_FEWEST} growers besides whoever reads it, or one or two of them are nearly all of it, or nothing was "
    "measured; which of these it is stays untold. A grower with several groups stands in each."
)
NOTHING: Final = (
    f"Nothing is shown: fewer than {_FEWEST} growers besides whoever reads it let the program count them with vines on "
    "record, or one or two of them have nearly all of the vines."
)
_BANDS: Final = {"5-9": "5 to 9", "10-19": "10 to 19", "20+": "20 or more"}


def farms_said(band: str) -> str:
    """Write a band of growers.

    Examples
    --------
    >>> farms_said("10-19"), farms_said("")
    ('10 to 19', 'not shown')
    """
    return _BANDS.get(band, NOT_SHOWN)


def fewest(bands: Iterable[str]) -> str:
    """Give the band of the fewest growers; none where there is none.

    Examples
    --------
    >>> fewest(["20+", "5-9"]), fewest([])
    ('5-9', '')
    """
    return min(bands, key=list(_BANDS).index, default="")


def rules(released: Released, units: Units, season: int) -> Section:  # noqa: ARG001
    """Say by which rules figures are shown."""
    return Section(
        "privacy_rules",
        "How growers are protected",
        (
            "A farm is counted where its owner agreed to be counted in this program's summaries, and only while that "
            "agreement is in force.",
            f"A figure is shown where at least {_FEWEST} growers stand behind it besides the one who reads it, where "
            f"the largest is at most {RULES.largest_share:.0%} and the two largest are at most "
            f"{RULES.two_largest_share:.0%} of it, and where all the others together are at least "
            f"{RULES.percent:.0%} of the largest.",
            "Further figures are held back so that none can be had by adding and subtracting those that are shown.",
            f"Figures are rounded to {RULES.digits} digits, counts to tens, and growers are told in bands. There is no "
            "name, no block, no person, no smallest and no largest value.",
            "The farms on which the program's leads have a role count as one grower.",
            "A season is counted once: later reports of it say the same numbers, because two that differ by one farm "
            "would show that farm. Ask for a season's report once its records are complete.",
        ),
    )


def left_out(released: Released, units: Units, season: int) -> Section:  # noqa: ARG001
    """Say what is not in the report, whether or not there was any."""
    return Section(
        "left_out",
        "What was left out",
        (
            "Farms without an agreement to be counted, and farms that took theirs back before the report was finished.",
            "Groups that are not listed: too few growers share them, or showing them would tell of others. They are "
            "among all others where those are shown, and in the figure of all growers.",
            "Withdrawn records, and older versions of corrected ones.",
            "Blocks of more vines, and farms of more cordons, than are computed at once, and of a farm with more than "
            "200 blocks those after the first 200 by name.",
            "Crop load of blocks without a weighed harvest of the season before, or without prunings of the winter "
            "after it.",
            "Distributions within a group: how single vines or blocks lie would tell of their growers.",
        ),
    )
