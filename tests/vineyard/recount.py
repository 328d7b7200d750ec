"""The worklist of the last winter, counted anew from the files of the five years: plain Python, none of the service.

The rules are the trade's (see ``trade.md``, section 7) and those that the reminders and proposals state in words:

* a candidate is laid down in the winter after it was chosen; what was laid down is unwrapped a winter later; while an
  arm is young its ties are looked at and it keeps fewer nodes, from the winter after it was laid down on; when the new
  arm bears, the old one comes off, in the first winter after it or the second;
* a farm's thresholds propose a cordon by its newest inspection since the vine was planted, replanted or retrained;
  more than one such cordon is the whole vine, unless another cordon of the vine is being replaced;
* nothing is asked of a vine that is missing or was replanted since, nor by a case that was withdrawn or given up.
"""

from __future__ import annotations

import csv
import itertools
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

SCENARIO = Path(__file__).resolve().parents[2] / "fixtures" / "scenario"
METRES = {"m": Decimal(1), "cm": Decimal("0.01"), "[ft_i]": Decimal("0.3048")}
IN_ORDER = ("decide", "look_for_candidate", "lay_down", "unwrap", "check_ties", "fewer_nodes", "remove_old_arm")
CLOSED = ("bearing", "given_up")

Place = tuple[int, int]


@dataclass(frozen=True)
class Seen:
    """One inspection of a cordon."""

    season: int
    on: date
    living: int
    blank: int
    blank_m: Decimal
    dieback_m: Decimal


@dataclass(frozen=True)
class Case:
    """One case as it stands at the end."""

    place: Place
    scope: str
    cordon: str
    noticed_on: date
    step: str
    on: date
    season: int
    laid_down: int | None

    @property
    def is_open(self) -> bool:
        return self.step not in CLOSED


