"""Where one block of a farm lies among the growers of the programs that it takes part in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from balance.benchmarks.measures import MEASURES, SHELTER
from balance.benchmarks.models import BenchmarkSnapshot
from balance.benchmarks.reading import Shown, label_at, newest, seasons_told, shown_at
from balance.formulas.benchmarks.bands import band_of
from balance.reports.programs.contributions import OTHER_CULTIVARS, sums_of_block
from balance.reports.programs.labels import ALL, CULTIVAR, REGION, TRAINING
from records.access import OpenFarm, in_force
from records.models import Block, Consent, Program, Purpose

NOT_TAKING_PART: Final = (
    "The farm takes part in no program's benchmarks. Its owner may agree to that with a consent for the purpose "
    "benchmarks."
)
NOT_MEASURED: Final = "The block has no figure of this measure in the season."
NOT_TOLD: Final = (
    "Not told: fewer than five growers besides whoever reads it, or it would tell too much of one of them, or there is "
    "none. Which of these it is stays untold."
)
NO_BAND: Final = "There is no band, because the spread is not told."


@dataclass(frozen=True)
class Among:
    """One measure of the block beside the growers at one place."""

    shown: Shown
    own: float | None
    band: str | None


@dataclass(frozen=True)
class PlaceOfBlock:
    """The block at one place of the hierarchy; the label is the block's own."""

    dimension: str
    label: str
    measures: tuple[Among, ...]


@dataclass(frozen=True)
class InProgram:
    """The block in the benchmarks of one program."""

    program: Program
    snapshot: BenchmarkSnapshot | None
    places: tuple[PlaceOfBlock, ...]


def places_of_block(opened: OpenFarm, block: Block, asked: int | None) -> tuple[int | None, list[InProgram]]:
    """Give where the block lies, in every program whose benchmarks count the farm by a consent in force.

    Without a season, the newest that any of them has a snapshot of answers.
    """
    consents = Consent.objects.for_farm(opened.farm).filter(in_force(), purpose=Purpose.BENCHMARKS)
    programs = Program.objects.filter(pk__in=consents.values("program_id")).order_by("name", "id")
    told = [season for program in programs for season in seasons_told(program.pk, None, 1)]
    season = asked if asked is not None else max(told, default=None)
    own = own_figures(opened, block, season) if programs and season is not None else {}
    return season, [_in_program(program, labels_of(opened, block), season, own) for program in programs]


def own_figures(opened: OpenFarm, block: Block, season: int) -> dict[str, float]:
    """Give the block's own figures, from the farm's own records."""
    found = sums_of_block(opened, block, season)
    sums = found.sums if found is not None else {}
    return {
        name: max(0.0, sums[name].top) / sums[name].under
        for name in (measure.name for measure in MEASURES)
        if name in sums and sums[name].under > 0
    }


def labels_of(opened: OpenFarm, block: Block) -> list[tuple[str, str]]:
    """Give the places that a block stands at, as it calls them itself."""
    cultivar = block.cultivar.name if block.cultivar else OTHER_CULTIVARS
    return [
        (ALL, ""),
        (REGION, opened.farm.region.strip()),
        (CULTIVAR, cultivar),
        (TRAINING, str(block.get_training_display())),
        (SHELTER, str(block.get_shelter_display())),
    ]


def _in_program(program: Program, asked: list[tuple[str, str]], season: int | None, own: dict[str, float]) -> InProgram:
    snapshot = newest(program.pk, [season]).get(season) if season is not None else None
    if snapshot is None:
        blank = tuple(Shown(measure) for measure in MEASURES)
        return InProgram(program, None, tuple(PlaceOfBlock(*at, _among(blank, own)) for at in asked))
    written = {at: label_at(snapshot, *at) for at in asked}
    told = shown_at([snapshot], [(at[0], label) for at, label in written.items() if label is not None])
    nothing = tuple(Shown(measure) for measure in MEASURES)
    return InProgram(
        program,
        snapshot,
        tuple(
            PlaceOfBlock(*at, _among(told.get((snapshot.pk, at[0], written[at] or ""), nothing), own)) for at in asked
        ),
    )


def _among(shown: Sequence[Shown], own: dict[str, float]) -> tuple[Among, ...]:
    return tuple(Among(each, own.get(each.measure.name), _band(each, own)) for each in shown)


def _band(shown: Shown, own: dict[str, float]) -> str | None:
    value = own.get(shown.measure.name)
    if value is None or shown.mean is None or not shown.spread:
        return None
    return band_of(value, shown.mean, shown.spread)
