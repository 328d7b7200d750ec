"""A vine with its plan, drawn plainly: what is kept, what is cut, and where."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from balance.drawings.layout import CLEAR, FAN, MARGIN, NODE, ArmDrawn, Layout, Stick, layout_of
from balance.drawings.svg import drawing, element, line, text, words
from balance.formulas.counting import counted
from balance.formulas.spur_plan.candidates import Arm, Candidate
from balance.formulas.spur_plan.plan import SpurPlan
from balance.formulas.spur_plan.reasons import CUT, RENEWAL_SPUR

#: Colours that colour-blind people tell apart; shape and dash say the same without any.
_KEPT: Final = "#0072b2"
_RENEWAL: Final = "#d55e00"
_GONE: Final = "#6b6b6b"
_WOOD: Final = "#3d3d3d"
_HEADING: Final = 64.0
_FOOTER: Final = 78.0
_TRUNK: Final = 30.0
_NAME: Final = 26.0
_DESCRIBED: Final = (
    "The trunk with its arms; a stick for every cane, with a title that says why it is kept or cut. Kept wood is solid "
    "with a dot for every node, renewal spurs have diamonds, cut wood is dashed."
)
_MEASURES_CM: Final = (5, 10, 20, 50, 100, 200)


def vine_svg(plan: SpurPlan, candidates: Sequence[Candidate], arms: Sequence[Arm]) -> str:
    """Draw a vine with its plan.

    Parameters
    ----------
    plan : SpurPlan
    candidates : sequence of Candidate
        Those of the plan.
    arms : sequence of Arm
        The first is drawn left of the trunk, the second right, further pairs below them; one alone to the right.

    Returns
    -------
    str
        An SVG document that stands alone.

    Notes
    -----
    Kept wood is solid with filled dots, a renewal spur with diamonds, cut wood dashed.  Positions along the cordon are
    to scale; sticks are moved aside where labels would overlap.  A cane that points downward hangs below the cordon.
    """
    layout = layout_of(plan, candidates, arms)
    levels, bottom = _levels(layout)
    width, height = max(layout.left + layout.right, 560), bottom + _TRUNK + _FOOTER
    trunk = layout.left
    told = _told(plan)
    drawn = [
        element("title", words(told[0]), id="title"),
        element("desc", words(f"{told[1]} {_DESCRIBED}"), id="desc"),
        element("rect", width=width, height=height, fill="#ffffff"),
        text(told[0], MARGIN, 26, font_size=16, font_weight="bold"),
        text(told[1], MARGIN, 44, font_size=12),
        line((trunk, levels[0]), (trunk, bottom + _TRUNK), stroke=_WOOD, stroke_width=9, stroke_linecap="round"),
        *(element("g", _arm(arm, trunk, levels[arm.tier], _reach(layout, arm.tier))) for arm in layout.arms),
        *_legend(layout, bottom + _TRUNK + 22),
    ]
    return drawing(
        drawn,
        width,
        height,
        "title desc",
        font_family="sans-serif",
        font_size=10,
    )


def _told(plan: SpurPlan) -> list[str]:
    """Give what the drawing says in words: a heading, and what is kept."""
    kept = [choice for choice in plan.choices if choice.role != CUT]
    renewing = sum(choice.role == RENEWAL_SPUR for choice in kept)
    heading = (
        f"Spur plan: {plan.total} of {plan.target} nodes asked for"
        if plan.reason
        else f"Spur plan: {counted(plan.total, 'node')}"
    )
    canes = f"{len(kept)} of {counted(len(plan.choices), 'cane')} kept, {renewing} of them as renewal spurs."
    outside = f" Nodes of renewal spurs beside the total: {plan.outside}." if plan.outside else ""
    return [heading, f"{canes}{outside} A guide only: see the cautions of the plan."]


def _reach(layout: Layout, tier: int) -> tuple[float, float]:
    """Give how far sticks of a tier go above and below its cordon [px]."""
    here = [arm for arm in layout.arms if arm.tier == tier]
    return max(arm.reach(below=False) for arm in here), max(arm.reach(below=True) for arm in here)


def _levels(layout: Layout) -> tuple[list[float], float]:
    """Give the height of every tier's cordon, and of the lowest end of anything [px from the top]."""
    levels, lowest = [], _HEADING
    for tier in range(max(arm.tier for arm in layout.arms) + 1):
        above, below = _reach(layout, tier)
        levels.append(lowest + above)
        lowest = levels[-1] + below + _NAME
    return levels, lowest


