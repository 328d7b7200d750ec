"""Hold the pinned versions in pyproject.toml to the set that uv resolves.

``python .ci/pins.py`` fails when a package of the resolved set (all groups, all platforms) is not
pinned, or when a pin is for a package that nothing needs any more.  ``--write`` resolves afresh
and rewrites the list.  No lock file is kept, because a lock file records a registry's address.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path

PYPROJECT = Path(__file__).resolve().parent.parent / "pyproject.toml"
LIST = re.compile(r"constraint-dependencies = \[\n.*?^\]\n", re.DOTALL | re.MULTILINE)


def resolved() -> set[str]:
    """Give each package of the resolved set as ``name==version``."""
    command = ["uv", "export", "--quiet", "--all-groups", "--no-hashes", "--no-header", "--no-annotate"]
    lines = subprocess.run(command, check=True, capture_output=True, text=True, cwd=PYPROJECT.parent).stdout
    pins = (line.split(";")[0].strip() for line in lines.splitlines() if "==" in line)
    return {re.sub(r"\[.*?\]", "", pin) for pin in pins}  # a constraint names no extras


def write() -> None:
    """Resolve without the pins and write the result as the new pins."""
    text = LIST.sub("constraint-dependencies = [\n]\n", PYPROJECT.read_text())
    PYPROJECT.write_text(text)
    (PYPROJECT.parent / "uv.lock").unlink(missing_ok=True)
    rows = "".join(f'    "{pin}",\n' for pin in sorted(resolved()))
    PYPROJECT.write_text(LIST.sub(f"constraint-dependencies = [\n{rows}]\n", text))


def main() -> int:
    """Compare, say what differs, and answer with the exit status."""
    if "--write" in sys.argv:
        write()
    pins = set(tomllib.loads(PYPROJECT.read_text())["tool"]["uv"]["constraint-dependencies"])
    found = resolved()
    for pin in sorted(found - pins):
        print(f"not pinned: {pin} (run: python .ci/pins.py --write)")
    for pin in sorted(pins - found):
        print(f"pinned, but nothing needs it: {pin}")
    print(f"{len(pins)} packages pinned, {len(found ^ pins)} differences")
    return 1 if found ^ pins else 0


if __name__ == "__main__":
    sys.exit(main())
