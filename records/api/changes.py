"""The feed of changes: what a client that was away has to know."""

from __future__ import annotations

import uuid
from typing import Any, Final

from django.core import signing
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail
from rest_framework.request import Request
from rest_framework.response import Response

from records.api.block_members import BlockOut
from records.api.kind_examples import EXAMPLES
from records.api.kind_fields import shown_of
from records.api.parameters import text_of
from records.api.strict import InvalidQuery, StrictIntegerField, StrictQuery, nearest
from records.api.views import FarmView
from records.api.vines import RowOut, VineOut
from records.kinds import KINDS
from records.services.feed import FOLLOWED, Change, Page, Place, changes_since

_SALT: Final = "change-cursor-1"
LARGEST_PAGE: Final = 500
_LIMIT: Final = {"type": "integer", "minimum": 1, "maximum": LARGEST_PAGE, "default": 100}
_ONE_KIND: Final = f"({'|'.join(sorted(FOLLOWED))})"
_KINDS: Final = {"type": "string", "maxLength": 400, "pattern": f"^{_ONE_KIND}(,{_ONE_KIND})*$"}
_DATA_SAYS: Final = (
    "As its list shows it. The target and verdict of a dormant record, and the outline of a block, are at their own "
    "addresses alone."
)
_EXAMPLE: Final = {
    "results": [
        {
            "kind": "shoot_count",
            "id": EXAMPLES["shoot_count"]["id"],
            "operation": "stored",
            "version": 1,
            "changed_at": EXAMPLES["shoot_count"]["changed_at"],
            "data": EXAMPLES["shoot_count"],
        }
    ],
    "cursor": "WzEsNzQyLCIwMTk5MWI1ZSJd:1wN7k2:8c6Zb0Tt3xvJb0B2y2s",
    "more": False,
}


class ChangeOut(serializers.Serializer[Any]):
    """One thing that was stored, changed or withdrawn, as it stands now."""

    kind = serializers.ChoiceField(choices=sorted(FOLLOWED), help_text="What it is.")
    id = serializers.UUIDField()
    operation = serializers.ChoiceField(
        choices=["stored", "changed", "withdrawn"], help_text="stored: at its first version. withdrawn: a tombstone."
    )
    version = serializers.IntegerField()
    changed_at = serializers.DateTimeField()
    data = serializers.DictField(help_text=_DATA_SAYS)  # type: ignore[assignment]


class ChangesOut(serializers.Serializer[Any]):
    """Changes, the oldest first."""

    results = ChangeOut(many=True)
    cursor = serializers.CharField(help_text="Where to go on: keep it once the results are applied.")
    more = serializers.BooleanField(help_text="Whether there are more already.")


class Changes(FarmView):
    """The changes on a farm."""

    serializer_class = ChangesOut
    pagination_class = None

    @extend_schema(
        summary="Read what changed",
        description="Everything that was stored, changed or withdrawn since `cursor`, the oldest first and each at its "
        "newest state; without a cursor, everything. Nothing that is stored can be missed, however long its request "
        "took; something may come twice, so apply by id and version. Keep the cursor once the results are applied. A "
        "cursor does not expire by age; after a restore from a backup it is answered 410, and the feed is read from "
        "its beginning.",
        parameters=[
            OpenApiParameter("cursor", text_of(2000), description="As the last answer gave it."),
            OpenApiParameter("limit", _LIMIT, description=f"At most so many, 1 to {LARGEST_PAGE}; 100 unless said."),
            OpenApiParameter(
                "kinds", _KINDS, description="Only these, separated by commas, e.g. `dormant_record,vine`."
            ),
        ],
        responses=ChangesOut,
        tags=["changes"],
        examples=[OpenApiExample("A shoot count came", value=_EXAMPLE, response_only=True)],
    )  # fmt: skip
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            cursor=serializers.CharField(max_length=2000),
            limit=StrictIntegerField(min_value=1, max_value=LARGEST_PAGE),
            kinds=serializers.CharField(max_length=400),
        )
        kinds = _kinds(query.get("kinds"))
        page = changes_since(self.opened, _place(query.get("cursor"), kinds), kinds, query.get("limit", 100))
        return Response(
            {"results": [_shown(change) for change in page.changes], "cursor": _cursor(page, kinds), "more": page.more}
        )


def _kinds(named: str | None) -> list[str]:
    if named is None:
        return sorted(FOLLOWED)
    kinds = sorted(set(named.split(",")))
    for kind in kinds:
        if kind not in FOLLOWED:
            sentence = f"{kind[:80]!r} is nothing that the feed tells of.{nearest(kind, FOLLOWED)}"
            raise InvalidQuery({"kinds": [ErrorDetail(sentence, "unknown_kind")]})
    return kinds


def _place(cursor: str | None, kinds: list[str]) -> Place | None:
    if cursor is None:
        return None
    try:
        epoch, position, row_id, entity, asked = signing.loads(cursor, salt=_SALT)
    except signing.BadSignature as error:
        raise _not_of_this_feed() from error
    if asked != kinds:
        raise _not_of_this_feed()
    return Place(epoch, position, uuid.UUID(row_id), entity)


def _not_of_this_feed() -> InvalidQuery:
    sentence = "This cursor is not of this feed. Start without one, or send it as it was given, with the same kinds."
    return InvalidQuery({"cursor": [ErrorDetail(sentence, "invalid_cursor")]})


def _cursor(page: Page, kinds: list[str]) -> str:
    place = page.place
    return signing.dumps([place.epoch, place.position, str(place.row_id), place.entity, kinds], salt=_SALT)


def _shown(change: Change) -> dict[str, Any]:
    stored = "stored" if change.row.version == 1 else "changed"
    return {
        "kind": change.entity,
        "id": change.row.pk,
        "operation": "withdrawn" if change.is_withdrawn else stored,
        "version": change.row.version,
        "changed_at": change.row.changed_at,
        "data": _data(change),
    }


_SHOWN: Final[dict[str, type[serializers.BaseSerializer[Any]]]] = {"block": BlockOut, "row": RowOut, "vine": VineOut}


def _data(change: Change) -> Any:
    serializer = _SHOWN.get(change.entity) or shown_of(KINDS[change.entity])
    return serializer(change.row).data
