"""Have the season-end reports of the five years made, as an adviser would, and put the files where they are found."""

from __future__ import annotations

import os
import time
import uuid
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from rich.console import Console

from vineyard.demo.five_years import FarmYears
from vineyard.demo.playing import Refused
from vineyard.demo.replaying import FarmOffice

#: Form by form; the others say the same.
FORMS: Final = ("pdf", "html")
#: A worker that also comes up on a busy machine.
_PATIENCE_SECONDS: Final = 120


@dataclass(frozen=True)
class Made:
    """The report of one farm: how many blocks stand where, and its files."""

    farm: str
    standings: Counter[str]
    check_code: str
    files: list[Path]


def make_reports(office: FarmOffice, farms: list[FarmYears], season: int, folder: Path) -> Iterator[Made]:
    """Ask for every farm's report first, so that they are made side by side; give each when it is there."""
    folder.mkdir(parents=True, exist_ok=True)
    asked = [(farm, _asked(office, farm, season)) for farm in farms]
    for farm, address in asked:
        report = _finished(office, address)
        document = office.ask("GET", f"{address}/document")
        name = farm.name.removesuffix(" (invented)").lower().replace(" ", "-")
        files = [folder / f"{name}-{season}.{form}" for form in FORMS]
        for form, file in zip(FORMS, files, strict=True):
            file.write_bytes(office.fetch(f"{address}/files/{form}"))
        standings = Counter(str(block["standing"]) for block in document["summary"])
        yield Made(farm.name, standings, str(report["check_code"]), files)


def print_reports(out: Console, season: int, reports: list[Made]) -> None:
    """Print what the first page of each says in a line, and where the files lie."""
    out.print(f"Season-end reports of the harvest of {season}, made in the background:")
    for made in reports:
        stand = ", ".join(f"{many} {standing.replace('_', ' ')}" for standing, many in sorted(made.standings.items()))
        out.print(f"  {made.farm}: {stand}; check code {made.check_code[:12]}", highlight=False)
        for file in made.files:
            out.print(f"    {os.path.relpath(file)}", highlight=False)


def _asked(office: FarmOffice, farm: FarmYears, season: int) -> str:
    """Ask under an id that follows from the farm and the season, so that a further run finds the same report."""
    wanted = {"id": str(uuid.uuid5(farm.id, f"report/{season}")), "season": season, "units": "metric"}
    report = office.ask("POST", f"/farms/{farm.id}/reports", wanted)
    return f"/farms/{farm.id}/reports/{report['id']}"


def _finished(office: FarmOffice, address: str) -> dict[str, Any]:
    until = time.monotonic() + _PATIENCE_SECONDS
    while True:
        report = office.ask("GET", address)
        if report["state"] == "succeeded":
            return report
        if report["state"] in {"failed", "cancelled"} or time.monotonic() > until:
            raise Refused(f"A report is {report['state']}: {report['failure'] or 'no worker took it up in time'}.")
        time.sleep(0.1)
