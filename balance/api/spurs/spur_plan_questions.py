"""What is asked of a spur plan: the arms and canes of one vine, the target, and limits of one's own."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, Final

from rest_framework import serializers

from balance.api.targets.young_arm_questions import OfAYoungArm, young_arm
from balance.formulas.cordons.young_arms import HeldBack, hold_back_by_space
from balance.formulas.spur_plan.candidates import (
    FARTHEST_CREEP_M,
    KINDS,
    LONGEST_ARM_M,
    MOST_LIVING_NODES,
    SHORTEST_ARM_M,
    SPUR_POSITION,
    THICKEST_MM,
    Arm,
    Candidate,
)
from balance.formulas.spur_plan.rules import FORMS, SPUR, Rules, rules_of
from balance.formulas.spur_plan.totals import HIGHEST_TARGET, MOST_ARMS, MOST_CANDIDATES
from records.api.fields import LengthIn
from records.api.strict import (
    StrictBooleanField,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
    StrictSerializer,
)
from records.errors import Fault, NotValid
from records.units import Quantity, to_canonical

#: Most nodes that a request may set for one spur or cane; E-2774 goes to 10, long canes of young vines to 15.
MOST_ON_ONE: Final = 20


class ArmIn(StrictSerializer):
    """One arm of the vine."""

    name = StrictCharField(max_length=40)
    space = LengthIn(help_text="From the head to the line halfway to the neighbour on this side, 0.1 to 10 m.")
    young = OfAYoungArm(
        required=False,
        allow_null=True,
        help_text="Where it is laid down or being filled: what it cannot carry of the target is shown as lost, and not "
        "planned onto other arms. Null: it is grown.",
    )


class CaneIn(StrictSerializer):
    """One cane that may be kept."""

    name = StrictCharField(max_length=40, help_text="Its own name or number on this vine.")
    arm = StrictCharField(max_length=40, help_text="The name of its arm.")
    position = LengthIn(help_text="Along the arm, from the head, 0 to 10 m.")
    nodes = StrictIntegerField(min_value=0, max_value=MOST_LIVING_NODES, help_text="Living count nodes.")
    diameter = LengthIn(required=False, allow_null=True, help_text="At its base, 0.01 to 60 mm; null: not measured.")
    angle = StrictDecimalField(
        max_digits=5,
        decimal_places=2,
        min_value=Decimal(-90),
        max_value=Decimal(90),
        required=False,
        allow_null=True,
        help_text="Above sideways [deg]: 0 sideways, 90 straight up, -90 straight down; null: not measured.",
    )
    from_cordon = LengthIn(
        required=False,
        allow_null=True,
        help_text="How far from the cordon it springs, 0 to 2 m: how far the spur has crept; null: not measured.",
    )
    kind = serializers.ChoiceField(choices=KINDS, required=False, help_text=f"{SPUR_POSITION} unless said.")


class LimitsIn(StrictSerializer):
    """Limits of one's own; whatever is left out stands at its sourced or stated default."""

    fewest_nodes = StrictIntegerField(
        min_value=1, max_value=MOST_ON_ONE, required=False, help_text="On a spur or cane."
    )
    most_nodes = StrictIntegerField(min_value=1, max_value=MOST_ON_ONE, required=False, help_text="On a spur or cane.")
    least_spacing = LengthIn(required=False, help_text="Between spurs, 0 to 1 m; spurs only.")
    widest_spacing = LengthIn(required=False, help_text="Between spurs, 0 to 1 m; spurs only.")
    wanted_diameter = LengthIn(required=False, help_text="Kept without cost from this on, 1 to 60 mm.")
    thinnest_diameter = LengthIn(required=False, help_text="Too thin below this, 1 to 60 mm.")
    crept_beyond = LengthIn(required=False, help_text="A spur farther from the cordon has crept, 0 to 2 m.")
    internode = LengthIn(
        required=False,
        allow_null=True,
        help_text="Mean length of an internode, 0.01 to 0.5 m: canes laid outwards then end before the halfway line.",
    )


