"""Make a person, or set anew what the command line names of one who is there."""

from __future__ import annotations

from argparse import ArgumentParser
from getpass import getpass
from pathlib import Path
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management import BaseCommand, CommandError
from django.core.validators import validate_email
from django.db import transaction

from records.models import Person


class Command(BaseCommand):
    """The making of a person."""

    help = (
        "Make a person who can sign in, for /docs and, with --staff, for /admin. For somebody who is there it sets the "
        "password anew; nobody has one by default."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email", help="the person's address, by which they sign in")
        parser.add_argument("--name", help="the person's name, for somebody new")
        parser.add_argument("--staff", action="store_true", help="let them enter the program staff's pages")
        password = parser.add_mutually_exclusive_group()
        password.add_argument("--no-password", action="store_true", help="they call by key and cannot sign in")
        password.add_argument("--password-file", type=Path, help="a file whose first line is the password")

    def handle(self, *_: Any, **options: Any) -> None:
        with transaction.atomic():
            person, new = _person(options["email"], options["name"])
            person.is_staff = person.is_staff or options["staff"]
            if not options["no_password"]:
                _set_password(person, _password(options["password_file"]))
            person.save()
        does = "can enter the staff's pages" if person.is_staff else "is no staff"
        signs_in = "can sign in" if person.has_usable_password() else "cannot sign in"
        self.stdout.write(f"{'Made' if new else 'Changed'} {person.name} ({person.email}): {signs_in}, {does}.")


def _person(email: str, name: str | None) -> tuple[Person, bool]:
    known = Person.objects.select_for_update().filter(email=Person.objects.normalize_email(email)).first()
    if known:
        known.name = name or known.name
        return known, False
    if not name:
        raise CommandError(f"There is nobody with the address {email}. Give --name to make them.")
    try:
        validate_email(email)
    except ValidationError as error:
        raise CommandError(f"{email!r} is no e-mail address.") from error
    return Person.objects.create_user(email, name[:120]), True


def _password(file: Path | None) -> str:
    if file is None:
        first, second = getpass("Password: "), getpass("Password again: ")
        if first != second:
            raise CommandError("The two passwords differ. Nothing was changed.")
        return first
    try:
        lines = file.read_text(encoding="utf-8").splitlines()
    except OSError as error:
        raise CommandError(f"{file}: {error.strerror}.") from error
    return lines[0] if lines else ""


def _set_password(person: Person, password: str) -> None:
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise CommandError(" ".join(error.messages) + " Nothing was changed.") from error
    person.set_password(password)
