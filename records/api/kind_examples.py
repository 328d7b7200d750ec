"""An example of every kind of record, in the invented scenario; what is shown follows from what is sent."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Final

from records.kinds import KINDS, Kind
from records.kinds.members import Choice, Count, Measured, Text
from records.units import SUFFIX, Quantity, to_canonical

_VINE: Final = "01991b5e-0000-7000-8000-00000000b1e7"
_BLOCK: Final = "01991b5e-0000-7000-8000-0000000b10c1"

NEW: Final[dict[str, dict[str, Any]]] = {
    "dormant_record": {
        "id": "01991b5e-0000-7000-8000-0000000d0001",
        "vine": _VINE,
        "observed_at": "2027-01-16T10:02:00-05:00",
        "pruning_weight": {"value": 2.8, "unit": "[lb_av]"},
        "scale": "spring",
        "scale_resolution": {"value": 0.25, "unit": "[lb_av]"},
        "guessed_weight": {"value": 2.5, "unit": "[lb_av]"},
        "rough_prune_margin_nodes": 15,
        "pruner": "TR",
    },
    "bud_sample": {
        "id": "01991b5e-0000-7000-8000-0000000d0002",
        "block": _BLOCK,
        "observed_at": "2027-02-03T15:30:00-05:00",
        "nodes_examined": 100,
        "primary_alive": 65,
        "secondary_alive": 88,
        "first_node": 2,
        "last_node": 10,
        "canes": 12,
        "cut_where": "low ground by the brook",
        "cut_on": "2027-02-01",
        "days_kept_warm": 2,
    },
    "shoot_count": {
        "id": "01991b5e-0000-7000-8000-0000000d0003",
        "vine": _VINE,
        "observed_at": "2027-05-20T09:15:00-04:00",
        "count_shoots": 44,
        "non_count_shoots": 6,
        "growth_stage": {"scale": "modified_eichhorn_lorenz", "code": "12"},
    },
    "cluster_count": {
        "id": "01991b5e-0000-7000-8000-0000000d0004",
        "vine": _VINE,
        "observed_at": "2027-08-02T08:40:00-04:00",
        "clusters_before_thinning": 84,
        "clusters_after_thinning": 60,
        "lag_phase_weight": {"value": 580, "unit": "g"},
        "lag_phase_clusters": 10,
        "growth_stage": {"scale": "bbch", "code": "77"},
    },
    "harvest_record": {
        "id": "01991b5e-0000-7000-8000-0000000d0005",
        "vine": _VINE,
        "observed_at": "2027-09-28T11:00:00-04:00",
        "scope": "vine",
        "yield": {"value": 21.5, "unit": "[lb_av]"},
        "marketable_yield": {"value": 20, "unit": "[lb_av]"},
        "clusters": 58,
        "soluble_solids": {"value": 16.2, "unit": "{Brix}"},
        "ph": 3.41,
        "titratable_acidity": {"value": 0.72, "unit": "g/dL"},
        "reference_acid": "tartaric",
    },
    "cordon_inspection": {
        "id": "01991b5e-0000-7000-8000-0000000d0006",
        "vine": _VINE,
        "observed_at": "2027-01-16T10:20:00-05:00",
        "cordon": "left",
        "cordon_length": {"value": 48, "unit": "[in_i]"},
        "living_positions": 7,
        "blank_positions": 3,
        "blank_length": {"value": 14, "unit": "[in_i]"},
        "creep": {"value": 3, "unit": "[in_i]"},
        "tie_too_tight": True,
        "disease_signs": ["wedge_canker", "dead_spurs"],
        "candidate_springs_from": "head",
        "candidate_diameter": {"value": 9, "unit": "mm"},
    },
    "vine_event": {
        "id": "01991b5e-0000-7000-8000-0000000d0007",
        "vine": _VINE,
        "observed_at": "2027-04-28T14:00:00-04:00",
        "event": "replanted",
        "happened_on": "2027-04-27",
        "rootstock": "own roots",
    },
}
_SHOWN_TIMES: Final = {
    "dormant_record": "2027-01-16T15:02:00Z",
    "bud_sample": "2027-02-03T20:30:00Z",
    "shoot_count": "2027-05-20T13:15:00Z",
    "cluster_count": "2027-08-02T12:40:00Z",
    "harvest_record": "2027-09-28T15:00:00Z",
    "cordon_inspection": "2027-01-16T15:20:00Z",
    "vine_event": "2027-04-28T18:00:00Z",
}


def shown(kind: Kind) -> dict[str, Any]:
    """Give the example of a kind as the service shows it."""
    sent = NEW[kind.name]
    hours = int(sent["observed_at"][-6:-3])
    return {
        "id": sent["id"],
        "block": _BLOCK,
        "vine": sent.get("vine"),
        "season": 2027,
        "observed_at": _SHOWN_TIMES[kind.name],
        "observed_offset_minutes": hours * 60,
        **{member.name: _member(member, sent.get(member.name)) for member in kind.members},
        "device": "",
        "note": "",
        "recorded_by": "01991b5e-0000-7000-8000-0000000000a2",
        "app_name": "example field app",
        "source": "api",
        "version": 1,
        "received_at": _SHOWN_TIMES[kind.name].replace(":00Z", ":07Z"),
        "changed_at": _SHOWN_TIMES[kind.name].replace(":00Z", ":07Z"),
        "withdrawn_at": None,
    }


def _member(member: Any, sent: Any) -> Any:
    if sent is None:
        return "" if isinstance(member, Text) else getattr(member, "default", None)
    if isinstance(member, Measured):
        exact = to_canonical(Quantity(Decimal(str(sent["value"])), sent["unit"]), member.dimension)
        return {**sent, SUFFIX[member.dimension]: float(exact)}
    return sent


def change_of(kind: Kind) -> dict[str, Any]:
    """Give an example of a change: the first count or word of the kind, corrected, with its reason."""
    counts = [member for member in kind.members if isinstance(member, Count) and member.default is None]
    name = counts[0].name if counts else next(m.name for m in kind.members if isinstance(m, Choice))
    value = NEW[kind.name].get(name, 48)
    return {name: value, "reason": "read again from the notebook"}


EXAMPLES: Final = {kind.name: shown(kind) for kind in KINDS.values()}