def _arm(arm: ArmDrawn, trunk: float, level: float, reach: tuple[float, float]) -> Iterator[str]:
    end, lowest = trunk + arm.side * arm.length, level + reach[1]
    yield line((trunk, level), (end, level), stroke=_WOOD, stroke_width=6, stroke_linecap="round")
    yield line((end, level - reach[0]), (end, lowest), stroke=_WOOD, stroke_dasharray="10 3 2 3")
    anchor = "start" if arm.side < 0 else "end"
    yield text(arm.arm.name, end - arm.side * CLEAR, lowest + 12, text_anchor=anchor, font_size=11, font_style="italic")
    for stick in arm.sticks:
        yield _stick(stick, trunk, level, arm.side)


def _stick(stick: Stick, trunk: float, level: float, side: int) -> str:
    """Draw one cane: older wood up to its base, what is kept solid with its nodes, what is cut dashed."""
    away = 1 if stick.hangs else -1
    x, foot = trunk + side * stick.at, level + away * stick.foot
    kept = stick.choice.nodes
    cut_at = foot + away * NODE * (kept + 0.5 if kept else 0)
    end = foot + away * stick.length
    parts = [
        element("title", words(f"{stick.candidate.name}: {stick.choice.sentence}")),
        element(
            "path",
            d=f"M{trunk + side * stick.base:.1f} {level:.1f}L{x:.1f} {level + away * FAN:.1f}V{foot:.1f}",
            fill="none",
            stroke=_WOOD if kept else _GONE,
            stroke_width=2.5 if kept else 1,
        ),
    ]
    if cut_at != end:
        parts.append(line((x, cut_at), (x, end), stroke=_GONE, stroke_width=1.2, stroke_dasharray="3 3"))
    if kept:
        parts += _kept_wood(stick, x, foot, cut_at)
    where = end + away * 6
    parts.append(
        element(
            "text",
            words(stick.label),
            transform=f"rotate(-90 {x:.1f} {where:.1f})",
            x=x,
            y=where,
            dy=3.5,
            text_anchor="end" if stick.hangs else "start",
            fill="#000000" if kept else "#4a4a4a",
            font_weight="bold" if kept else "normal",
        )
    )
    return element("g", parts)


def _kept_wood(stick: Stick, x: float, foot: float, cut_at: float) -> Iterator[str]:
    renews = stick.choice.role == RENEWAL_SPUR
    colour = _RENEWAL if renews else _KEPT
    yield line((x, foot), (x, cut_at), stroke=colour, stroke_width=3)
    step = NODE if cut_at > foot else -NODE
    for number in range(1, stick.choice.nodes + 1):
        yield _node(x, foot + step * number, colour, renews=renews)
    yield line((x - 4, cut_at), (x + 4, cut_at), stroke="#000000", stroke_width=1.5)


def _node(x: float, y: float, colour: str, *, renews: bool) -> str:
    if renews:
        return element("path", d=f"M{x:.1f} {y - 4.2:.1f}l4.2 4.2l-4.2 4.2l-4.2 -4.2z", fill=colour)
    return element("circle", cx=x, cy=y, r=3.4, fill=colour)


def _legend(layout: Layout, y: float) -> Iterator[str]:
    """Draw what the marks mean, and the scale along the cordon."""
    x = MARGIN
    yield line((x, y), (x + 30, y), stroke=_KEPT, stroke_width=3)
    yield _node(x + 15, y, _KEPT, renews=False)
    yield text("kept, a dot a node", x + 38, y + 4)
    yield line((x + 150, y), (x + 180, y), stroke=_RENEWAL, stroke_width=3)
    yield _node(x + 165, y, _RENEWAL, renews=True)
    yield text("renewal spur", x + 188, y + 4)
    yield line((x + 272, y), (x + 302, y), stroke=_GONE, stroke_width=1.2, stroke_dasharray="3 3")
    yield text("cut", x + 310, y + 4)
    yield line((x + 346, y), (x + 376, y), stroke=_WOOD, stroke_dasharray="10 3 2 3")
    yield text("halfway line to the neighbour", x + 384, y + 4)
    centimetres = max([each for each in _MEASURES_CM if each * layout.scale / 100 <= 240] or [_MEASURES_CM[0]])
    length, below = centimetres * layout.scale / 100, y + 28
    yield line((x, below), (x + length, below), stroke="#000000", stroke_width=2)
    for at in (x, x + length):
        yield line((at, below - 5), (at, below + 5), stroke="#000000", stroke_width=2)
    yield text(f"{centimetres} cm along the cordon", x + length + 10, below + 4)
    yield text("Beside each name: nodes kept / nodes living. Sticks stand apart for the labels' sake.", x, below + 22)
