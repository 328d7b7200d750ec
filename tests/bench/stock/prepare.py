"""Make the tables of the reference's own, a user and their token; prints the token."""

from __future__ import annotations

import os

import django
import psycopg


def main() -> None:
    with psycopg.connect(os.environ["BENCH_STOCK_DATABASE"], autocommit=True) as connection:
        connection.execute("CREATE SCHEMA IF NOT EXISTS stock")
    os.environ["BENCH_STOCK_SEARCH_PATH"] = "stock"
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.bench.stock.settings"
    django.setup()
    from django.contrib.auth.models import User
    from django.core.management import call_command
    from rest_framework.authtoken.models import Token

    call_command("migrate", verbosity=0, interactive=False)
    user, _ = User.objects.get_or_create(username="bench")
    token, _ = Token.objects.get_or_create(user=user)
    print(token.key)


if __name__ == "__main__":
    main()
