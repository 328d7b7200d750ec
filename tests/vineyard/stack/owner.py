"""An owner of a stack for the tests to kill: brings one up, starts what it is told to, says so, and waits."""

from __future__ import annotations

import json
import signal
import sys
import time
from pathlib import Path

import psutil

sys.path.insert(0, str(Path(__file__).resolve().parents[3]))

from vineyard.stack import Stack, StackError, kernel

#: A shell that will not be asked to stop, with a child of its own: only SIGKILL to its group ends the two.
DEAF = ["/bin/sh", "-c", "trap '' TERM; sleep 300 & wait; sleep 300"]


def main() -> None:
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    try:
        if "untied" in sys.argv:
            kernel._LIBC = None  # type: ignore[misc] # as on a system whose kernel has no such service
        with Stack(Path(sys.argv[1]), fast="durable" not in sys.argv) as stack:
            if "deaf" in sys.argv:
                deaf = psutil.Process(stack.spawn("deaf", DEAF).pid)
                while not deaf.children():
                    time.sleep(0.01)
            print(json.dumps(stack.environment()), flush=True)
            time.sleep(300)
    except StackError as error:
        sys.exit(str(error))


if __name__ == "__main__":
    main()
