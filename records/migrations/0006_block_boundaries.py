"""The outline of a block, with the area that follows from it, and the area that the farm declares."""

from django.db import migrations, models
from django.db.models import Q


def between(name, column, low, high):
    inside = Q(**{f"{column}__gte": low, f"{column}__lte": high})
    condition = Q(**{f"{column}__isnull": True}) | inside
    return migrations.AddConstraint("block", models.CheckConstraint(name=name, condition=condition))


def together(name, *columns):
    none = Q(**{f"{column}__isnull": True for column in columns})
    every = Q(**{f"{column}__isnull": False for column in columns})
    return migrations.AddConstraint("block", models.CheckConstraint(name=name, condition=none | every))


class Migration(migrations.Migration):
    dependencies = [("records", "0005_idempotency_keys")]

    operations = [
        migrations.AddField(
            "block",
            "boundary",
            models.JSONField(
                null=True,
                blank=True,
                help_text="GeoJSON Polygon or MultiPolygon (RFC 7946), rings wound by the right-hand rule.",
            ),
        ),
        migrations.AddField(
            "block",
            "computed_area_m2",
            models.DecimalField(
                max_digits=17,
                decimal_places=2,
                null=True,
                blank=True,
                help_text="Geodesic area of the boundary, WGS 84.",
            ),
        ),
        migrations.AddField(
            "block",
            "declared_area_value",
            models.DecimalField(max_digits=27, decimal_places=12, null=True, blank=True),
        ),
        migrations.AddField("block", "declared_area_unit", models.CharField(max_length=20, blank=True, null=True)),
        migrations.AddField(
            "block",
            "declared_area_m2",
            models.DecimalField(max_digits=36, decimal_places=24, null=True, blank=True),
        ),
        together("block_declared_area_whole", "declared_area_value", "declared_area_unit", "declared_area_m2"),
        between("block_declared_area_1_m2_to_10000_ha", "declared_area_m2", 1, 100_000_000),
        together("block_boundary_with_its_area", "boundary", "computed_area_m2"),
        between("block_computed_area_1_m2_to_10000_ha", "computed_area_m2", 1, 100_000_000),
    ]
