"""Many records at once: lines read, checked against the kinds, and stored in sets, with a result for each."""

from typing import Final

#: What one request may bring.
LARGEST_BODY: Final = 64_000_000
MOST_LINES: Final = 100_000
LONGEST_LINE: Final = 16_384
MOST_DOCUMENTS: Final = 5_000
#: So many lines are few: what is asked for them is planned once a connection, and goes by no temporary table.
FEW: Final = 500
