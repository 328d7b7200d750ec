"""Other kinds of formula than "A+B", ranges, and what a farm or a program adds of its own; what a block's fruit is for,
its curtains and its fewest nodes.
"""

import django.contrib.postgres.functions
import django.db.models.deletion
import records.models.base
from django.db import migrations, models

from records.walls import Reference, catalogue_with_owners, farm_table


class Migration(migrations.Migration):
    # Asked by .ci/migrations.py, which wants constraints on old tables NOT VALID first.
    safe_because = {
        "constraint-missing-not-valid": "blocks are few, and the catalogue holds tens of formulas",
        "adding-foreign-key-constraint": "the catalogue holds tens of formulas, none of them a program's yet",
        "disallowed-unique-constraint": "the catalogue holds tens of formulas",
    }
    dependencies = [
        ('records', '0009_requests_of_jobs'),
    ]

    operations = [
        migrations.CreateModel(
            name='BalanceRange',
            fields=[
                ('source', models.TextField(help_text="The publication, or 'common practice, no source'.")),
                ('source_mark', models.CharField(help_text='READ: read in the source. READ*: read in a source of low authority. MEMORY: recalled, not seen. COMPUTED: arithmetic on figures that were read.', max_length=10)),
                ('note', models.TextField(blank=True)),
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('code', models.SlugField(max_length=60)),
                ('range_version', models.PositiveSmallIntegerField(default=1)),
                ('label', models.CharField(max_length=120)),
                ('measure', models.CharField(choices=[('yield_to_pruning_weight', 'yield : pruning weight'), ('pruning_weight_per_canopy_metre', 'pruning weight per metre of canopy'), ('pruning_weight_per_row_metre', 'pruning weight per metre of row'), ('mean_cane_weight', 'mean weight of a cane'), ('leaf_area_per_yield', 'leaf area per yield'), ('leaf_area_per_canopy_metre', 'leaf area per metre of canopy'), ('shoots_per_canopy_metre', 'shoots per metre of canopy'), ('nodes_per_canopy_metre', 'count nodes per metre of canopy'), ('soluble_solids', 'soluble solids at harvest')], max_length=40)),
                ('low', models.DecimalField(blank=True, decimal_places=5, max_digits=12, null=True)),
                ('high', models.DecimalField(blank=True, decimal_places=5, max_digits=12, null=True)),
                ('unit', models.CharField(help_text='UCUM code; the unit of its measure.', max_length=20)),
                ('use', models.CharField(blank=True, choices=[('juice', 'juice'), ('wine', 'wine'), ('table', 'table grapes')], help_text='Empty: any use of the fruit.', max_length=10)),
                ('canopy', models.CharField(blank=True, choices=[('single', 'single'), ('divided', 'divided')], help_text='Empty: either.', max_length=10)),
                ('is_default', models.BooleanField(default=False, help_text='It holds for its cultivar or group and use unless another was chosen.')),
                ('region', models.CharField(blank=True, max_length=120)),
                ('year', models.PositiveSmallIntegerField(blank=True, null=True)),
            ],
            options={
                'db_table': 'balance_range',
                'ordering': ['code', 'range_version'],
            },
        ),
        migrations.CreateModel(
            name='RangeChoice',
            fields=[
                ('id', models.UUIDField(db_default=records.models.base.UUIDv7(), editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField(db_default=1, help_text='Counts the changes of this row, from 1.')),
                ('received_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), editable=False, help_text='When the service first received it.')),
                ('changed_at', models.DateTimeField(db_default=django.contrib.postgres.functions.TransactionNow(), help_text='When it was last changed.')),
                ('created_digest', models.CharField(blank=True, editable=False, help_text='Of what the creating request said, so that the same request is known again for ever.', max_length=64)),
                ('measure', models.CharField(choices=[('yield_to_pruning_weight', 'yield : pruning weight'), ('pruning_weight_per_canopy_metre', 'pruning weight per metre of canopy'), ('pruning_weight_per_row_metre', 'pruning weight per metre of row'), ('mean_cane_weight', 'mean weight of a cane'), ('leaf_area_per_yield', 'leaf area per yield'), ('leaf_area_per_canopy_metre', 'leaf area per metre of canopy'), ('shoots_per_canopy_metre', 'shoots per metre of canopy'), ('nodes_per_canopy_metre', 'count nodes per metre of canopy'), ('soluble_solids', 'soluble solids at harvest')], max_length=40)),
            ],
            options={
                'db_table': 'range_choice',
            },
        ),
        migrations.RemoveConstraint(
            model_name='pruningformula',
            name='pruning_formula_one_row_a_version',
        ),
        migrations.AddField(
            model_name='block',
            name='canopies',
            field=models.PositiveSmallIntegerField(blank=True, help_text='Curtains of leaves a row: 2 where the canopy is divided. Empty: not stated.', null=True),
        ),
        migrations.AddField(
            model_name='block',
            name='minimum_nodes',
            field=models.PositiveSmallIntegerField(blank=True, help_text='The fewest nodes that the farm keeps on a vine of this block.', null=True),
        ),
        migrations.AddField(
            model_name='block',
            name='use',
            field=models.CharField(blank=True, choices=[('juice', 'juice'), ('wine', 'wine'), ('table', 'table grapes')], db_default='', help_text='What the fruit is grown for; empty: not stated.', max_length=10),
        ),
        migrations.AddField(
            model_name='pruningformula',
            name='highest_units',
            field=models.DecimalField(blank=True, decimal_places=3, help_text='It holds up to here; empty: no source says.', max_digits=7, null=True),
        ),
        migrations.AddField(
            model_name='pruningformula',
            name='kind',
            field=models.CharField(choices=[('first_and_further', 'A nodes for the first unit of weight, B for each further'), ('per_unit', 'so many nodes for each unit of weight'), ('fixed', 'so many nodes, whatever was weighed')], db_default='first_and_further', default='first_and_further', help_text='How it turns weight into nodes.', max_length=20),
        ),
        migrations.AddField(
            model_name='pruningformula',
            name='lowest_units',
            field=models.DecimalField(blank=True, decimal_places=3, help_text='It holds from this many units of weight on; empty: from one, and a fixed number at any weight.', max_digits=7, null=True),
        ),
        migrations.AddField(
            model_name='pruningformula',
            name='owner_farm',
            field=models.ForeignKey(blank=True, db_constraint=False, db_index=False, help_text="The farm whose own it is; empty: not a farm's.", null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='records.farm'),
        ),
        migrations.AddField(
            model_name='pruningformula',
            name='owner_program',
            field=models.ForeignKey(blank=True, db_index=False, help_text="The program whose own it is; empty: not a program's.", null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.program'),
        ),
        migrations.AlterField(
            model_name='pruningformula',
            name='first_nodes',
            field=models.DecimalField(decimal_places=2, help_text='A, or the fixed number [nodes]; 0 where nodes go by the unit alone.', max_digits=6),
        ),
        migrations.AlterField(
            model_name='pruningformula',
            name='further_nodes',
            field=models.DecimalField(decimal_places=2, help_text='B, or the nodes for each unit [nodes per unit]; 0 where fixed.', max_digits=6),
        ),
        migrations.AddConstraint(
            model_name='block',
            constraint=models.CheckConstraint(condition=models.Q(('minimum_nodes__isnull', True), models.Q(('minimum_nodes__gte', 1), ('minimum_nodes__lte', 1000)), _connector='OR'), name='block_minimum_nodes_1_to_1000'),
        ),
        migrations.AddConstraint(
            model_name='block',
            constraint=models.CheckConstraint(condition=models.Q(('minimum_nodes__isnull', True), ('maximum_nodes__isnull', True), ('minimum_nodes__lte', models.F('maximum_nodes')), _connector='OR'), name='block_minimum_nodes_below_maximum'),
        ),
        migrations.AddConstraint(
            model_name='block',
            constraint=models.CheckConstraint(condition=models.Q(('use__in', ['', 'juice', 'wine', 'table'])), name='block_use_known'),
        ),
        migrations.AddConstraint(
            model_name='block',
            constraint=models.CheckConstraint(condition=models.Q(('canopies__isnull', True), models.Q(('canopies__gte', 1), ('canopies__lte', 4)), _connector='OR'), name='block_canopies_1_to_4'),
        ),
        migrations.AddConstraint(
            model_name='pruningformula',
            constraint=models.UniqueConstraint(fields=('code', 'formula_version', 'owner_farm', 'owner_program'), name='pruning_formula_once_a_version_of_its_owner', nulls_distinct=False),
        ),
        migrations.AddConstraint(
            model_name='pruningformula',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('owner_farm__isnull', True), ('owner_program__isnull', True), models.Q(('code__startswith', 'own-'), _negated=True), models.Q(('code__startswith', 'program-'), _negated=True)), models.Q(('code__startswith', 'own-'), ('owner_farm__isnull', False), ('owner_program__isnull', True)), models.Q(('code__startswith', 'program-'), ('owner_farm__isnull', True), ('owner_program__isnull', False)), _connector='OR'), name='pruning_formula_named_for_its_owner'),
        ),
        migrations.AddConstraint(
            model_name='pruningformula',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['first_and_further', 'per_unit', 'fixed'])), name='pruning_formula_kind_known'),
        ),
        migrations.AddConstraint(
            model_name='pruningformula',
            constraint=models.CheckConstraint(condition=models.Q(('kind', 'first_and_further'), models.Q(('first_nodes', 0), ('further_nodes__gt', 0), ('kind', 'per_unit')), models.Q(('first_nodes__gte', 1), ('further_nodes', 0), ('kind', 'fixed')), _connector='OR'), name='pruning_formula_numbers_of_its_kind'),
        ),
        migrations.AddConstraint(
            model_name='pruningformula',
            constraint=models.CheckConstraint(condition=models.Q(('lowest_units__isnull', True), models.Q(('lowest_units__gte', 0), ('lowest_units__lte', 1000)), _connector='OR'), name='pruning_formula_lowest_units_sensible'),
        ),
        migrations.AddConstraint(
            model_name='pruningformula',
            constraint=models.CheckConstraint(condition=models.Q(('highest_units__isnull', True), models.Q(('highest_units__gte', 0), ('highest_units__lte', 1000)), _connector='OR'), name='pruning_formula_highest_units_sensible'),
        ),
        migrations.AddConstraint(
            model_name='pruningformula',
            constraint=models.CheckConstraint(condition=models.Q(('lowest_units__isnull', True), ('highest_units__isnull', True), ('lowest_units__lt', models.F('highest_units')), _connector='OR'), name='pruning_formula_lowest_below_highest_units'),
        ),
        migrations.AddConstraint(
            model_name='pruningformula',
            constraint=models.CheckConstraint(condition=models.Q(('is_default', False), models.Q(('owner_farm__isnull', True), ('owner_program__isnull', True)), _connector='OR'), name='pruning_formula_only_shared_ones_answer_unasked'),
        ),
        migrations.AddField(
            model_name='balancerange',
            name='cultivar',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.cultivar'),
        ),
        migrations.AddField(
            model_name='balancerange',
            name='group',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.cultivargroup'),
        ),
        migrations.AddField(
            model_name='balancerange',
            name='owner_farm',
            field=models.ForeignKey(blank=True, db_constraint=False, db_index=False, help_text="The farm whose own it is; empty: not a farm's.", null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='records.farm'),
        ),
        migrations.AddField(
            model_name='balancerange',
            name='owner_program',
            field=models.ForeignKey(blank=True, db_index=False, help_text="The program whose own it is; empty: not a program's.", null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.program'),
        ),
        migrations.AddField(
            model_name='rangechoice',
            name='block',
            field=models.ForeignKey(blank=True, db_constraint=False, db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.block'),
        ),
        migrations.AddField(
            model_name='rangechoice',
            name='farm',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.farm'),
        ),
        migrations.AddField(
            model_name='rangechoice',
            name='range',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.balancerange'),
        ),
        migrations.AddConstraint(
            model_name='balancerange',
            constraint=models.UniqueConstraint(fields=('code', 'range_version', 'owner_farm', 'owner_program'), name='balance_range_once_a_version_of_its_owner', nulls_distinct=False),
        ),
        migrations.AddConstraint(
            model_name='balancerange',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('owner_farm__isnull', True), ('owner_program__isnull', True), models.Q(('code__startswith', 'own-'), _negated=True), models.Q(('code__startswith', 'program-'), _negated=True)), models.Q(('code__startswith', 'own-'), ('owner_farm__isnull', False), ('owner_program__isnull', True)), models.Q(('code__startswith', 'program-'), ('owner_farm__isnull', True), ('owner_program__isnull', False)), _connector='OR'), name='balance_range_named_for_its_owner'),
        ),
        migrations.AddConstraint(
            model_name='balancerange',
            constraint=models.CheckConstraint(condition=models.Q(('measure__in', ['yield_to_pruning_weight', 'pruning_weight_per_canopy_metre', 'pruning_weight_per_row_metre', 'mean_cane_weight', 'leaf_area_per_yield', 'leaf_area_per_canopy_metre', 'shoots_per_canopy_metre', 'nodes_per_canopy_metre', 'soluble_solids'])), name='balance_range_measure_known'),
        ),
        migrations.AddConstraint(
            model_name='balancerange',
            constraint=models.CheckConstraint(condition=models.Q(('canopy__in', ['', 'single', 'divided'])), name='balance_range_canopy_known'),
        ),
        migrations.AddConstraint(
            model_name='balancerange',
            constraint=models.CheckConstraint(condition=models.Q(('use__in', ['', 'juice', 'wine', 'table'])), name='balance_range_use_known'),
        ),
        migrations.AddConstraint(
            model_name='balancerange',
            constraint=models.CheckConstraint(condition=models.Q(('source_mark__in', ['READ', 'READ*', 'MEMORY', 'COMPUTED', 'farm'])), name='balance_range_source_mark_known'),
        ),
        migrations.AddConstraint(
            model_name='balancerange',
            constraint=models.CheckConstraint(condition=models.Q(('low__isnull', False), ('high__isnull', False), _connector='OR'), name='balance_range_has_a_limit'),
        ),
        migrations.AddConstraint(
            model_name='balancerange',
            constraint=models.CheckConstraint(condition=models.Q(('low__isnull', True), ('high__isnull', True), ('low__lte', models.F('high')), _connector='OR'), name='balance_range_low_below_high'),
        ),
        migrations.AddConstraint(
            model_name='balancerange',
            constraint=models.CheckConstraint(condition=models.Q(('is_default', False), models.Q(('cultivar__isnull', False), ('owner_farm__isnull', True), ('owner_program__isnull', True)), models.Q(('group__isnull', False), ('owner_farm__isnull', True), ('owner_program__isnull', True)), _connector='OR'), name='balance_range_default_says_for_whom'),
        ),
        migrations.AddConstraint(
            model_name='rangechoice',
            constraint=models.UniqueConstraint(fields=('farm', 'block', 'measure'), name='range_choice_once_a_block_and_measure', nulls_distinct=False),
        ),
        migrations.AddConstraint(
            model_name='rangechoice',
            constraint=models.CheckConstraint(condition=models.Q(('measure__in', ['yield_to_pruning_weight', 'pruning_weight_per_canopy_metre', 'pruning_weight_per_row_metre', 'mean_cane_weight', 'leaf_area_per_yield', 'leaf_area_per_canopy_metre', 'shoots_per_canopy_metre', 'nodes_per_canopy_metre', 'soluble_solids'])), name='range_choice_measure_known'),
        ),
        *catalogue_with_owners("pruning_formula"),
        *catalogue_with_owners("balance_range"),
        *farm_table("range_choice", Reference(["block_id"], "block")),
    ]
