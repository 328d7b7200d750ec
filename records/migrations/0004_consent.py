"""Consent: who may see a farm's records, for what, from when and until when."""

import django.contrib.postgres.fields
import django.contrib.postgres.functions
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models
from django.db.migrations.operations import RunSQL

import records.models.base
from records.walls import Reference, farm_key, farm_table, history, row_security

OF_THE_CONTEXT = "farm_id = ANY ((SELECT context_farms())::uuid[])"
#: Whom a consent names sees it before any farm is opened: that is how the door finds the farm.
NAMES_THE_CALLER = "person_id = (SELECT context_person()) OR program_id = ANY ((SELECT context_programs())::uuid[])"

CONTEXT_PROGRAMS = RunSQL(
    sql="""
    CREATE FUNCTION context_programs() RETURNS uuid[] LANGUAGE sql STABLE PARALLEL SAFE AS
        $$ SELECT array_agg(program_id) FROM program_membership WHERE person_id = context_person() $$;
    """,
    reverse_sql="DROP FUNCTION context_programs();",
)

# Advisers had a role until now; each becomes a consent that allows what the role did, given by the farm's first owner.
# Row security would hide every farm's rows from the owner of the tables too, so it is not forced meanwhile; the
# transaction holds both tables until it is again.
_NOT_FORCED = """
    ALTER TABLE membership NO FORCE ROW LEVEL SECURITY;
    ALTER TABLE record_change NO FORCE ROW LEVEL SECURITY;
"""
_FORCED_AGAIN = """
    SET CONSTRAINTS ALL IMMEDIATE;
    SET CONSTRAINTS ALL DEFERRED;
    ALTER TABLE record_change FORCE ROW LEVEL SECURITY;
    ALTER TABLE membership FORCE ROW LEVEL SECURITY;
"""
ADVISERS_BY_CONSENT = RunSQL(
    sql=f"""
    {_NOT_FORCED}
    INSERT INTO consent (farm_id, purpose, person_id, name, rights, valid_from, text_version, given_by_id,
                         created_digest)
    SELECT adviser.farm_id, 'advice', adviser.person_id, adviser.name, '{{read,record}}', adviser.received_at,
           'role-before-consent',
           (SELECT owner.person_id FROM membership AS owner
            WHERE owner.farm_id = adviser.farm_id AND owner.role = 'owner'
            ORDER BY owner.received_at, owner.id LIMIT 1),
           ''
    FROM membership AS adviser WHERE adviser.role = 'adviser';
    DELETE FROM membership WHERE role = 'adviser';
    {_FORCED_AGAIN}
    """,
    # A consent to read alone becomes the role that reads alone: going back gives nobody more than they have.
    reverse_sql=f"""
    {_NOT_FORCED}
    INSERT INTO membership (farm_id, person_id, role, name, created_digest)
    SELECT DISTINCT ON (farm_id, person_id) farm_id, person_id,
           CASE WHEN 'record' = ANY (rights) THEN 'adviser' ELSE 'viewer' END, name, ''
    FROM consent
    WHERE purpose = 'advice' AND withdrawn_at IS NULL AND valid_from <= now()
      AND (valid_until IS NULL OR valid_until > now())
    ORDER BY farm_id, person_id, rights DESC
    ON CONFLICT (farm_id, person_id) DO NOTHING;
    {_FORCED_AGAIN}
    """,
)


def _person(**kwargs):
    return models.ForeignKey(db_index=False, null=True, related_name="+", to=settings.AUTH_USER_MODEL, **kwargs)


