"""Prunings and targets: what was weighed, what it asks for, and how the counts that were left compare."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from balance.blocks import BlockTargets
from balance.cordons.held_back import held_back_on, lost_among, young_on
from balance.cordons.young_arms import young_arms_of_block
from balance.crops.vine_sizes import sizes_of
from balance.formulas.counting import counted
from balance.formulas.samples.sample_estimate import AT_RANDOM, FEW, ROUGH, MeanEstimate
from balance.formulas.samples.sample_size import FEWEST_FOR_A_SPREAD
from balance.models import TargetStatus
from balance.reports.charts import Centre, Quantity, histogram
from balance.reports.document import Chart, Column, Figure, Section, Table
from balance.reports.facts import CONFIDENCE, Facts
from balance.reports.figures import MEAN_NODES, NODES, PERCENT, VINES, Ends, against, figure, written
from balance.reports.quantities import Measure
from balance.targets import Bounds, node_formula
from records.models import Measure as Judged

CODE: Final = "prunings"
TITLE: Final = "Prunings, targets and counts"
NO_VINES: Final = "No vines of the block are on record: add its rows and vines first."
_NOT_WEIGHED: Final = "No vine of the block was weighed in the winter before this harvest."
_NO_TARGET: Final = "No vine has a target: no weight lies in the range of a formula that answers for it."
_NOT_COUNTED: Final = "Nobody counted after the cut."
_NOTHING_TO_JUDGE: Final = "No vine has both a target and a count."
_INTERVAL: Final = f"{CONFIDENCE:g} % interval of the mean"


def section(facts: Facts) -> Section:
    """Compose the section of one block."""
    found = facts.targets
    if not len(found.walked):
        return Section(CODE, TITLE, reason=NO_VINES)
    if not facts.weighed and np.isnan(found.targets.nodes).all():
        return Section(CODE, TITLE, reason=_NOT_WEIGHED)
    return Section(
        CODE,
        TITLE,
        sentences=tuple(_sentences(facts)),
        figures=(*_weights(facts), *_sizes(facts), *_nodes(found), *_vines(facts)),
        tables=(_statuses_table(found), _counts_table(found)),
        charts=(_chart(facts),),
    )


def _weights(facts: Facts) -> Iterator[Figure]:
    weight, told = facts.reading.units.vine_weight, facts.estimate
    ends = Ends(told.low, told.high, _INTERVAL)
    yield figure(
        "mean_pruning_weight", "Mean pruning weight of a vine", weight, told.mean, n=told.n, ends=ends,
        reason=_NOT_WEIGHED,
    )  # fmt: skip
    yield figure(
        "standard_deviation", "Standard deviation of single vines", weight, told.standard_deviation, n=told.n,
        reason=FEW,
    )  # fmt: skip
    yield figure(
        "coefficient_of_variation", "Coefficient of variation", PERCENT, told.variation, n=told.n,
        reason=FEW if told.standard_deviation is None else "The mean is zero.",
    )  # fmt: skip


def _sizes(facts: Facts) -> Iterator[Figure]:
    """Give the vine size by length of canopy, and of a cane, each against its range where one is assigned."""
    units = facts.reading.units
    found = sizes_of(facts.opened, facts.block, facts.season)
    per_length = units.weight_per_length
    cane = Measure(units.cane_weight.unit, units.cane_weight.factor * 1000, units.cane_weight.digits)  # out of grams
    shown = (
        (Judged.PRUNING_WEIGHT_PER_CANOPY_METRE, "Prunings by length of canopy", per_length),
        (Judged.MEAN_CANE_WEIGHT, "Mean weight of a cane", cane),
    )
    for judged, title, measure in shown:
        size = found.of_measure[judged]
        told = size.estimate
        ends = Ends(told.low, told.high, _INTERVAL)
        plain = figure(judged.value, title, measure, told.mean, n=told.n, ends=ends, reason=size.reason)
        yield against(plain, measure, told.mean, facts.range_of(judged))


def _nodes(found: BlockTargets) -> Iterator[Figure]:
    yield from _mean_and_total("target", "targets", found.targets.nodes, _NO_TARGET)
    yield from _mean_and_total("kept", "counts that were left", found.walked.retained, _NOT_COUNTED)
    differences = _known(found.difference)
    yield figure(
        "mean_difference", "Mean of count less target", MEAN_NODES, _mean(differences), n=differences.size,
        reason=_NOTHING_TO_JUDGE,
    )  # fmt: skip


def _mean_and_total(code: str, title: str, values: NDArray[np.float64], reason: str) -> Iterator[Figure]:
    known = _known(values)
    total = int(known.sum()) if known.size else None
    yield figure(f"mean_{code}", f"Mean of {title}", MEAN_NODES, _mean(known), n=known.size, reason=reason)
    yield figure(f"total_{code}", f"Sum of {title}", NODES, total, n=known.size, reason=reason)


def _vines(facts: Facts) -> Iterator[Figure]:
    found, places = facts.targets, facts.places
    yield figure("places", "Places for vines", VINES, places.count)
    yield figure("missing_vines", "Places without a vine", VINES, places.missing)
    yield figure("vines_weighed", "Vines weighed", VINES, facts.weighed)
    yield figure("below_one_unit", "Vines below the range of their formula", VINES, _having(found, _BELOW))
    held = held_back_on(found, young_on(found, young_arms_of_block(facts.opened, facts.block, facts.season)))
    lost = lost_among(held)
    if lost.vines:
        yield figure("vines_with_young_arms", "Vines with young arms", VINES, lost.vines)
        yield figure("lost_nodes", "Nodes that young arms cannot carry", NODES, lost.nodes, n=lost.vines)


_BELOW: Final = TargetStatus.BELOW_FORMULA_RANGE
_STATUSES: Final = (
    (TargetStatus.OK, "With a target"),
    (_BELOW, "Below the range of the formula: no number, look for the cause"),
    (TargetStatus.ABOVE_FORMULA_RANGE, "Above the range of the formula: no number"),
    (TargetStatus.YOUNG_VINE, "In training: no number"),
    (TargetStatus.NO_FORMULA, "No formula answers for it"),
    (TargetStatus.NOT_WEIGHED, "Not weighed"),
)
_OUTCOMES: Final = (
    ("within_tolerance", "On target, within what the scale can tell"),
    ("too_many", "More nodes than the target"),
    ("too_few", "Fewer nodes than the target"),
)


def _having(found: BlockTargets, status: str) -> int:
    return int(np.count_nonzero(found.targets.status == status))


def _statuses_table(found: BlockTargets) -> Table:
    rows = tuple((says, _having(found, status)) for status, says in _STATUSES)
    columns = (Column("status", "Targets"), Column("vines", "Places", number=True))
    return Table(
        "targets_by_status", "Targets", columns, rows, note="Places without a vine are among those not weighed."
    )


def _counts_table(found: BlockTargets) -> Table:
    counts, targets = ~np.isnan(found.walked.retained), ~np.isnan(found.targets.nodes)
    rows = (
        *((says, int((found.outcome == code).sum())) for code, says in _OUTCOMES),
        ("Counted, without a target", int((counts & ~targets).sum())),
        ("With a target, not counted", int((targets & ~counts).sum())),
    )
    columns = (Column("outcome", "Counts against targets"), Column("vines", "Vines", number=True))
    return Table("counts_against_targets", "Counts against targets", columns, rows)


def _chart(facts: Facts) -> Chart:
    weight, told = facts.reading.units.vine_weight, facts.estimate
    values = [weight.of(None if np.isnan(kg) else kg) for kg in facts.targets.walked.weights_kg.tolist()]
    of = Quantity("Pruning weight of a vine", weight.unit, weight.digits)
    return histogram("pruning_weights", "Pruning weights of single vines", values, of=of, centre=_centre(told, weight))


def _centre(told: MeanEstimate, weight: Measure) -> Centre | None:
    mean = weight.of(told.mean)
    return None if mean is None else Centre("mean", mean, weight.of(told.low), weight.of(told.high), _INTERVAL)


def _sentences(facts: Facts) -> Iterator[str]:
    places, told = facts.places, facts.estimate
    yield (
        f"{counted(facts.weighed, 'vine')} of {places.count - places.missing} that stand "
        f"{'was' if facts.weighed == 1 else 'were'} weighed; {counted(places.missing, 'place')} of {places.count} "
        f"{'has' if places.missing == 1 else 'have'} no vine."
    )
    yield from _formulas(facts)
    below = _having(facts.targets, _BELOW)
    if below:
        yield (
            f"{counted(below, 'vine')} {'weighs' if below == 1 else 'weigh'} less than the formula's source speaks of: "
            "there is no number. Look for the cause, and settle nodes and crop with your local extension or adviser."
        )
    if told.n < told.population:
        yield AT_RANDOM
    if 1 < told.n < min(FEWEST_FOR_A_SPREAD, told.population):
        yield ROUGH


def _formulas(facts: Facts) -> Iterator[str]:
    """Name the formulas that answer for vines, with where their range begins in the units of the report."""
    found = facts.targets
    for index, resolved in enumerate(found.formulas):
        vines = int(np.count_nonzero(found.formula_of == index))
        if not vines:
            continue
        if resolved.formula is None:
            yield f"No formula answers for {counted(vines, 'place')}: choose one for the block or the farm."
            continue
        row = resolved.formula
        yield (
            f"Formula for {counted(vines, 'place')}: {row.label}, version {row.formula_version} "
            f"({row.source}; {row.source_mark}), named by the {resolved.level}.{_unit_said(facts, index)}"
        )


def _unit_said(facts: Facts, index: int) -> str:
    row = facts.targets.formulas[index].formula
    if row is None:
        return ""
    formula = node_formula(row, Bounds.of(facts.block))
    if not formula.asks_for_a_weight:
        return ""
    return f" One unit of it is {written(facts.reading.units.vine_weight, float(formula.unit_kg))}."


def _mean(known: NDArray[np.float64]) -> float | None:
    return float(known.mean()) if known.size else None


def _known(values: NDArray[np.float64]) -> NDArray[np.float64]:
    return values[~np.isnan(values)]
