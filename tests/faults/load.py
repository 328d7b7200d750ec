"""Clients that post without a pause, take no silence for an answer, and remember what they were told."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Any, Self

from tests.faults.ground import Create
from tests.faults.phone import Phone


class Load:
    """So many clients posting what ``make`` gives them, each thing until it is answered.

    ``acknowledged`` holds what a 2xx came for; ``refused`` any other answer than "try again later"; ``lost`` counts
    answers that never came, and those that said to come back: the faults that were felt.
    """

    def __init__(self, clients: int, phone: Callable[[], Phone], make: Callable[[int], Create]) -> None:
        self.acknowledged: list[Create] = []
        self.refused: list[tuple[Create, int, bytes]] = []
        self.lost = 0
        self._make, self._phone = make, phone
        self._turn = 0
        self._lock = threading.Lock()
        self._over = threading.Event()
        self._threads = [threading.Thread(target=self._work) for _ in range(clients)]
        self._failed: BaseException | None = None

    def __enter__(self) -> Self:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: Any) -> None:
        self._over.set()
        for thread in self._threads:
            thread.join(90)
        if self._failed:
            raise self._failed

    def goes_on(self, more: int = 20, within: float = 60) -> None:
        """Wait until so many more were acknowledged."""
        before, end = len(self.acknowledged), time.monotonic() + within
        while len(self.acknowledged) < before + more:
            assert time.monotonic() < end, f"the service did not come back within {within} s"
            assert not self._failed, self._failed
            time.sleep(0.01)

    def strike(self, kill: Callable[[], None], attempts: int = 5) -> int:
        """Kill until a client feels it; gives how many answers were lost by that."""
        before = self.lost
        for _ in range(attempts):
            kill()
            end = time.monotonic() + 6
            while time.monotonic() < end and self.lost == before:
                time.sleep(0.01)
            if self.lost > before:
                break
        self.goes_on()
        return self.lost - before

    def _work(self) -> None:
        phone = self._phone()
        try:
            while not self._over.is_set():
                self._post(phone)
        except BaseException as error:
            self._failed = error
        finally:
            phone.close()

    def _post(self, phone: Phone) -> None:
        with self._lock:
            turn = self._turn
            self._turn += 1
        create = self._make(turn)
        reply = phone.insist("POST", create.path, create.body, felt=self._felt)
        phone.close()  # the next worker of the API may take the next request
        if reply.ok and create.is_answered_by(reply.json()):
            self.acknowledged.append(create)
        else:
            self.refused.append((create, reply.status, reply.content))

    def _felt(self) -> None:
        with self._lock:
            self.lost += 1
