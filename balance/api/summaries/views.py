"""The views of a summary: one for each kind of scope that it is told of, which all answer alike."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable
from typing import Any, Final

from django.http.response import HttpResponseBase
from rest_framework.request import Request

from balance.api.summaries.scopes import BlockScope, FarmScope, PortfolioScope, ScopedView
from balance.summaries.lines import BLOCK, FARM, PORTFOLIO
from records.api.forms import InForms, SvgRenderer, VegaLiteRenderer, renderers

_SCOPES: Final[dict[str, type[Any]]] = {FARM: FarmScope, BLOCK: BlockScope, PORTFOLIO: PortfolioScope}
#: Gives what the document says of a summary of one kind of scope.
Told = Callable[[str], Callable[[Any], Any]]
Answer = Callable[[ScopedView, Request], HttpResponseBase]
Views = dict[str, Any]


def views_of(told: Told, answer: Answer, *, kinds: Iterable[str] = tuple(_SCOPES), charts: bool = False) -> Views:
    """Give a view for each kind of scope; with ``charts`` they answer with a drawing, too, or what it is drawn from."""
    return {kind: _view(_SCOPES[kind], told(kind), answer, charts=charts) for kind in kinds}


def _view(scope: type[Any], told: Callable[[Any], Any], answer: Answer, *, charts: bool) -> type[Any]:
    def get(self: ScopedView, request: Request, **_: uuid.UUID) -> HttpResponseBase:
        return answer(self, request)

    bases = (InForms, scope) if charts else (scope,)
    more = {"renderer_classes": renderers(SvgRenderer, VegaLiteRenderer)} if charts else {}
    return type(f"{scope.__name__}View", bases, {"__doc__": scope.__doc__, "get": told(get), **more})
