"""People, keys, programs and who leads them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from django.contrib import admin, messages
from django.contrib.auth.forms import AdminUserCreationForm
from django.db.models import Case, CharField, F, QuerySet, Value, When
from django.db.models.functions import Now
from django.http import HttpRequest

from balance.formulas.counting import counted
from records.models import ApiKey, Person, Program, ProgramMembership
from vineyard.staff.site import StaffAdmin, site

if TYPE_CHECKING:
    NewUserForm = AdminUserCreationForm[Person]
else:
    NewUserForm = AdminUserCreationForm


class NewPersonForm(NewUserForm):
    """A new person; without a password they call by key and cannot sign in."""

    class Meta:
        model = Person
        fields = ("name", "email", "is_staff")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["usable_password"].label = "Can sign in"
        self.fields["usable_password"].help_text = "Without a password a person calls by key alone."


class PersonAdmin(StaffAdmin):
    """People: made, renamed, switched off, made staff; nobody's password is set here but a new person's.

    Whoever set the password of a farm's owner could sign in as the owner, and the staff's pages open no farm.
    """

    may = frozenset({"view", "add", "change"})
    list_display = ("name", "email", "is_active", "is_staff", "has_password", "last_login", "joined_at")
    list_filter = ("is_active", "is_staff")
    search_fields = ("name", "email")
    ordering = ("name", "id")
    readonly_fields = ("last_login", "joined_at", "has_password")
    fields = ("name", "email", "is_active", "is_staff", "has_password", "last_login", "joined_at")
    add_form_template = "admin/auth/user/add_form.html"
    add_fields = ("name", "email", "is_staff", "usable_password", "password1", "password2")

    def get_form(self, request: HttpRequest, obj: Any = None, change: bool = False, **kwargs: Any) -> Any:
        if obj is None:
            kwargs["form"] = NewPersonForm
            kwargs["fields"] = None
        return super().get_form(request, obj, change, **kwargs)

    def get_fields(self, request: HttpRequest, obj: Any = None) -> Any:
        return self.add_fields if obj is None else super().get_fields(request, obj)

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> Any:
        return () if obj is None else super().get_readonly_fields(request, obj)

    @admin.display(boolean=True, description="can sign in")
    def has_password(self, person: Person) -> bool:
        return person.has_usable_password()

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        """Keep staff from shutting themselves out, which nobody could mend from these pages."""
        if change and obj.pk == request.user.pk and not (obj.is_active and obj.is_staff):
            obj.is_active = obj.is_staff = True
            self.message_user(request, "Nobody can take the staff's pages from themselves.", messages.WARNING)
        super().save_model(request, obj, form, change)


_HASHES: Final = ("secret_hash", "former_secret_hash")


class ApiKeyAdmin(StaffAdmin):
    """Keys: looked at and taken back; neither a secret nor its hash is shown, and none is made here."""

    list_display = ("prefix", "label", "person", "app_name", "scopes", "state", "expires_at", "last_used_at")
    list_select_related = ("person",)
    search_fields = ("prefix", "label", "app_name", "person__name", "person__email")
    ordering = ("-created_at", "-id")
    #: Named one by one, so that what a key keeps besides, above all hashes, is not shown by being forgotten here.
    fields = (
        "prefix", "label", "person", "app_name", "scopes", "farm_ids", "state", "created_at", "expires_at",
        "revoked_at", "last_used_at",
    )  # fmt: skip
    actions = ("take_back",)

    def get_queryset(self, request: HttpRequest) -> QuerySet[Any]:
        state = Case(
            When(revoked_at__isnull=False, then=Value("taken back")),
            When(expires_at__lte=Now(), then=Value("expired")),
            default=Value("in force"),
            output_field=CharField(),
        )
        keys: QuerySet[Any] = super().get_queryset(request).defer(*_HASHES).annotate(key_state=state)
        return keys

    @admin.display(ordering="key_state")
    def state(self, key: Any) -> str:
        return str(key.key_state)

    @admin.action(description="Take back the selected keys")
    def take_back(self, request: HttpRequest, keys: QuerySet[ApiKey]) -> None:
        count = ApiKey.objects.filter(pk__in=keys.values("pk"), revoked_at=None).update(revoked_at=Now())
        said = counted(count, "key taken back; it opens", "keys taken back; they open")
        self.message_user(request, f"{said} nothing from the next request on.")


class ProgramAdmin(StaffAdmin):
    """Programs; who leads them is a list of its own."""

    may = frozenset({"view", "add", "change"})
    list_display = ("name", "region", "created_at")
    search_fields = ("name", "region")
    ordering = ("name", "id")


class ProgramMembershipAdmin(StaffAdmin):
    """Who leads which program: named, or no longer."""

    may = frozenset({"view", "add", "delete"})
    list_display = ("person", "program", "role")
    list_select_related = ("person", "program")
    list_filter = ("role",)
    search_fields = ("person__name", "person__email", "program__name")
    autocomplete_fields = ("person", "program")
    ordering = (F("program__name"), F("person__name"), "id")


site.register(Person, PersonAdmin)
site.register(ApiKey, ApiKeyAdmin)
site.register(Program, ProgramAdmin)
site.register(ProgramMembership, ProgramMembershipAdmin)