def table(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def metres(row: dict[str, str], measure: str) -> Decimal:
    heading = next(name for name in row if name.split(" ")[0] == measure)
    return Decimal(row[heading]) * METRES[heading.split(" ")[1]]


def in_metres(told: dict[str, Any]) -> Decimal:
    return Decimal(str(told["value"])) * METRES[told["unit"]]


class Farm:
    """One farm of the files."""

    def __init__(self, code: str) -> None:
        self.told = json.loads((SCENARIO / "scenario.json").read_text())["farms"][code]
        self.folder = SCENARIO / "five_years" / code
        self.south = str(self.told["hemisphere"]) == "south"
        self.settings = {each["block"]: each for each in json.loads((self.folder / "cordon_settings.json").read_text())}

    def season(self, day: date) -> int:
        return day.year + (day.month >= (5 if self.south else 11))

    def in_winter(self, day: date) -> bool:
        return (5 <= day.month <= 10) == self.south

    def worklist(self, winter: int) -> list[tuple[Any, ...]]:
        """Give block, row, place, scope, cordon, task, seasons overdue, step and minutes, in walking order."""
        works = [work for code in self.told["blocks"] for work in Block(self, code).works(winter)]
        return sorted(works, key=lambda it: (it[0], it[1], it[2], it[4], IN_ORDER.index(it[5])))

    def minutes(self, block: str, task: str) -> float | None:
        own, farms = (self.settings.get(each, {}).get("minutes_a_task", {}) for each in (block, None))
        found: float | None = own.get(task, farms.get(task))
        return found


class Block:
    """One block of the files."""

    def __init__(self, farm: Farm, code: str) -> None:
        self.farm, self.code, self.name = farm, code, farm.told["blocks"][code]["name"]
        folder = farm.folder / code
        days = {row["season"]: row["inspected_on"] for row in table(folder, "visits")}
        self.seen: dict[tuple[Place, str], list[Seen]] = {}
        for row in table(folder, "inspections"):
            seen = Seen(
                int(row["season"]),
                date.fromisoformat(days[row["season"]]),
                int(row["living_positions"]),
                int(row["blank_positions"]),
                metres(row, "blank_length"),
                metres(row, "dieback_length"),
            )
            self.seen.setdefault(((int(row["row"]), int(row["place"])), row["cordon"]), []).append(seen)
        self.events: dict[Place, list[tuple[date, str]]] = {}
        for row in table(folder, "events"):
            told = (date.fromisoformat(row["happened_on"]), row["event"])
            self.events.setdefault((int(row["row"]), int(row["place"])), []).append(told)
        lines = (folder / "cases.ndjson").read_text().splitlines()
        self.cases = [self.case(told) for told in map(json.loads, lines) if "withdrawn" not in told]

    def case(self, told: dict[str, Any]) -> Case:
        """Walk a case's steps to where it stands."""
        noticed = date.fromisoformat(told["noticed_on"])
        standing, on, laid = "noticed", noticed, None
        for step in told["steps"]:
            standing, on = step["step"], date.fromisoformat(step["happened_on"])
            if standing == "laid_down":
                laid = self.farm.season(on)
            elif standing in {"noticed", "failed", "given_up"}:
                laid = None
        place = (told["row"], told["place"])
        return Case(place, told["scope"], told["cordon"], noticed, standing, on, self.farm.season(on), laid)

    def works(self, winter: int) -> Iterator[tuple[Any, ...]]:
        for case in self.cases:
            if self.still_stands(case):
                for task, due in self.tasks(case, winter):
                    yield self.work(case.place, case.scope, case.cordon, task, winter - due, case.step)
        for place, scope, cordon in self.proposed():
            yield self.work(place, scope, cordon, "decide", 0, None)

    def work(self, place: Place, scope: str, cordon: str, task: str, overdue: int, step: str | None) -> tuple[Any, ...]:
        return (self.name, *place, scope, cordon, task, overdue, step, self.farm.minutes(self.code, task))

    def still_stands(self, case: Case) -> bool:
        """Tell whether the plant of the case stands: neither missing now, nor planted since."""
        events = sorted(self.events.get(case.place, []))
        planted = [day for day, event in events if event == "replanted"]
        return not (events and events[-1][1] == "missing") and not (planted and planted[-1] > case.noticed_on)

    def tasks(self, case: Case, winter: int) -> Iterator[tuple[str, int]]:
        """Give what a case asks for in a winter, and since which winter."""
        following = case.season if self.farm.in_winter(case.on) else case.season + 1
        if case.step == "candidate_chosen" and following <= winter:
            yield "lay_down", following
        if case.step == "bearing" and following <= winter <= case.season + 2:
            yield "remove_old_arm", following
        if case.step in {"laid_down", "filling"} and case.laid_down is not None and case.laid_down < winter:
            if case.step == "laid_down":
                yield "unwrap", case.laid_down + 1
            yield "check_ties", winter  # asked for each winter anew
            yield "fewer_nodes", winter

    def proposed(self) -> Iterator[tuple[Place, str, str]]:
        """Give what the thresholds propose: each failing cordon, or the vine of which more than one fails."""
        limits = self.farm.settings.get(self.code) or self.farm.settings.get(None, {})
        failing: dict[Place, list[str]] = {}
        for place, cordon in self.seen:
            if self.fails(place, cordon, limits):
                failing.setdefault(place, []).append(cordon)
        for place, cordons in failing.items():
            under_way = any(case.place == place and case.is_open for case in self.cases)
            if len(cordons) > 1 and not under_way:
                yield place, "vine", ""
            else:
                yield from ((place, "cordon", cordon) for cordon in cordons)

    def fails(self, place: Place, cordon: str, limits: dict[str, Any]) -> bool:
        events = sorted(self.events.get(place, []))
        if events and events[-1][1] == "missing":
            return False
        since = events[-1][0] if events else date.min
        about = [case for case in self.cases if case.place == place and case.cordon in {"", cordon}]
        borne = max((case.on for case in about if case.step == "bearing"), default=date.min)
        seen = [each for each in self.seen[place, cordon] if each.on >= since and each.on > borne]
        if not seen or any(case.is_open or case.on >= seen[-1].on for case in about):
            return False
        return passes(seen, limits)


def passes(seen: list[Seen], limits: dict[str, Any]) -> bool:
    """Hold the newest of a cordon's inspections against what the farm set."""
    newest, positions = seen[-1], seen[-1].living + seen[-1].blank
    falls = [later.living < earlier.living for earlier, later in itertools.pairwise(seen)]
    run = next((years for years, fell in enumerate(reversed(falls)) if not fell), len(falls))
    share, years, fewest = (
        limits.get(name) for name in ("blank_share_percent", "years_in_decline", "fewest_living_positions")
    )
    lengths = (("blank_length", newest.blank_m), ("dieback_length", newest.dieback_m))
    return any(
        (
            share is not None and positions > 0 and 100 * newest.blank >= share * positions,
            years is not None and run >= years,
            fewest is not None and newest.living < fewest,
            *(name in limits and length >= in_metres(limits[name]) for name, length in lengths),
        )
    )
