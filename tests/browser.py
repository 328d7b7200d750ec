"""A headless Chromium, told what to do over a pipe in the words of its own protocol; it speaks to nobody else.

The pipe is the way in that needs no port: messages of the Chrome DevTools Protocol, each ended by a NUL.
"""

from __future__ import annotations

import base64
import json
import os
import select
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

ROOT = Path(__file__).resolve().parent.parent
#: The rules of axe-core, put beside the other Node tools by .ci/node_tools.
AXE: Final = ROOT / ".venv" / "contract" / "node_modules" / "axe-core" / "axe.min.js"
#: No page of ours may reach anything; what is not on this machine is not even looked up.
_FLAGS: Final = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-extensions", "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1", "--remote-debugging-pipe",
)  # fmt: skip
#: It reads from 3 and writes to 4, whatever numbers the pipes have here.
_LAUNCH: Final = (
    "import fcntl, os, sys; pipes = [fcntl.fcntl(int(pipe), fcntl.F_DUPFD, 10) for pipe in sys.argv[1:3]]; "
    "os.dup2(pipes[0], 3); os.dup2(pipes[1], 4); os.execvp(sys.argv[3], sys.argv[3:])"
)
KEYS: Final = {"Tab": 9, "Enter": 13}
_SECONDS: Final = 60.0


def chromium() -> str | None:
    """Give where Chromium is, if it is."""
    return next(
        (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), None
    )


@dataclass
class Seen:
    """One page as a person with a window of some width gets it."""

    width: int
    page: Page
    #: What the console said, what was refused, and what was asked of anybody.
    complaints: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def value(self, expression: str) -> Any:
        return self.page.value(expression)

    def in_own_world(self, expression: str) -> Any:
        return self.page.in_own_world(expression)

    def press(self, key: str) -> None:
        """Press a key, as somebody without a mouse does."""
        for kind in ("keyDown", "keyUp"):
            self.page.call("Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=KEYS[key])

    def picture(self, file: Path) -> None:
        """Take a picture of the whole page."""
        file.write_bytes(base64.b64decode(self.page.call("Page.captureScreenshot", captureBeyondViewport=True)["data"]))

    def printed(self, width: float, height: float) -> bytes:
        """Print the page to a PDF, on paper of a size [inches]."""
        paper = {"paperWidth": width, "paperHeight": height, "preferCSSPageSize": True}
        return base64.b64decode(self.page.call("Page.printToPDF", **paper)["data"])

    def faults(self) -> list[str]:
        """Give what axe-core finds against the page, best practice included."""
        found: list[dict[str, Any]] = self.page.in_own_world(f"{AXE.read_text()}\n;axe.run().then(it => it.violations)")
        return [f"{one['id']}: {node['html'][:200]}" for one in found for node in one["nodes"]]


class Page:
    """One tab."""

    def __init__(self, browser: Browser, session: str) -> None:
        self._browser = browser
        self._session = session
        self.events: list[dict[str, Any]] = []

    def call(self, method: str, **params: Any) -> Any:
        return self._browser.call(method, self._session, **params)

    def value(self, expression: str, **more: Any) -> Any:
        told = self.call("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True, **more)
        assert "exceptionDetails" not in told, told["exceptionDetails"]
        return told["result"].get("value")

    def in_own_world(self, script: str) -> Any:
        """Run a script of ours beside the page, whose own policy runs none."""
        frame = self.call("Page.getFrameTree")["frameTree"]["frame"]["id"]
        world = self.call("Page.createIsolatedWorld", frameId=frame)["executionContextId"]
        return self.value(script, contextId=world)


class Browser:
    """One running Chromium."""

    def __init__(self, home: Path) -> None:
        program = chromium()
        assert program is not None
        theirs_in, self._out = os.pipe()
        self._in, theirs_out = os.pipe()
        flags = [*_FLAGS, f"--user-data-dir={home}"]
        argv = [sys.executable, "-c", _LAUNCH, str(theirs_in), str(theirs_out), program, *flags]
        with (home / "chromium.log").open("w") as log:
            self.process = subprocess.Popen(argv, pass_fds=(theirs_in, theirs_out), stdout=log, stderr=log)
        os.close(theirs_in)
        os.close(theirs_out)
        self._waiting = bytearray()
        self._number = 0
        self._events: list[dict[str, Any]] = []

    def call(self, method: str, session: str = "", **params: Any) -> Any:
        self._number += 1
        sent = {"id": self._number, "method": method, "params": params} | ({"sessionId": session} if session else {})
        self._send(json.dumps(sent).encode() + b"\0")
        until = time.monotonic() + _SECONDS
        while (told := self._next(until)).get("id") != self._number:
            self._events.append(told)
        assert "error" not in told, (method, told)
        return told["result"]

    def _send(self, message: bytes) -> None:
        while message:
            message = message[os.write(self._out, message) :]

    def _next(self, until: float) -> dict[str, Any]:
        while b"\0" not in self._waiting:
            ready, _, _ = select.select([self._in], [], [], max(0.0, until - time.monotonic()))
            assert ready, "Chromium does not answer."
            read = os.read(self._in, 1 << 20)
            assert read, "Chromium has ended."
            self._waiting += read
        message, _, rest = bytes(self._waiting).partition(b"\0")
        self._waiting = bytearray(rest)
        told: dict[str, Any] = json.loads(message)
        return told

    @contextmanager
    def seen(self, address: str, width: int, height: int = 800) -> Iterator[Seen]:
        """Open an address in a window of some width, and wait until all of it is there."""
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        page = Page(self, session)
        for domain in ("Page", "Runtime", "Log", "Network"):
            page.call(f"{domain}.enable")
        page.call(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=width < 600
        )
        self._events.clear()
        page.call("Page.navigate", url=address)
        until = time.monotonic() + _SECONDS
        while page.value("document.readyState") != "complete" or page.value("location.href") == "about:blank":
            assert time.monotonic() < until, f"{address} is not there."
            time.sleep(0.02)
        time.sleep(0.1)
        page.value("1")  # what the console said until now is here before the answer
        yield Seen(width, page, list(_complaints(self._events)), list(_asked(self._events)))
        self.call("Target.closeTarget", targetId=target)

    def close(self) -> None:
        self.process.terminate()
        self.process.wait(20)
        os.close(self._out)
        os.close(self._in)


def _complaints(events: list[dict[str, Any]]) -> Iterator[str]:
    for event in events:
        told = event.get("params", {})
        if event.get("method") == "Log.entryAdded" and told["entry"]["level"] in {"error", "warning"}:
            yield told["entry"]["text"]
        if event.get("method") in {"Runtime.exceptionThrown", "Runtime.consoleAPICalled"}:
            yield json.dumps(told)[:4000]


def _asked(events: list[dict[str, Any]]) -> Iterator[str]:
    for event in events:
        if event.get("method") == "Network.requestWillBeSent":
            yield event["params"]["request"]["url"]