class SpurPlanQuestion(StrictSerializer):
    """A vine before the cut."""

    target = StrictIntegerField(min_value=0, max_value=HIGHEST_TARGET, help_text="Count nodes to keep.")
    form = serializers.ChoiceField(
        choices=FORMS, required=False, help_text=f"How the vine is pruned; {SPUR} unless said."
    )
    renewal_inside = StrictBooleanField(
        required=False, help_text="Whether nodes of renewal spurs count inside the total: true unless said."
    )
    arms = serializers.ListField(child=ArmIn(), min_length=1, max_length=MOST_ARMS)
    canes = serializers.ListField(child=CaneIn(), max_length=MOST_CANDIDATES)
    limits = LimitsIn(required=False)


@dataclass(frozen=True)
class Asked:
    """A question as the formula takes it; ``held_back`` is None where no arm is young."""

    target: int
    arms: tuple[Arm, ...]
    canes: tuple[Candidate, ...]
    rules: Rules
    held_back: HeldBack | None = None

    @property
    def kept(self) -> int:
        """What is planned: the target less what young arms cannot carry [nodes]."""
        return self.target if self.held_back is None or self.held_back.kept is None else self.held_back.kept


def asked(values: Mapping[str, Any]) -> Asked:
    """Give a question to the formula.

    Raises
    ------
    NotValid
        A length lies outside its bounds, two have one name, or a cane stands on no arm; all faults at once.
    """
    arms, canes, limits = values["arms"], values["canes"], values.get("limits") or {}
    rules = rules_of(values.get("form", SPUR))
    faults = [*_lengths(arms, canes, limits), *_names(arms, canes), *_order(limits, rules)]
    if faults:
        raise NotValid(faults[0].detail, faults=tuple(faults))
    held = _held_back(values["target"], arms)
    most = {load.arm.cordon: load.kept for load in held.loads} if held else {}
    return Asked(
        target=values["target"],
        held_back=held,
        arms=tuple(Arm(arm["name"], _metres(arm["space"]), most.get(arm["name"])) for arm in arms),
        canes=tuple(_candidate(cane) for cane in canes),
        rules=replace(_limited(rules, limits), renewal_inside=values.get("renewal_inside", True)),
    )


def _held_back(target: int, arms: Sequence[Any]) -> HeldBack | None:
    grown = [_metres(arm["space"]) for arm in arms if arm.get("young") is None]
    young = [
        (young_arm(arm["name"], arm["young"]), _metres(arm["space"])) for arm in arms if arm.get("young") is not None
    ]
    return hold_back_by_space(target, young, grown)


def _candidate(cane: Mapping[str, Any]) -> Candidate:
    diameter, angle, creep = (cane.get(name) for name in ("diameter", "angle", "from_cordon"))
    return Candidate(
        name=cane["name"],
        arm=cane["arm"],
        position_m=_metres(cane["position"]),
        nodes=cane["nodes"],
        diameter_mm=None if diameter is None else _millimetres(diameter),
        angle_deg=None if angle is None else float(angle),
        creep_m=None if creep is None else _metres(creep),
        kind=cane.get("kind", SPUR_POSITION),
    )


def _limited(rules: Rules, limits: Mapping[str, Any]) -> Rules:
    fewest = limits.get("fewest_nodes", rules.fewest)
    most = limits.get("most_nodes", rules.most)
    changed: dict[str, Any] = {"fewest": fewest, "most": most, "preferred": min(max(rules.preferred, fewest), most)}
    for name, member, in_mm in (
        ("least_spacing", "least_spacing_mm", round),
        ("widest_spacing", "widest_spacing_mm", round),
        ("wanted_diameter", "wanted_mm", float),
        ("thinnest_diameter", "thinnest_mm", float),
        ("crept_beyond", "crept_mm", round),
    ):
        if name in limits:
            changed[member] = in_mm(_millimetres(limits[name]))
    if limits.get("internode") is not None:
        changed["internode_m"] = _metres(limits["internode"])
    return replace(rules, **changed)


