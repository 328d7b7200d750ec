"""The kinds of record, described once (see ``definitions``)."""

from records.kinds.definitions import KINDS, Kind, Place, Time

__all__ = ["KINDS", "Kind", "Place", "Time"]
