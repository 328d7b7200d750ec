"""By which labels growers are told apart: those that enough of them share, however they write them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from typing import Final

from balance.formulas.privacy.rules import RULES

ALL: Final = "all"
REGION: Final = "region"
CULTIVAR: Final = "cultivar"
TRAINING: Final = "training"
#: More of one dimension would be read by nobody; those of the fewest growers are among the rest.
MOST_GROUPS: Final = 60


def key_of(label: str) -> str:
    """Give what makes two labels one, however they are written."""
    return " ".join(label.casefold().split())


def common_labels(said: Iterable[tuple[str, str]], no_groups: Collection[str]) -> dict[str, str]:
    """Give the labels that enough growers share, by their keys; a label of fewer is never written down.

    ``said`` are growers with a label of theirs; ``no_groups`` are keys of what is no group of its own.
    """
    behind: dict[str, set[str]] = defaultdict(set)
    written: dict[str, str] = {}
    for grower, label in said:
        key = key_of(label)
        if key and key not in no_groups:
            behind[key].add(grower)
            written[key] = min(written.get(key, label), label)
    enough = [key for key, growers in behind.items() if len(growers) >= RULES.fewest_farms]
    most = sorted(enough, key=lambda key: (-len(behind[key]), key))[:MOST_GROUPS]
    return {key: written[key] for key in most}
