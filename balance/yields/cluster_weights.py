"""Printed weights of clusters: shown beside a block's own, and used only where it has none."""

from __future__ import annotations

from dataclasses import dataclass

from balance.catalogues import read_rows


@dataclass(frozen=True)
class ClusterWeight:
    """One printed weight of one cultivar's clusters [g], from lowest to highest; one number stands at both ends."""

    code: str
    version: int
    cultivar: str
    label: str
    low_g: float
    high_g: float
    region: str
    year: int | None
    source: str
    source_mark: str
    note: str


def cluster_weights(cultivar: str | None = None) -> tuple[ClusterWeight, ...]:
    """Give the printed weights, of one cultivar by its code or of all."""
    rows = read_rows("cluster_weights", ClusterWeight)
    return rows if cultivar is None else tuple(row for row in rows if row.cultivar == cultivar)
