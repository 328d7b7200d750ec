"""What farms write down: one class a table; the docstring of each says what one row stands for."""

from records.models.catalogue import Cultivar, CultivarGroup, PruningFormula
from records.models.changes import RecordChange
from records.models.dormant import DormantRecord
from records.models.farms import Farm, Membership, Program, ProgramMembership, Role
from records.models.imports import Import, ImportRow
from records.models.jobs import Job, JobTicket
from records.models.people import ApiKey, Person
from records.models.vineyards import Block, Row, Vine

__all__ = [
    "ApiKey",
    "Block",
    "Cultivar",
    "CultivarGroup",
    "DormantRecord",
    "Farm",
    "Import",
    "ImportRow",
    "Job",
    "JobTicket",
    "Membership",
    "Person",
    "Program",
    "ProgramMembership",
    "PruningFormula",
    "RecordChange",
    "Role",
    "Row",
    "Vine",
]
