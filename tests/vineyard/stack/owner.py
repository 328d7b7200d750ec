"""An owner of a stack for the tests to kill: brings one up, starts a child with a child of its own, and waits."""

from __future__ import annotations

import json
import signal
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[3]))

from vineyard.stack import Stack, StackError


def main() -> None:
    try:
        stack = Stack(Path(sys.argv[1])).start()
    except StackError as error:
        sys.exit(str(error))
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    if "deaf" in sys.argv:  # a shell that will not be asked to stop, with a child: only the guard can end these
        stack.spawn("deaf", ["/bin/sh", "-c", "trap '' TERM; sleep 300 & wait; sleep 300"])
    print(json.dumps({"environment": stack.environment()}), flush=True)
    try:
        time.sleep(300)
    finally:
        stack.stop()


if __name__ == "__main__":
    main()
