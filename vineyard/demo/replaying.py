"""Send the five invented years over HTTP, as a farm office would that takes its notebooks up; safe to repeat."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any, Final

import httpx
import orjson

from balance.formulas.counting import counted
from vineyard.demo.five_years import BlockYears, CasePlan, FarmYears
from vineyard.demo.playing import Refused, words_of

#: Blocks are sent side by side: one waits for the database while another is read.
AT_ONCE: Final = 4
_MOVED_BY_SOMEBODY: Final = {httpx.codes.CONFLICT, httpx.codes.PRECONDITION_FAILED, httpx.codes.UNPROCESSABLE_ENTITY}


class FarmOffice:
    """An office that knows its farms and blocks, and nothing but the public API."""

    def __init__(self, base_url: str, key: str) -> None:
        headers = {"Authorization": f"Bearer {key}"}
        self.client = httpx.Client(base_url=f"{base_url}/api/v1", headers=headers, timeout=60, trust_env=False)

    def send_years(self, farms: list[FarmYears], tell: Callable[[int], None] = lambda _: None) -> int:
        """Send what the service does not know yet, telling how many records and cases went; gives how many in all."""
        for farm in farms:
            for settings in farm.settings:
                told = self.client.post(f"/farms/{farm.id}/cordon-settings", json=settings)
                _expect(told, "cordon-settings", httpx.codes.CONFLICT)
        blocks = [(f"/farms/{each.id}", block) for each in farms for block in each.blocks]
        with ThreadPoolExecutor(AT_ONCE) as pool:
            sending = [pool.submit(self._send_block, farm, block, tell) for farm, block in blocks]
            return sum(each.result() for each in sending)

    def worklist(self, farm: FarmYears, season: int, **more: str) -> dict[str, Any]:
        """Give the work of a winter on a farm."""
        query = {"season": str(season), "part_of_year": "winter", **more}
        return dict(_expect(self.client.get(f"/farms/{farm.id}/cordon-worklist", params=query), "cordon-worklist"))

    def of_all_farms(self, what: str, season: int) -> dict[str, Any]:
        """Give one of the answers that look at every farm of whoever asks."""
        answer = self.client.get(f"/portfolio/{what}", params={"season": str(season), "limit": "50"})
        return dict(_expect(answer, what))

    def ask(self, method: str, address: str, body: dict[str, Any] | None = None) -> dict[str, Any]:
        """Give any one answer of the service."""
        return dict(_expect(self.client.request(method, address, json=body), address.rpartition("/")[2]))

    def fetch(self, address: str) -> bytes:
        """Give the bytes of a file."""
        answer = self.client.get(address)
        if answer.is_error:
            raise Refused(f"GET {address.rpartition('/')[2]} was answered {words_of(answer)}")
        return answer.content

    def _send_block(self, farm: str, block: BlockYears, tell: Callable[[int], None]) -> int:
        if self._knows(farm, block):
            return 0
        vines = self._vines(f"{farm}/blocks/{block.id}")
        lines = b"\n".join(orjson.dumps(_named(record, vines)) for record in block.records)
        headers = {"Content-Type": "application/x-ndjson", "Prefer": "return=minimal"}
        answer = self.client.post(f"{farm}/records?on_conflict=ignore", content=lines, headers=headers)
        summary = _expect(answer, "records")["summary"]
        if summary["failed"]:
            raise Refused(f"{counted(summary['failed'], 'record')} of {block.name} refused: {answer.text[:400]}")
        tell(len(block.records))
        for case in block.cases:
            self._send_case(farm, case, vines)
            tell(1)
        return len(block.records) + len(block.cases)

    def _knows(self, farm: str, block: BlockYears) -> bool:
        """Tell whether an earlier run came to the end of the block: its last case is sent last."""
        last = block.cases[-1]
        answer = self.client.get(f"{farm}/cordon-cases/{last.opening['id']}")
        if answer.status_code == httpx.codes.NOT_FOUND:
            return False
        case = _expect(answer, "cordon-cases")
        return bool(case["withdrawn_at"] if last.withdrawn else case["step_number"] > len(last.steps))

    def _vines(self, block: str) -> dict[tuple[int, int], str]:
        return {(vine["row_number"], vine["place"]): vine["id"] for vine in self._pages(f"{block}/vines?limit=500")}

    def _pages(self, address: str | None) -> Iterator[dict[str, Any]]:
        while address:
            page = _expect(self.client.get(address), "vines")
            yield from page["results"]
            address = page["next"]

    def _send_case(self, farm: str, plan: CasePlan, vines: dict[tuple[int, int], str]) -> None:
        """Open a case and move it step by step, each from the version that the step before came to."""
        answer = self.client.post(f"{farm}/cordon-cases", json=_named(plan.opening, vines))
        case = _expect(answer, "cordon-cases")
        address = f"{farm}/cordon-cases/{case['id']}"
        if plan.withdrawn:
            match = {"If-Match": f'"{case["version"]}"'}
            _expect(self.client.delete(address, params={"reason": plan.withdrawn}, headers=match), "cordon-cases")
        for step in plan.steps:
            match = {"If-Match": f'"{case["version"]}"'}
            answer = self.client.post(f"{address}/steps", json=step, headers=match)
            if answer.status_code in _MOVED_BY_SOMEBODY and case["step_number"] > 1:
                return  # by whoever plays with it between two runs
            case = _expect(answer, "steps")


def _named(said: dict[str, Any], vines: dict[tuple[int, int], str]) -> dict[str, Any]:
    """Put the id of the vine where the files say row and place."""
    return {**said, "vine": vines[said["vine"]]} if "vine" in said else said


def _expect(answer: httpx.Response, what: str, accepting: int | None = None) -> dict[str, Any]:
    if answer.is_error and answer.status_code != accepting:
        raise Refused(f"{answer.request.method} {what} was answered {words_of(answer)}")
    told: dict[str, Any] = answer.json()
    return told