class Migration(migrations.Migration):
    # Asked by .ci/migrations.py, which wants constraints on old tables NOT VALID first.
    safe_because = {
        "constraint-missing-not-valid": "memberships and keys are a few rows a person: a scan of moments",
        "adding-foreign-key-constraint": "the column is new and empty, so PostgreSQL scans nothing",
        "adding-field-with-default": "each program takes a code of its own, and a service has a handful of programs",
        "disallowed-unique-constraint": "the same: the index of a handful of programs is built in a moment",
    }
    dependencies = [("records", "0003_year_records")]

    operations = [
        migrations.CreateModel(
            name="Consent",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False
                    ),
                ),
                (
                    "version",
                    models.PositiveIntegerField(db_default=1, help_text="Counts the changes of this row, from 1."),
                ),
                (
                    "received_at",
                    models.DateTimeField(
                        db_default=django.contrib.postgres.functions.TransactionNow(),
                        editable=False,
                        help_text="When the service first received it.",
                    ),
                ),
                (
                    "changed_at",
                    models.DateTimeField(
                        db_default=django.contrib.postgres.functions.TransactionNow(),
                        help_text="When it was last changed.",
                    ),
                ),
                (
                    "created_digest",
                    models.CharField(
                        blank=True,
                        editable=False,
                        help_text="Of what the creating request said, so that the same request is known again for "
                        "ever.",
                        max_length=64,
                    ),
                ),
                (
                    "purpose",
                    models.CharField(
                        choices=[("advice", "advice"), ("records", "records"), ("summaries", "summaries")],
                        help_text="advice: an adviser reads, and records where that is given; records: the program's "
                        "leads read; summaries: the program may count the farm in its summaries, and reads nothing.",
                        max_length=10,
                    ),
                ),
                (
                    "name",
                    models.CharField(blank=True, help_text="How the farm calls the adviser.", max_length=120),
                ),
                (
                    "rights",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(max_length=10),
                        blank=True,
                        default=list,
                        help_text="What it allows: read, or read and record for an adviser; nothing for summaries.",
                        size=None,
                    ),
                ),
                (
                    "valid_from",
                    models.DateTimeField(
                        db_default=django.contrib.postgres.functions.TransactionNow(),
                        help_text="It opens nothing before.",
                    ),
                ),
                (
                    "valid_until",
                    models.DateTimeField(
                        blank=True,
                        help_text="It opens nothing from then on; empty: until it is withdrawn.",
                        null=True,
                    ),
                ),
                (
                    "withdrawn_at",
                    models.DateTimeField(blank=True, help_text="When it was taken back.", null=True),
                ),
                (
                    "text_version",
                    models.CharField(help_text="The version of the text that was agreed to.", max_length=40),
                ),
                (
                    "farm",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="records.farm",
                    ),
                ),
                (
                    "person",
                    _person(
                        blank=True,
                        help_text="The adviser, for the purpose advice.",
                        on_delete=django.db.models.deletion.PROTECT,
                    ),
                ),
                (
                    "program",
                    models.ForeignKey(
                        blank=True,
                        db_index=False,
                        help_text="The program, for the purposes records and summaries.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="records.program",
                    ),
                ),
                (
                    "given_by",
                    _person(help_text="The owner who did.", on_delete=django.db.models.deletion.PROTECT),
                ),
                ("withdrawn_by", _person(blank=True, on_delete=django.db.models.deletion.PROTECT)),
            ],
            options={
                "db_table": "consent",
                "indexes": [
                    models.Index(fields=["farm", "person"], name="consent_of_a_person"),
                    models.Index(fields=["farm", "program"], name="consent_of_a_program"),
                    models.Index(fields=["farm", "-received_at", "-id"], name="consent_in_order"),
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("purpose__in", ["advice", "records", "summaries"])),
                        name="consent_purpose_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("person__isnull", False), ("program__isnull", True), ("purpose", "advice")),
                            models.Q(
                                models.Q(("purpose", "advice"), _negated=True),
                                ("person__isnull", True),
                                ("program__isnull", False),
                            ),
                            _connector="OR",
                        ),
                        name="consent_to_an_adviser_or_a_program",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("purpose", "advice"), ("rights__in", [["read"], ["read", "record"]])),
                            models.Q(("purpose", "records"), ("rights", ["read"])),
                            models.Q(("purpose", "summaries"), ("rights", [])),
                            _connector="OR",
                        ),
                        name="consent_rights_fit_the_purpose",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("valid_until__isnull", True),
                            ("valid_until__gt", models.F("valid_from")),
                            _connector="OR",
                        ),
                        name="consent_ends_after_it_begins",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("withdrawn_at__isnull", True), ("withdrawn_by__isnull", True)),
                            models.Q(("withdrawn_at__isnull", False), ("withdrawn_by__isnull", False)),
                            _connector="OR",
                        ),
                        name="consent_withdrawn_by_somebody",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Visit",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("method", models.CharField(help_text="What the request did, e.g. GET.", max_length=10)),
                ("path", models.CharField(help_text="Which address it asked for.", max_length=300)),
                (
                    "request_id",
                    models.CharField(blank=True, help_text="Names the request in the service's log.", max_length=64),
                ),
                (
                    "visited_at",
                    models.DateTimeField(
                        db_default=django.contrib.postgres.functions.TransactionNow(), help_text="When."
                    ),
                ),
                (
                    "consent",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        help_text="The consent that let them in.",
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="records.consent",
                    ),
                ),
                (
                    "farm",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="records.farm",
                    ),
                ),
                ("person", _person(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING)),
            ],
            options={
                "db_table": "visit",
                "indexes": [models.Index(fields=["farm", "-visited_at", "-id"], name="visit_in_order")],
            },
        ),
        migrations.AddField(
            model_name="membership",
            name="name",
            field=models.CharField(
                blank=True, db_default="", help_text="How the farm calls the person.", max_length=120
            ),
        ),
        migrations.RemoveConstraint(model_name="membership", name="membership_role_known"),
        ADVISERS_BY_CONSENT,
        migrations.AddConstraint(
            model_name="membership",
            constraint=models.CheckConstraint(
                condition=models.Q(("role__in", ["owner", "worker", "viewer"])), name="membership_role_known"
            ),
        ),
        migrations.AlterField(
            model_name="membership",
            name="role",
            field=models.CharField(
                choices=[("owner", "owner"), ("worker", "worker"), ("viewer", "viewer")], max_length=10
            ),
        ),
        CONTEXT_PROGRAMS,
        farm_key("consent"),
        row_security("consent", f"{OF_THE_CONTEXT} OR {NAMES_THE_CALLER}", OF_THE_CONTEXT),
        history("consent"),
        *farm_table("visit", Reference(["consent_id"], "consent"), keeps_history=False),
        migrations.AddField(
            model_name="program",
            name="join_code",
            field=models.CharField(
                db_default=records.models.base.RandomText(),
                editable=False,
                help_text="Its leads give it to growers: whoever has it may give the program a consent.",
                max_length=36,
                unique=True,
            ),
        ),
        migrations.AddField(
            model_name="apikey",
            name="former_secret_hash",
            field=models.CharField(
                blank=True,
                db_default="",
                help_text="SHA-256 of the secret before the last rotation, while it still opens.",
                max_length=64,
            ),
        ),
        migrations.AddField(
            model_name="apikey",
            name="former_secret_until",
            field=models.DateTimeField(
                blank=True,
                help_text="From then on the secret before the last rotation opens nothing.",
                null=True,
            ),
        ),
        migrations.AddField(
            model_name="apikey",
            name="made_by",
            field=models.ForeignKey(
                blank=True,
                db_index=False,
                help_text="The key by which it was asked for; empty: it was made by a login or on the command line.",
                null=True,
                on_delete=django.db.models.deletion.SET_NULL,
                related_name="+",
                to="records.apikey",
            ),
        ),
        migrations.AddField(
            model_name="apikey",
            name="version",
            field=models.PositiveIntegerField(db_default=1, help_text="Counts rotation and revocation, from 1."),
        ),
        migrations.AddConstraint(
            model_name="apikey",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("former_secret_hash", ""), ("former_secret_until", None)),
                    models.Q(
                        models.Q(("former_secret_hash", ""), _negated=True), ("former_secret_until__isnull", False)
                    ),
                    _connector="OR",
                ),
                name="api_key_former_secret_ends",
            ),
        ),
    ]
