"""What of the API is going to go, since when, until when, and what to use instead.

An entry here is all that it takes.  Answers to requests that use what is deprecated carry ``Deprecation`` (RFC 9745),
``Sunset`` (RFC 8594) and ``Link``; the OpenAPI document marks it; a metric counts how often it is still used
(``vineyard.api.deprecating``).  Nothing that was released may go in another way: ``.ci/breaking_changes.py`` lets a
break pass only by an entry whose sunset has passed.  The entry stays until the release after that.

This module is read without Django, too.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from typing import Final

#: A grower uses an app once a year: whoever writes it meets the notice in one season and has the next to follow.
LEAST_NOTICE: Final = timedelta(days=365)
OPERATION: Final = "operation"
PARAMETER: Final = "parameter"
REQUEST: Final = "request"
RESPONSE: Final = "response"
PARTS: Final = (OPERATION, PARAMETER, REQUEST, RESPONSE)


@dataclass(frozen=True)
class Deprecation:
    """One thing that is going to go: an operation, one of its parameters, or a member of what it takes or answers."""

    operation: str
    """Method and address as the OpenAPI document writes them: ``GET /api/v1/farms/{farm}/blocks``."""
    since: datetime
    sunset: datetime
    documentation: str
    """Address of a page that says what to do."""
    successor: str = ""
    """Address of what to use instead; parameters of the operation's own address may stand in it."""
    part: str = OPERATION
    name: str = ""
    """Of the parameter (with a capital: a header) or the member: ``rows/*/weight``, where ``*`` is each of a list."""
    instead: str = ""
    """A sentence for people who read the OpenAPI document."""

    def __post_init__(self) -> None:
        method, _, address = self.operation.partition(" ")
        if not (method.isupper() and address.startswith("/")):
            raise ValueError(f"{self.operation!r} is no method with an address.")
        if self.part not in PARTS or (self.part == OPERATION) != (self.name == ""):
            raise ValueError(f"{self.operation}: name one of {', '.join(PARTS)}, and what of it.")
        if self.since.tzinfo is None or self.sunset.tzinfo is None:
            raise ValueError(f"{self.operation}: times bear their offset from UTC.")
        if self.sunset - self.since < LEAST_NOTICE:
            raise ValueError(f"{self.operation}: from notice to sunset lie {LEAST_NOTICE.days} days at least.")
        if any(sign in text for text in (self.documentation, self.successor) for sign in '<>" \r\n'):
            raise ValueError(f"{self.operation}: an address holds no space, quote or angle.")

    @property
    def what(self) -> str:
        """Name the part: ``operation``, ``parameter season``, ``request scale/unit``."""
        return f"{self.part} {self.name}".rstrip()

    @property
    def deprecation_field(self) -> str:
        """The value of ``Deprecation``: a date of structured fields (RFC 9651)."""
        return f"@{int(self.since.timestamp())}"

    @property
    def sunset_field(self) -> str:
        """The value of ``Sunset``: an HTTP date."""
        return format_datetime(self.sunset.astimezone(UTC), usegmt=True)

    def links(self, **parameters: object) -> Iterator[str]:
        """Give the values of ``Link``, with the parameters of the address at hand."""
        yield f'<{self.documentation}>; rel="deprecation"; type="text/html"'
        yield f'<{self.documentation}>; rel="sunset"; type="text/html"'
        if self.successor:
            address = self.successor
            for name, value in parameters.items():
                address = address.replace(f"{{{name}}}", str(value))
            yield f'<{address}>; rel="successor-version"'

    @property
    def sentence(self) -> str:
        """Say it to whoever reads the OpenAPI document."""
        since, sunset = (f"{time.astimezone(UTC):%Y-%m-%d}" for time in (self.since, self.sunset))
        begins = f"Deprecated since {since}; it may go on {sunset}."
        return " ".join(filter(None, [begins, self.instead, self.successor and f"Use {self.successor}."]))

    def is_over(self, now: datetime) -> bool:
        """Tell whether it may be gone by now."""
        return now >= self.sunset


#: Nothing is deprecated today.
REGISTRY: Final[list[Deprecation]] = []


def deprecated_of(method: str, address: str) -> list[Deprecation]:
    """Give what is deprecated of an operation; who reads the head alone reads the same."""
    operation = f"{'GET' if method == 'HEAD' else method} {address}"
    return [each for each in REGISTRY if each.operation == operation]
