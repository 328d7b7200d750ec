"""The kinds of record that a year of a vineyard brings, each with its members.

Bounds refuse what cannot be (a vine with 60,000 clusters), never what is unusual.  They are bounds of this service,
set wide: common practice, no source.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from records.kinds.members import (
    Choice,
    Count,
    Day,
    Flag,
    Measured,
    Member,
    Number,
    Several,
    Stage,
    Text,
)


class Time(enum.Enum):
    """Which rule tells the season of a date (see ``records.seasons``)."""

    DORMANT = "dormant"
    GROWING = "growing"
    ANY = "any"


class Place(enum.Enum):
    """What a record is about."""

    VINE = "vine"
    BLOCK_OR_VINE = "block_or_vine"


@dataclass(frozen=True)
class Kind:
    """One kind of record: its table, what it is about, when in the year, and what it says."""

    name: str
    plural: str
    title: str
    says: str
    place: Place
    time: Time
    members: tuple[Member, ...]
    once: str = ""

    @property
    def path(self) -> str:
        return self.plural.replace("_", "-")

    @property
    def by_name(self) -> Mapping[str, Member]:
        return {member.name: member for member in self.members}


def _mass(name: str, says: str, high: str, *, above: bool = False) -> Measured:
    low = Decimal("0.000001") if above else Decimal(0)
    return Measured(name, says, "mass", low, Decimal(high), above=above)


def _length(name: str, says: str, high: str) -> Measured:
    return Measured(name, says, "length", Decimal(0), Decimal(high))


SCALES: Final = ("spring", "digital", "not_stated")
DORMANT_RECORD: Final = Kind(
    "dormant_record",
    "dormant_records",
    "Dormant record",
    "One vine in one dormant season: its prunings weighed, the nodes left.",
    Place.VINE,
    Time.DORMANT,
    (
        _mass("pruning_weight", "One-year-old wood cut from the vine, 0 to 50 kg. Null: not weighed.", "50"),
        Choice("scale", "What it was weighed on.", SCALES, "not_stated"),
        _mass("scale_resolution", "The scale's smallest step; a reading is good to one step either way.", "5",
              above=True),
        _mass("guessed_weight", "The pruner's guess before weighing: it trains the eye.", "50"),
        Count("rough_prune_margin_nodes", "Nodes left beyond the estimate meanwhile.", 0, 500),
        Count("nodes_retained", "Count nodes left after the final cut. Base buds do not count.", 0, 2000),
        Text("pruner", "The farm's short name for them.", 60),
    ),
    once="one live record a vine and season",
)  # fmt: skip

BUD_SAMPLE: Final = Kind(
    "bud_sample",
    "bud_samples",
    "Bud sample",
    "Nodes cut open after the cold to see which buds live.",
    Place.BLOCK_OR_VINE,
    Time.DORMANT,
    (
        Count("nodes_examined", "Nodes cut open, each counted once though it holds several buds.", 1, 5000,
              required=True),
        Count("primary_alive", "Nodes whose primary bud lives.", 0, 5000),
        Count("secondary_alive", "Nodes whose secondary bud lives.", 0, 5000),
        Count("tertiary_alive", "Nodes whose tertiary bud lives.", 0, 5000),
        Count("first_node", "Position of the first node examined, counted from the base of the cane.", 1, 100),
        Count("last_node", "Position of the last node examined, counted from the base of the cane.", 1, 100),
        Count("canes", "Canes that the nodes were cut from.", 1, 1000),
        Text("cut_where", "Where in the block the canes were cut, in the farm's words.", 120),
        Day("cut_on", "The day on which the canes were cut; observed_at is when they were read."),
        Number("days_kept_warm", "Days for which the canes were kept warm before cutting.", Decimal(0), Decimal(60), 1),
    ),
)  # fmt: skip

SHOOT_COUNT: Final = Kind(
    "shoot_count",
    "shoot_counts",
    "Shoot count",
    "The shoots of one vine in spring or summer, from count nodes and from elsewhere.",
    Place.VINE,
    Time.GROWING,
    (
        Count("count_shoots", "Shoots that grew from count nodes.", 0, 5000),
        Count("non_count_shoots", "Shoots that grew from base buds and older wood.", 0, 5000),
        Stage("growth_stage", "The stage of growth, as scale and code."),
    ),
    once="one live record a vine and season",
)

CLUSTER_COUNT: Final = Kind(
    "cluster_count",
    "cluster_counts",
    "Cluster count",
    "The clusters of one vine before and after thinning, and clusters weighed in the lag phase.",
    Place.VINE,
    Time.GROWING,
    (
        Count("clusters_before_thinning", "Clusters on the vine before any was cut off.", 0, 5000),
        Count("clusters_after_thinning", "Clusters left on the vine.", 0, 5000),
        _mass("lag_phase_weight", "Weight of the clusters that were cut in the lag phase, together.", "500"),
        Count("lag_phase_clusters", "How many clusters that weight is of.", 1, 5000),
        Stage("growth_stage", "The stage of growth, as scale and code."),
    ),
    once="one live record a vine and season",
)

SCOPES: Final = ("vine", "sample", "block")
ACIDS: Final = ("tartaric", "malic", "citric", "sulfuric")
HARVEST_RECORD: Final = Kind(
    "harvest_record",
    "harvest_records",
    "Harvest record",
    "What one picking brought: of a vine, of a sample of vines, or of a whole block.",
    Place.BLOCK_OR_VINE,
    Time.GROWING,
    (
        Choice("scope", "What was picked: one vine, a sample of vines, or the whole block.", SCOPES, required=True),
        Count("picking", "Which picking of the season it was; 1 where there was one.", 1, 50, default=1),
        Count("vines_picked", "Vines that the fruit is of.", 1, 1_000_000),
        _mass("yield", "All fruit picked.", "100000000"),
        _mass("marketable_yield", "Of it, what could be sold.", "100000000"),
        Count("clusters", "Clusters picked.", 0, 100_000_000),
        _mass("cluster_weight", "Mean weight of one cluster.", "20"),
        _mass("berry_weight", "Mean weight of one berry.", "0.1"),
        Measured("soluble_solids", "Soluble solids of the juice.", "soluble_solids", Decimal(0), Decimal(60)),
        Number("ph", "pH of the juice; by its definition without a unit.", Decimal(2), Decimal(6), 2),
        Measured("titratable_acidity", "Titratable acidity, as the acid that is named beside it.", "acidity",
                 Decimal(0), Decimal(60)),
        Choice("reference_acid", "The acid that the titratable acidity is given as.", ACIDS),
    ),
    once="one live record a vine, or a block, and picking",
)  # fmt: skip

CORDONS: Final = (
    "left", "right", "upper_left", "upper_right", "lower_left", "lower_right",
    "front_left", "front_right", "back_left", "back_right", "head",
)  # fmt: skip
DISEASE_SIGNS: Final = (
    "dead_spurs", "wedge_canker", "black_streaks_in_wood", "white_rot_of_wood", "stunted_shoots", "cupped_leaves",
    "tiger_striped_leaves", "spotted_berries", "sudden_wilting", "crown_gall", "gumming", "fruiting_bodies_on_wood",
    "other",
)  # fmt: skip
SPRINGS_FROM: Final = ("none_found", "head", "trunk", "cordon_near_head", "cordon", "below_graft_union")
CORDON_INSPECTION: Final = Kind(
    "cordon_inspection",
    "cordon_inspections",
    "Cordon inspection",
    "One cordon looked at once: what lives on it, what is blank or dead, and what could replace it.",
    Place.VINE,
    Time.ANY,
    (
        Choice("cordon", "Which one, seen from the side on which the row is worked.", CORDONS, required=True),
        _length("cordon_length", "From the head to the end of the cordon.", "100"),
        Count("living_positions", "Spur positions that live.", 0, 500),
        Count("blank_positions", "Spur positions that are dead or gone.", 0, 500),
        _length("blank_length", "Length of cordon without living spur positions.", "100"),
        _length("dieback_length", "Length of cordon dead from its end. Zero: none.", "100"),
        _length("creep", "How far the spurs stand away from the cordon, on the average.", "5"),
        Count("upright_spurs", "Spurs that stand upright.", 0, 500),
        Flag("tie_too_tight", "A tie or the wire cuts into the cordon."),
        Several("disease_signs", "What was seen, by the trade's terms; a laboratory names the disease.", DISEASE_SIGNS),
        _length("over_neighbour", "How far the canopy reaches into the neighbour's space. Zero: not at all.", "50"),
        Choice("candidate_springs_from", "Where the shoot springs from that could replace the cordon.", SPRINGS_FROM),
        _length("candidate_diameter", "Diameter of that shoot near its base.", "0.1"),
        _length("candidate_from_head", "How far from the head it springs.", "20"),
        Stage("growth_stage", "The stage of growth, as scale and code."),
    ),
)

EVENTS: Final = ("planted", "missing", "replanted", "retrained")
VINE_EVENT: Final = Kind(
    "vine_event",
    "vine_events",
    "Vine event",
    "What happened to the plant at one place: planted, found missing, replanted, retrained.",
    Place.VINE,
    Time.ANY,
    (
        Choice("event", "What happened.", EVENTS, required=True),
        Day("happened_on", "The day, where it is known; observed_at is when it was seen or written down."),
        Text("rootstock", "Of a plant that was planted.", 80),
        Text("trained_as", "How a retrained vine is trained now.", 80),
    ),
)

KINDS: Final = {
    kind.name: kind
    for kind in (
        DORMANT_RECORD,
        BUD_SAMPLE,
        SHOOT_COUNT,
        CLUSTER_COUNT,
        HARVEST_RECORD,
        CORDON_INSPECTION,
        VINE_EVENT,
    )
}
