"""Logs: one line an event, as JSON for machines or plain for people, and nothing in it that somebody sent.

A line tells who, where, when and how it ended by ids.  Bodies, query values, keys and the messages of exceptions
stay out: a message repeats what people sent (``Key (email)=(…) already exists``), so an exception is told by its
type, the database's code and the places it came through.  What belongs to the request or job at hand is bound once
and stands on every line until then, also on those of libraries.
"""

from __future__ import annotations

import logging
import re
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any, Final

import orjson

from vineyard import env

#: Longer text is cut, so that a line reaches a pipe in one piece.
LONGEST_MESSAGE: Final = 600
LONGEST_TRACE: Final = 2_400
MOST_CAUSES: Final = 4
_bound: ContextVar[dict[str, Any]] = ContextVar("bound", default={})  # noqa: B039 - replaced, never changed
#: Code that is not ours; of it, only where an exception began is told.
_THEIRS: Final = re.compile(r"/(site|dist)-packages/|/lib/python3")
_TRACEPARENT: Final = re.compile(r"([0-9a-f]{2})-([0-9a-f]{32})-([0-9a-f]{16})-[0-9a-f]{2}(-.*)?", re.ASCII)


@contextmanager
def bound(**facts: Any) -> Iterator[None]:
    """Put these facts on every line that is written inside."""
    token = _bound.set({**_bound.get(), **_said(facts)})
    try:
        yield
    finally:
        _bound.reset(token)


def bind(**facts: Any) -> None:
    """Put these facts, and no others, on every line from now on; for work whose end comes by another call."""
    _bound.set(_said(facts))


def bound_facts() -> dict[str, Any]:
    """Give what stands on every line now."""
    return dict(_bound.get())


def trace_id_of(traceparent: str) -> str:
    """Give the trace id of a W3C ``traceparent`` header; empty where there is none that can be followed."""
    shape = _TRACEPARENT.fullmatch(traceparent.strip())
    if shape is None or shape[1] == "ff" or not shape[2].strip("0") or not shape[3].strip("0"):
        return ""
    if shape[1] == "00" and shape[4]:  # only later versions may say more
        return ""
    return shape[2]


class Careful(logging.Filter):
    """Takes out of other people's records what must not be written, whoever logged it."""

    def filter(self, record: logging.LogRecord) -> bool:
        if record.name.startswith("django.security"):  # its message repeats what was sent, with a traceback
            record.levelno, record.levelname, record.exc_info = logging.WARNING, "WARNING", None
            _say_only(record, f"refused as suspicious: {record.name.rpartition('.')[2]}")
        elif record.exc_info and record.name.partition(".")[0] != "vineyard":
            _say_only(record, "failed")
        return True


def _say_only(record: logging.LogRecord, message: str) -> None:
    record.msg, record.args, record.exc_text, record.stack_info = message, (), None, None


class JsonLines(logging.Formatter):
    """One JSON object a line."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": _message(record),
            **_bound.get(),
            **getattr(record, "facts", {}),
        }
        if record.exc_info and record.exc_info[1]:
            line["exception"] = exception_without_words(record.exc_info[1])
        return orjson.dumps(line, default=str, option=orjson.OPT_NON_STR_KEYS).decode()


class PlainLines(logging.Formatter):
    """One line for people at a terminal; the places of an exception follow below."""

    def format(self, record: logging.LogRecord) -> str:
        facts = {**_bound.get(), **getattr(record, "facts", {})}
        message = _message(record).replace("\n", "\\n")
        when = datetime.fromtimestamp(record.created, UTC).strftime("%H:%M:%S")
        told = "".join(f" {name}={facts[name]}" for name in ("request_id", "job") if facts.get(name))
        line = f"{when} {record.levelname} {record.name}: {message}{told}"
        if record.exc_info and record.exc_info[1]:
            line += f"\n{exception_without_words(record.exc_info[1])}"
        return line


def _message(record: logging.LogRecord) -> str:
    return record.getMessage()[:LONGEST_MESSAGE].encode(errors="backslashreplace").decode()


def exception_without_words(error: BaseException) -> str:
    """Tell an exception and its causes by type, the database's code and places, without what they say.

    >>> try:
    ...     int("what somebody sent")
    ... except ValueError as error:
    ...     exception_without_words(error).splitlines()[0]
    'ValueError'
    """
    told: list[str] = []
    cause: BaseException | None = error
    while cause is not None and len(told) < MOST_CAUSES:
        told.append(_one_without_words(cause))
        cause = cause.__cause__ or (None if cause.__suppress_context__ else cause.__context__)
    return "\ncaused by ".join(told)[:LONGEST_TRACE]


def _one_without_words(error: BaseException) -> str:
    diagnosis = getattr(error, "diag", None)
    names = [getattr(diagnosis, name, None) for name in ("sqlstate", "constraint_name")]
    known = ", ".join(name for name in names if name)
    kind = type(error)
    name = kind.__qualname__ if kind.__module__ == "builtins" else f"{kind.__module__}.{kind.__qualname__}"
    frames = traceback.extract_tb(error.__traceback__)
    kept = [frame for frame in frames if not _THEIRS.search(frame.filename)][-6:]
    kept += [frame for frame in frames[-2:] if frame not in kept]
    places = [f"  {_short(frame.filename)}:{frame.lineno} {frame.name}" for frame in kept]
    return "\n".join([f"{name} ({known})" if known else name, *places])


def _short(path: str) -> str:
    """Leave out where on this machine a file lies."""
    return "/".join(path.split("/")[-3:])


def _said(facts: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in facts.items() if value not in (None, "")}


def chosen_lines() -> logging.Formatter:
    """Give the formatter that ``LOG_FORMAT`` names; the server's own processes ask for it, too."""
    form = env.one_of("LOG_FORMAT", FORM_MEANING, FORM_DEFAULT, FORMATS)
    return FORMATS[form]()


FORM_MEANING: Final = "how logs are written: json for machines, line for people"
FORM_DEFAULT: Final = "json"
FORMATS: Final = {"json": JsonLines, "line": PlainLines}
#: The settings of Python's own logging.  server_logs.json says the same to granian.
CONFIGURATION: Final[dict[str, Any]] = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"careful": {"()": "vineyard.logs.Careful"}},
    "formatters": {"lines": {"()": "vineyard.logs.chosen_lines"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "lines", "filters": ["careful"]}},
    "root": {"handlers": ["stderr"], "level": "WARNING"},
    "loggers": {
        "vineyard": {"level": "INFO"},
        # Each request has a line of its own, and a failure its traceback: vineyard.api.watching.
        "django.request": {"level": "CRITICAL"},
    },
}
