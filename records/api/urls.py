"""Addresses of the records, under /api/v1/."""

from django.db.transaction import non_atomic_requests
from django.urls import path

from records.api import (
    blocks,
    bulk,
    catalogue,
    changes,
    consents,
    consents_given,
    exports,
    farms,
    imports,
    jobs,
    keys,
    members,
    own_formulas,
    own_ranges,
    programs,
    range_choices,
    ranges,
    templates,
    vines,
)
from records.api.records import Says, views_of
from records.kinds import KINDS

#: The dormant record's own addresses stand in ``balance.api``, because its answer carries the target.
_TAGS = {
    "bud_sample": "bud samples",
    "shoot_count": "shoots and clusters",
    "cluster_count": "shoots and clusters",
    "harvest_record": "harvest",
    "cordon_inspection": "cordons and vines",
    "vine_event": "cordons and vines",
}

urlpatterns = [
    # The first to be looked for, because it is asked most.  Not within the request's own transaction: this view begins
    # another where two writers waited for each other.
    path("farms/<uuid:farm>/records", non_atomic_requests(bulk.Records.as_view()), name="records"),
    path("me", farms.Me.as_view(), name="me"),
    path("me/consents", consents_given.ConsentsGiven.as_view(), name="consents-given"),
    path("me/keys", keys.Keys.as_view(), name="keys"),
    path("me/keys/<uuid:key>", keys.OneKey.as_view(), name="key"),
    path("me/keys/<uuid:key>/rotation", keys.KeyRotation.as_view(), name="key-rotation"),
    path("units", catalogue.Units.as_view(), name="units"),
    path("cultivar-groups", catalogue.CultivarGroups.as_view(), name="cultivar-groups"),
    path("cultivars", catalogue.Cultivars.as_view(), name="cultivars"),
    path("formulas", catalogue.Formulas.as_view(), name="formulas"),
    path("ranges", ranges.Ranges.as_view(), name="ranges"),
    path("templates/<slug:kind>.csv", templates.CsvTemplate.as_view(), name="template-csv"),
    path("templates/<slug:kind>.xlsx", templates.XlsxTemplate.as_view(), name="template-xlsx"),
    path("consent-texts", consents.ConsentTexts.as_view(), name="consent-texts"),
    path("programs", programs.Programs.as_view(), name="programs"),
    path("programs/<uuid:program>", programs.OneProgram.as_view(), name="program"),
    path("programs/<uuid:program>/formulas", own_formulas.ProgramFormulas.as_view(), name="program-formulas"),
    path(
        "programs/<uuid:program>/formulas/<str:formula>", own_formulas.ProgramFormula.as_view(), name="program-formula"
    ),
    path("programs/<uuid:program>/ranges", own_ranges.ProgramRanges.as_view(), name="program-ranges"),
    path("programs/<uuid:program>/ranges/<str:range>", own_ranges.ProgramRange.as_view(), name="program-range"),
    path("farms", farms.Farms.as_view(), name="farms"),
    path("farms/<uuid:farm>", farms.OneFarm.as_view(), name="farm"),
    path("farms/<uuid:farm>/blocks", blocks.Blocks.as_view(), name="blocks"),
    path("farms/<uuid:farm>/blocks/<uuid:block>", blocks.OneBlock.as_view(), name="block"),
    path("farms/<uuid:farm>/blocks/<uuid:block>/rows", vines.Rows.as_view(), name="rows"),
    path("farms/<uuid:farm>/blocks/<uuid:block>/vines", vines.Vines.as_view(), name="vines"),
    path("farms/<uuid:farm>/erasure", exports.FarmErasure.as_view(), name="farm-erasure"),
    path("farms/<uuid:farm>/exports", exports.Exports.as_view(), name="exports"),
    path("farms/<uuid:farm>/exports/<uuid:export>", exports.OneExport.as_view(), name="export"),
    path("farms/<uuid:farm>/exports/<uuid:export>/file", exports.ExportFile.as_view(), name="export-file"),
    path("farms/<uuid:farm>/members", members.Members.as_view(), name="members"),
    path("farms/<uuid:farm>/members/<uuid:member>", members.OneMember.as_view(), name="member"),
    path("farms/<uuid:farm>/consents", consents.Consents.as_view(), name="consents"),
    path("farms/<uuid:farm>/consents/<uuid:consent>", consents.OneConsent.as_view(), name="consent"),
    path("farms/<uuid:farm>/access-log", consents_given.AccessLog.as_view(), name="access-log"),
    path("farms/<uuid:farm>/formulas", own_formulas.FarmFormulas.as_view(), name="farm-formulas"),
    path("farms/<uuid:farm>/formulas/<str:formula>", own_formulas.FarmFormula.as_view(), name="farm-formula"),
    path("farms/<uuid:farm>/ranges", own_ranges.FarmRanges.as_view(), name="farm-ranges"),
    path("farms/<uuid:farm>/ranges/<str:range>", own_ranges.FarmRange.as_view(), name="farm-range"),
    path("farms/<uuid:farm>/range-choices", range_choices.RangeChoices.as_view(), name="range-choices"),
    path("farms/<uuid:farm>/range-choices/<uuid:choice>", range_choices.OneRangeChoice.as_view(), name="range-choice"),
    path("farms/<uuid:farm>/imports", imports.Imports.as_view(), name="imports"),
    path("farms/<uuid:farm>/imports/<uuid:import_id>", imports.OneImport.as_view(), name="import"),
    path("farms/<uuid:farm>/imports/<uuid:import_id>/rows", imports.ImportRows.as_view(), name="import-rows"),
    path("farms/<uuid:farm>/jobs", jobs.Jobs.as_view(), name="jobs"),
    path("farms/<uuid:farm>/jobs/<uuid:job>", jobs.OneJob.as_view(), name="job"),
    path("farms/<uuid:farm>/jobs/<uuid:job>/cancellation", jobs.JobCancellation.as_view(), name="job-cancellation"),
    path("farms/<uuid:farm>/jobs/<uuid:job>/retry", jobs.JobRetry.as_view(), name="job-retry"),
    path("farms/<uuid:farm>/vines/<uuid:vine>", vines.OneVine.as_view(), name="vine"),
    path("farms/<uuid:farm>/changes", changes.Changes.as_view(), name="changes"),
    *(address for name, tag in _TAGS.items() for address in views_of(KINDS[name], Says(tag))),
]
