"""The manifest beside a dump: what it holds, when it was made, of which versions, and digests that find a bad byte."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

from vineyard.backup import BackupError
from vineyard.backup.contents import Contents

_PART_BYTES: Final = 1_048_576


@dataclass(frozen=True)
class Manifest:
    """What is known of one dump.

    ``migrations`` are those that were applied, as ``app.name``; ``postgres`` is the server's major version.
    """

    made_at: str
    postgres: int
    migrations: list[str]
    contents: Contents
    bytes: int
    sha256: str

    def write(self, place: Path) -> None:
        """Write it, with a digest over itself."""
        told = asdict(self)
        told["digest_of_this_manifest"] = _digest(told)
        place.touch(mode=0o600)
        place.write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")


def manifest_of(file: Path) -> Path:
    """Give where the manifest of a dump lies: beside it."""
    return file.with_name(f"{file.name}.manifest.json")


def read_manifest(file: Path) -> Manifest:
    """Read the manifest of a dump, and hold both to their digests.

    Raises
    ------
    BackupError
        One is missing, or a byte of one is not as it was written.
    """
    place = manifest_of(file)
    for needed in (file, place):
        if not needed.is_file():
            raise BackupError(f"There is no file {needed}. A backup is two files: the dump and its manifest.")
    try:
        told: dict[str, Any] = json.loads(place.read_bytes())
        said = told.pop("digest_of_this_manifest")
        sound = said == _digest(told)
        manifest = Manifest(**{**told, "contents": Contents.from_json(told["contents"])})
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise BackupError(f"{place} is damaged: it does not read as a manifest.") from error
    if not sound:
        raise BackupError(f"{place} is damaged: it is not as it was written.")
    if (file.stat().st_size, sha256_of(file)) != (manifest.bytes, manifest.sha256):
        raise BackupError(f"{file} is damaged: it is not as it was written. Take another copy of this backup.")
    return manifest


def sha256_of(file: Path) -> str:
    """Give the digest of a file, read a part at a time."""
    digest = hashlib.sha256()
    with file.open("rb") as opened:
        while part := opened.read(_PART_BYTES):
            digest.update(part)
    return digest.hexdigest()


def _digest(told: Mapping[str, Any]) -> str:
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()
