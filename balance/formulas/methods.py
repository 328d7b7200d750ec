"""What every computed answer says of the way it was computed: the method, and the working from input to figure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

#: How well a method is known; the catalogue marks its rows with the same words.
READ: Final = "READ"
READ_LOW: Final = "READ*"
MEMORY: Final = "MEMORY"
NO_SOURCE: Final = "common practice, no source"
COMPUTED: Final = "COMPUTED"
#: A farm or a program set it for itself.
OWN: Final = "farm"
MARKS: Final = (READ, READ_LOW, MEMORY, COMPUTED, OWN, NO_SOURCE)


@dataclass(frozen=True)
class Method:
    """One way to compute a figure, named so that an answer can be defended.

    Attributes
    ----------
    code, version : str, int
        Name and version; a method that is computed in another way gets the next version.
    label : str
        The method in a few words.
    expression : str
        The formula as people write it, e.g. ``yield ÷ pruning weight of the dormant season that follows``.
    source : str
        The publication; with mark ``common practice, no source`` what it rests on instead.
    mark : str
        One of ``MARKS``.
    note : str
        What the source leaves open, or where sources disagree.
    """

    code: str
    version: int
    label: str
    expression: str
    source: str
    mark: str
    note: str = ""


@dataclass(frozen=True)
class Working:
    """One step of a computation: what is done as a sentence, written as a sum, and what it leads to.

    ``value`` is None for a step that leads to no single number; ``unit`` is a UCUM code.
    """

    label: str
    sentence: str
    calculation: str
    value: float | None
    unit: str
