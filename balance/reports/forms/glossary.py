"""The words of a report, explained for whoever reads it at the table."""

from __future__ import annotations

from typing import Final

#: What the marks beside a source mean, for whoever has not read the catalogues.
MARKS_SAID: Final = (
    "How well a source is known. READ: the figure stood in a text that was read; READ*: in one of low authority, as a "
    "garden page or a news column. MEMORY: recalled, not seen. COMPUTED: arithmetic on figures that were read. Farm: "
    "set by the farm itself."
)
#: Words of the trade and of this report; the definitions are common practice, no source.
GLOSSARY: Final[tuple[tuple[str, str], ...]] = (
    ("Balanced pruning", "Leaving as many nodes as the vine's own growth can carry, judged by its prunings of the "
     "winter: a weak vine keeps fewer, a strong one more."),
    ("Prunings, pruning weight", "The one-year-old wood that was cut off a vine in winter, weighed."),
    ("Count node", "A node that counts towards the target: on spurs, canes and renewal spurs together; base buds are "
     "not counted."),
    ("Target", "The number of count nodes that a formula asks for at a pruning weight. No number is given outside the "
     "range that its source states."),
    ("Crop load", "Crop of a season divided by the weight of the prunings of the winter after it, both per vine or "
     "both per length of row."),
    ("Over, under, in balance", "The crop load lies above, below or within the range that somebody assigned to the "
     "block. Without a crop load or a range it goes by the counts: more nodes were left than the targets ask for, "
     "fewer, or as many as the scale can tell. Not known: neither can be told."),
    ("n", "How many vines, cordons or samples a number rests on."),
    ("Interval", "Where the true value lies as far as the sample can tell; its name says how sure. Few vines make it "
     "wide."),
    ("Assigned range", "The range that somebody chose for the figure, with its source. A verdict is given only where "
     "there is one."),
    ("Not measured (–)", "Nobody measured it. Zero is a measurement; a gap is none."),
    ("Confidence", "How far the figures of a block can be trusted: good, fair or low, with the reason beside it."),
    ("READ, READ*, MEMORY, COMPUTED", MARKS_SAID),
    ("Check code", "A fingerprint (SHA-256) of everything that the report says. Two reports with the same code say the "
     "same."),
)  # fmt: skip
