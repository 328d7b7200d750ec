"""The site of the staff's pages: who may enter, and on whose behalf its transactions run."""

from __future__ import annotations

from collections.abc import Callable
from functools import update_wrapper
from typing import TYPE_CHECKING, Any, Final

from django.contrib import admin
from django.contrib.auth.views import redirect_to_login
from django.db.models import Model
from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from records.context import set_context
from vineyard.accounts.pages import guarded

if TYPE_CHECKING:
    View = Callable[..., Any]
    Base = admin.ModelAdmin[Model]
else:
    Base = admin.ModelAdmin

#: So many rows stand on one page of a list, and no list can be asked for whole.
ROWS_ON_A_PAGE: Final = 50


class StaffSite(admin.AdminSite):
    """Django's admin for active staff alone; they sign in where everybody does, so that attempts are counted once."""

    site_title = site_header = "Balanced pruning: staff"
    index_title = "People, keys, programs and the register of farms"
    site_url = "/"
    enable_nav_sidebar = False

    def has_permission(self, request: HttpRequest) -> bool:
        return bool(request.user.is_active and getattr(request.user, "is_staff", False))

    def login(self, request: HttpRequest, extra_context: dict[str, Any] | None = None) -> HttpResponse:  # noqa: ARG002
        """Send whoever is not signed in to the one page for that; whoever is and may not enter, there too."""
        return redirect_to_login(request.GET.get("next") or reverse("admin:index"), "/login")

    def admin_view(self, view: View, cacheable: bool = False) -> Any:
        """Let every page's transaction run on behalf of the staff person, with the register open and no farm."""

        def on_behalf(request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
            set_context(person=request.user.pk, key=None, farms=None, register="on", request=_request_id(request))
            return view(request, *args, **kwargs)

        inner = super().admin_view(update_wrapper(on_behalf, view), cacheable)

        def outer(request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
            return guarded(inner(request, *args, **kwargs))

        return update_wrapper(outer, inner)


class StaffAdmin(Base):
    """What the staff may do with one kind of row: look, unless a page of its own says more."""

    list_per_page = ROWS_ON_A_PAGE
    list_max_show_all = ROWS_ON_A_PAGE
    show_full_result_count = False
    may: frozenset[str] = frozenset({"view"})

    def has_module_permission(self, request: HttpRequest) -> bool:
        return site.has_permission(request)

    def has_view_permission(self, request: HttpRequest, obj: Any = None) -> bool:  # noqa: ARG002
        return site.has_permission(request)

    def has_add_permission(self, request: HttpRequest, *_: Any) -> bool:
        return "add" in self.may and site.has_permission(request)

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:  # noqa: ARG002
        return "change" in self.may and site.has_permission(request)

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:  # noqa: ARG002
        return "delete" in self.may and site.has_permission(request)


def _request_id(request: HttpRequest) -> str:
    return str(getattr(request, "request_id", ""))


site = StaffSite(name="admin")
