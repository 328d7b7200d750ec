"""How many of something, in a sentence: one node, two nodes."""

from __future__ import annotations


def counted(many: int | str, one: str, several: str = "") -> str:
    """Write how many of something; a number that is written already is taken as it is.

    Examples
    --------
    >>> counted(1, "node"), counted(0, "node"), counted(1_200, "vine"), counted("0.5", "bud"), counted(2, "day", "days")
    ('1 node', '0 nodes', '1,200 vines', '0.5 buds', '2 days')
    """
    written = many if isinstance(many, str) else f"{many:,}"
    return f"{written} {one if written == '1' else several or f'{one}s'}"


def of_many(many: int | str, one: str, several: str) -> str:
    """Give the word that goes with so many, such as the verb.

    Examples
    --------
    >>> [f"{counted(n, 'node')} {of_many(n, 'was', 'were')} left" for n in (1, 38)]
    ['1 node was left', '38 nodes were left']
    """
    return one if str(many) == "1" else several
