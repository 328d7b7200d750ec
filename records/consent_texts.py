"""What an owner agrees to, purpose by purpose; a consent names the version that its giver read.

A text that somebody agreed to is never changed: the next one is added below it, and new consents take the last.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from records.models import Purpose


@dataclass(frozen=True)
class ConsentText:
    """One version of what is agreed to for one purpose."""

    purpose: str
    version: str
    text: str


TEXTS: Final = (
    ConsentText(
        Purpose.ADVICE,
        "advice@1",
        "I let this adviser read what is recorded about this farm and, where I say so, record for it, to advise me. "
        "They reach nothing before the first moment that I name and nothing after the last. I may take this back at "
        "any time; it works from their next request on. What they have read I cannot take back; what they recorded "
        "stays my farm's. Every request of theirs stands in my farm's access log.",
    ),
    ConsentText(
        Purpose.RECORDS,
        "records@1",
        "I let the leads of this program read what is recorded about this farm. They change nothing. They reach "
        "nothing before the first moment that I name and nothing after the last. I may take this back at any time; "
        "it works from their next request on. What they have read I cannot take back. Every request of theirs stands "
        "in my farm's access log.",
    ),
    ConsentText(
        Purpose.SUMMARIES,
        "summaries@1",
        "I let this program count this farm in summaries over many farms. Nobody of the program reads this farm's "
        "records by this. I may take this back at any time; a summary made after that leaves the farm out, and one "
        "made before stays as it is.",
    ),
    ConsentText(
        Purpose.BENCHMARKS,
        "benchmarks@1",
        "I let this program count this farm in benchmarks: means and spreads of many growers' prunings, counts of "
        "nodes and crop loads. The program's leads see them, and so does whoever may read a farm that takes part, too. "
        "A figure is shown only where five growers stand behind it besides whoever reads it, and "
        "where none could be worked out from all that is shown. Nobody reads this farm's records by this. I may take "
        "this back at any time; from then on no figure that counted this farm is shown. What this farm brought to "
        "figures that were shown stays on record behind this farm's own wall, read by the service alone and only to "
        "make sure that no later figure gives it away; it is erased with the farm.",
    ),
)
CURRENT: Final = {text.purpose: text for text in TEXTS}
