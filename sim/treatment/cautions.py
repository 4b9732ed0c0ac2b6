"""What to mind when a plan is built: loads over heads, stands, ways out, and what the model left out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ..blueprint.panels import Panel
from ..responses.results import Results
from .ground import Ground, Group
from .hanging import held_by, is_overhead, mass_kg

NEGLECTED = (
    "Panels count by their face only: their sides, what they shade and sound that passes close by them are left out.",
)


def plan_cautions(
    ground: Ground, groups: Sequence[Group], records: Sequence[Sequence[Panel]], working: Results
) -> tuple[str, ...]:
    """Return sentences, the ones on safety first."""
    return tuple(dict.fromkeys([*_safety(ground, groups, records), *_ways_out(working), *_left_out(ground, groups)]))


def _safety(ground: Ground, groups: Sequence[Group], records: Sequence[Sequence[Panel]]) -> Iterator[str]:
    spots = [(spot, panel) for group, made in zip(groups, records, strict=True)
             for spot, panel in zip(group.spots, made, strict=True)]  # fmt: skip
    overhead = [(spot, panel) for spot, panel in spots if is_overhead(ground, spot)]
    if overhead:
        load = sum(mass_kg(ground, spot) for spot, _ in overhead)
        names = ", ".join(panel.name for _, panel in overhead)
        yield (
            f"Over heads: {names}, {load:.0f} kg in all. Fix to joists or rated anchors with hardware rated for "
            "overhead use and a second tether, never to a suspended grid, plain plasterboard, or by glue alone; what "
            "is written as fixings is what the fitter still has to confirm."
        )
    posts = [panel.name for spot, panel in spots if held_by(ground, spot) == "posts"]
    if posts:
        yield (
            f"Nothing may be drilled there: {', '.join(posts)} need posts or a frame from the floor, braced against "
            "tipping. How that stands is not worked out here."
        )
    for spot, panel in spots:
        if spot.movable:
            yield (
                f"{panel.name} is movable and stands over an opening: put it away when the opening is used, and give "
                "its stand feet that it cannot tip over."
            )


def _ways_out(working: Results) -> Iterator[str]:
    """What building the treated room noted about panels, openings and fixings."""
    names = [panel.name for panel in working.stage.panels]
    for note in (*working.stage.warnings, *working.stage.notes):
        if any(f'"{name}"' in note for name in names):
            yield note


def _left_out(ground: Ground, groups: Sequence[Group]) -> Iterator[str]:
    yield from ground.told
    used = {(spot.stock, spot.surface) for group in groups for spot in group.spots}
    for stock, surface in sorted(used):
        yield from ground.zones[stock][surface].notes
    for group in groups:
        if group.kind == "single" and group.why:
            name = ground.surfaces[group.spots[0].surface].name
            yield f"The panel on the {name} has no twin on the other side: {group.why}."
    yield from NEGLECTED