def _metres(length: Quantity) -> float:
    return float(to_canonical(length, "length"))


def _millimetres(length: Quantity) -> float:
    return float(to_canonical(length, "length") * 1000)


#: Bounds of every length [m] and how they are told.
_BOUNDS: Final = {
    "space": (str(SHORTEST_ARM_M), str(LONGEST_ARM_M), "0.1 to 10 m"),
    "position": ("0", str(LONGEST_ARM_M), "0 to 10 m"),
    "diameter": ("0.00001", str(THICKEST_MM / 1000), "0.01 to 60 mm"),
    "from_cordon": ("0", str(FARTHEST_CREEP_M), "0 to 2 m"),
    "least_spacing": ("0", "1", "0 to 1 m"),
    "widest_spacing": ("0", "1", "0 to 1 m"),
    "wanted_diameter": ("0.001", "0.06", "1 to 60 mm"),
    "thinnest_diameter": ("0.001", "0.06", "1 to 60 mm"),
    "crept_beyond": ("0", "2", "0 to 2 m"),
    "internode": ("0.01", "0.5", "0.01 to 0.5 m"),
}


def _lengths(arms: Sequence[Any], canes: Sequence[Any], limits: Mapping[str, Any]) -> Iterator[Fault]:
    rows: list[tuple[tuple[str | int, ...], Mapping[str, Any]]] = [(("limits",), limits)]
    rows += [(("arms", number), arm) for number, arm in enumerate(arms)]
    rows += [(("canes", number), cane) for number, cane in enumerate(canes)]
    for path, row in rows:
        for name, value in row.items():
            if name in _BOUNDS and value is not None:
                low, high, told = _BOUNDS[name]
                if not Decimal(low) <= to_canonical(value, "length") <= Decimal(high):
                    detail = f"{name} is {value.value:f} {value.unit}; it must lie within {told}. Check the unit."
                    yield Fault((*path, name), "out_of_range", detail)


def _names(arms: Sequence[Any], canes: Sequence[Any]) -> Iterator[Fault]:
    known = [arm["name"] for arm in arms]
    for place, rows in (("arms", arms), ("canes", canes)):
        seen: set[str] = set()
        for number, row in enumerate(rows):
            if row["name"] in seen:
                yield Fault(
                    (place, number, "name"), "repeated", f"{row['name']!r} is a name already. Give each its own."
                )
            seen.add(row["name"])
    for number, cane in enumerate(canes):
        if cane["arm"] not in known:
            detail = f"{cane['arm']!r} is none of the arms sent: {', '.join(known)}."
            yield Fault(("canes", number, "arm"), "no_such_arm", detail)


def _order(limits: Mapping[str, Any], rules: Rules) -> Iterator[Fault]:
    if limits.get("fewest_nodes", rules.fewest) > limits.get("most_nodes", rules.most):
        detail = "fewest_nodes is more than most_nodes, sent or by default. Send both."
        yield Fault(("limits", "fewest_nodes"), "out_of_range", detail)
    if rules.form != SPUR and ("least_spacing" in limits or "widest_spacing" in limits):
        detail = "Spacing is asked for between spurs only: leave it out, or send form spur."
        yield Fault(("limits",), "spurs_only", detail)
        return
    for lower, upper, defaults in (
        ("least_spacing", "widest_spacing", (rules.least_spacing_mm, rules.widest_spacing_mm)),
        ("thinnest_diameter", "wanted_diameter", (rules.thinnest_mm, rules.wanted_mm)),
    ):
        low, high = (
            _millimetres(limits[name]) if name in limits else default
            for name, default in zip((lower, upper), defaults, strict=True)
        )
        if low is not None and high is not None and low > high:
            detail = f"{lower} is more than {upper}, sent or by default. Send both."
            yield Fault(("limits", lower), "out_of_range", detail)
