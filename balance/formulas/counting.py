"""How many of something, as a sentence says it."""

from __future__ import annotations

from typing import Final

#: From here on thousands are parted by commas; below lie the years.
_GROUPED: Final = 10_000


def counted(many: int | str, one: str, several: str = "") -> str:
    """Write how many of something.

    Parameters
    ----------
    many : int or str
        How many [1], 0 or more; or as it is written already.
    one : str
        What one of it is called; what follows in the sentence may stand here, too, where it changes with the number.
    several : str
        What any other number of it is called; ``one`` with an s unless said.

    Returns
    -------
    str

    Examples
    --------
    >>> counted(1, "vine"), counted(0, "vine"), counted(3, "count of clusters", "counts of clusters")
    ('1 vine', '0 vines', '3 counts of clusters')
    >>> counted("1.0", "node"), counted("1", "node was left", "nodes were left"), counted(12345, "row")
    ('1.0 nodes', '1 node was left', '12,345 rows')
    """
    written = many if isinstance(many, str) else f"{many:{',' if many >= _GROUPED else ''}}"
    return f"{written} {one if written == '1' else several or f'{one}s'}"
