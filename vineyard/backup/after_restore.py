"""What must follow every restore: a restored database is an earlier one, and others have gone on since."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import Any, Final

from vineyard.database_owner import as_owner


def _begin_epoch_of_the_feed(feed: Any, _: Sequence[bytes]) -> None:
    """Readers of the feed hold places in a count of transactions that this database never made."""
    with as_owner() as owner:
        feed.after_restore(owner)


def _erase_again(erasure: Any, erasures: Sequence[bytes]) -> None:
    """Farms that were erased since the backup have come back with it."""
    erasure.replay(erasures)


#: By the module that does it.  One that this version lacks is passed over; one that fails is an error.
HOOKS: Final[Mapping[str, Callable[[Any, Sequence[bytes]], None]]] = {
    "records.services.feed": _begin_epoch_of_the_feed,
    "records.services.erasure": _erase_again,
}


def run_hooks(erasures: Sequence[bytes], say: Callable[[str], object]) -> None:
    """Do each in turn; ``erasures`` is the log of erasures that the replaced database held, or that was kept apart."""
    for name, hook in HOOKS.items():
        module = _module(name)
        if module:
            say(f"{(hook.__doc__ or name).strip()}")
            hook(module, erasures)


def erasures_on_record() -> list[bytes]:
    """Give the log of erasures of the database that is about to be replaced; the backup cannot know them all."""
    erasure: Any = _module("records.services.erasure")
    return list(erasure.log_lines()) if erasure else []


def _module(name: str) -> ModuleType | None:
    return import_module(name) if find_spec(name) else None
