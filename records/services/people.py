"""Find the person behind an address, or make them: nobody who asks learns which it was."""

from __future__ import annotations

from django.db import IntegrityError, transaction

from records.models import Person


def person_of(email: str, name: str) -> Person:
    """Give the person with this address; somebody new gets the name, and can call once they have a key."""
    address = Person.objects.normalize_email(email)
    known = Person.objects.filter(email=address).first()
    if known is not None:
        return known
    try:
        with transaction.atomic():
            return Person.objects.create_user(address, name)
    except IntegrityError:  # somebody else named them at the same moment
        return Person.objects.get(email=address)
