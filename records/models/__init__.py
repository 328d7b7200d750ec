"""What farms write down: one class a table; the docstring of each says what one row stands for."""

from records.models.answers import KeptAnswer
from records.models.catalogue import Cultivar, CultivarGroup, PruningFormula
from records.models.changes import FeedEpoch, RecordChange
from records.models.consent import Consent, Purpose, Visit
from records.models.dormant import BudSample, DormantRecord
from records.models.exports import Erasure, Export, ExportPart, RegisteredFarm
from records.models.farms import Farm, Membership, Program, ProgramMembership, Role
from records.models.growing import ClusterCount, HarvestRecord, ShootCount
from records.models.imports import Import, ImportRow
from records.models.jobs import Job, JobTicket
from records.models.people import ApiKey, Person
from records.models.ranges import BalanceRange, Measure, RangeChoice
from records.models.structure import CordonInspection, VineEvent
from records.models.vineyards import Block, Row, Vine

__all__ = [
    "ApiKey",
    "BalanceRange",
    "Block",
    "BudSample",
    "ClusterCount",
    "Consent",
    "CordonInspection",
    "Cultivar",
    "CultivarGroup",
    "DormantRecord",
    "Erasure",
    "Export",
    "ExportPart",
    "Farm",
    "FeedEpoch",
    "HarvestRecord",
    "Import",
    "ImportRow",
    "Job",
    "JobTicket",
    "KeptAnswer",
    "Measure",
    "Membership",
    "Person",
    "Program",
    "ProgramMembership",
    "PruningFormula",
    "Purpose",
    "RangeChoice",
    "RecordChange",
    "RegisteredFarm",
    "Role",
    "Row",
    "ShootCount",
    "Vine",
    "VineEvent",
    "Visit",
]
