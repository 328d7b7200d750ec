"""Run figures of the benchmark: ``python -m tests.bench [NAME…] [--json]``."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator
from dataclasses import asdict

from tests.bench import (
    block_targets,
    bulk,
    bulk_costs,
    cordon_worklist,
    many_farms,
    node_targets,
    one_post,
    reports,
    sampling_draws,
    spur_plan,
    survival,
)
from tests.bench.pairs import Figure

FIGURES: dict[str, Callable[[], Iterator[Figure]]] = {
    "block_targets": block_targets.figures,
    "node_targets": node_targets.figures,
    "bulk": bulk.figures,
    "bulk_costs": bulk_costs.costs,
    "one_post": one_post.figures,
    "sampling_draws": sampling_draws.figures,
    "spur_plan": spur_plan.figures,
    "survival": survival.figures,
    "cordon_worklist": cordon_worklist.figures,
    "reports": reports.figures,
    "summaries_upkeep": bulk_costs.upkeep,
}
#: Ten million rows take minutes to make and several gigabytes to keep, so they are asked for by name.
ON_DEMAND: dict[str, Callable[[], Iterator[Figure]]] = {
    "many_farms": many_farms.figures,
    "bulk_ten_million": bulk_costs.ten_million,
    "reports_thousand": reports.thousand,
}


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument(
        "names",
        nargs="*",
        metavar="NAME",
        help=f"figures to run, of {', '.join(FIGURES)} (default: all), or {', '.join(ON_DEMAND)}",
    )
    parser.add_argument("--json", action="store_true", help="print a JSON list instead of a line a figure")
    told = parser.parse_args()
    known = {**FIGURES, **ON_DEMAND}
    unknown = [name for name in told.names if name not in known]
    if unknown:
        parser.error(f"there is no figure {unknown[0]!r}; there are {', '.join(known)}")
    figures = []
    for name in told.names or FIGURES:
        for figure in known[name]():
            figures.append(figure)
            if not told.json:
                print(figure, flush=True)
    if told.json:
        print(json.dumps([asdict(figure) for figure in figures], indent=1))
    return 0 if all(figure.ok for figure in figures) else 1


if __name__ == "__main__":
    sys.exit(main())
