"""Shapes that earlier requests taught, kept in the process: an app's next request needs no line read to learn it.

What is kept of a line is which members it had, in their order, and no value of any farm.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from records.bulk.shapes import Ground, Shape, shape_of
from records.kinds import Kind

#: So many are kept of a kind, those that were seen last; an app writes one or two.
MOST_OF_A_KIND: Final = 4


class KnownShapes:
    """The shapes of lines of each kind, the last seen first."""

    def __init__(self) -> None:
        self._of_kind: dict[str, tuple[Mapping[str, Any], ...]] = {}

    def note(self, kind: Kind, document: Mapping[str, Any]) -> None:
        """Keep the shape of a document that was read."""
        seen = {name: _outline(value) for name, value in document.items()}
        others = [each for each in self._of_kind.get(kind.name, ()) if list(each.items()) != list(seen.items())]
        self._of_kind[kind.name] = (seen, *others[: MOST_OF_A_KIND - 1])

    def like(self, line: bytes, kind: Kind, ground: Ground) -> Shape | None:
        """Give the shape that reads this line, if one does."""
        for seen in self._of_kind.get(kind.name, ()):
            shape = shape_of(seen, kind, ground)
            if shape is not None and shape.read(line) is not None:
                return shape
        return None


def _outline(value: Any) -> Any:
    if isinstance(value, Mapping):
        return dict.fromkeys(value, "")
    return None if value is None else ""


#: What this process has read.
KNOWN_SHAPES: Final = KnownShapes()
