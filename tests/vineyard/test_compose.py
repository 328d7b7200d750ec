"""The deployment by compose: valid, without secrets, every reference defined, every setting known."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml

from vineyard import env

FILE = Path(__file__).resolve().parents[2] / "docker-compose.yml"


@pytest.fixture(scope="module")
def compose() -> dict[str, Any]:
    loaded: dict[str, Any] = yaml.safe_load(FILE.read_text())
    return loaded


def test_it_is_valid_by_the_compose_specification():
    argv = [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec", str(FILE)]
    ended = subprocess.run(argv, capture_output=True, text=True, timeout=60, check=False)
    assert ended.returncode == 0, ended.stdout


def test_it_runs_the_five_parts_and_a_migration(compose):
    unasked = {name for name, service in compose["services"].items() if "profiles" not in service}
    assert unasked == {"database", "broker", "migrate", "web", "worker", "scheduler"}


def test_a_replica_comes_only_where_it_is_asked_for(compose):
    asked_for = {name: service["profiles"] for name, service in compose["services"].items() if "profiles" in service}
    assert asked_for == {"replica": ["replica"]}
    needs = {name for service in compose["services"].values() for name in service.get("depends_on", {})}
    assert "replica" not in needs


def test_with_the_lines_that_are_marked_replica_the_api_reads_from_it():
    """Uncommented, they are valid, and what they refer to is defined."""
    text = re.sub(r"^( *)# ?(.*  # replica)$", r"\1\2", FILE.read_text(), flags=re.MULTILINE)
    with_it = yaml.safe_load(text)
    web = with_it["services"]["web"]
    assert web["environment"]["REPLICA_DATABASE_URL_FILE"] == "/run/secrets/replica_database_url"
    assert "REPLICA_DATABASE_URL" in env.DECLARED
    assert set(web["secrets"]) - set(yaml.safe_load(FILE.read_text())["services"]["web"]["secrets"]) == {
        "replica_database_url"
    }
    assert "replica_database_url" in with_it["secrets"]


def test_the_standby_has_room_for_as_many_connections_as_the_primary(compose):
    """With fewer it does not start (PostgreSQL's manual, hot standby)."""
    said = [
        re.findall(r"max_connections=(\d+)", str(compose["services"][name]["command"]))
        for name in ("database", "replica")
    ]
    assert said[0] == said[1] != []


@pytest.mark.parametrize("kind", ["networks", "volumes", "secrets", "configs"])
def test_what_a_service_refers_to_is_defined_and_what_is_defined_is_used(kind, compose):
    used = set()
    for service in compose["services"].values():
        for reference in service.get(kind, []):
            name = reference["source"] if isinstance(reference, dict) else str(reference).split(":")[0]
            used.add(name)
    assert used == set(compose[kind])


def test_what_a_service_waits_for_is_there_and_can_say_that_it_is_ready(compose):
    for name, service in compose["services"].items():
        for other, how in service.get("depends_on", {}).items():
            assert other in compose["services"], name
            if how["condition"] == "service_healthy":
                assert "healthcheck" in compose["services"][other], (name, other)


def test_every_part_that_stays_up_has_a_health_check_and_comes_back(compose):
    for name, service in compose["services"].items():
        if name != "migrate":
            assert service["healthcheck"]["test"], name
            assert service["restart"] == "unless-stopped", name


def test_no_secret_stands_in_it(compose):
    text = FILE.read_text()
    for service in compose["services"].values():
        for variable, value in service.get("environment", {}).items():
            if re.search("PASSWORD|SECRET|KEY|DATABASE|BROKER", variable):
                assert variable.endswith("_FILE"), variable
                assert str(value).startswith("/run/secrets/"), variable
    assert not re.search(r"://[^/\s:]+:[^$\s@]+@", text)


def test_every_setting_that_it_names_is_one_that_the_service_reads(compose):
    known = set(env.DECLARED) | {f"{name}_FILE" for name in env.DECLARED}
    for name in ("migrate", "web", "worker", "scheduler"):
        assert set(compose["services"][name]["environment"]) <= known, name


def test_a_secret_that_a_setting_reads_is_given_to_its_service(compose):
    for name, service in compose["services"].items():
        for value in service.get("environment", {}).values():
            if str(value).startswith("/run/secrets/"):
                assert str(value).rsplit("/", 1)[1] in service["secrets"], name


def test_only_the_api_is_published_and_only_on_this_machine(compose):
    published = {name: service["ports"] for name, service in compose["services"].items() if "ports" in service}
    assert published == {"web": ["127.0.0.1:8000:8000"]}


def test_the_api_answers_its_own_health_check_whatever_names_it_is_given(compose):
    named = compose["services"]["web"]["environment"]["ALLOWED_HOSTS"]
    assert "127.0.0.1" in named.partition("${")[0].split(",")


def test_no_password_stands_in_a_list_of_processes(compose):
    for name, service in compose["services"].items():
        command = service.get("command", [])
        assert "--requirepass" not in " ".join(command), name


def test_the_database_keeps_its_records_where_version_18_keeps_them(compose):
    assert compose["services"]["database"]["volumes"] == ["records:/var/lib/postgresql"]


def test_the_image_copies_only_what_is_there():
    for source in re.findall(r"^\s+COPY (.+?) \./", FILE.read_text(), re.MULTILINE):
        for name in source.split():
            assert (FILE.parent / name).exists(), name
