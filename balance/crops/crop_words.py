"""What is said beside a crop load and a trend of vine size, wherever they are shown."""

from __future__ import annotations

from typing import Final

NO_RANGE: Final = (
    "No range is assigned to the crop load, so the ratio stands without a verdict: sources differ by cultivar, use and "
    "climate. Name a range, or the cultivar or group with its use."
)
ADVICE_ONLY: Final = "Advice only: no formula is changed by it. Settle next winter's formula with your adviser."
OTHER_VINES: Final = (
    "Not the same vines were weighed in every winter: {in_all} were weighed in all of them. Where the others differ in "
    "size, part of the trend may be theirs."
)
