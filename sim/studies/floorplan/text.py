"""What `floorplan` says, and the scene it writes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sim.blueprint.first_room import FirstRoom
from sim.blueprint.reader import parse_scene
from sim.blueprint.template import first_scene
from sim.blueprint.units import UNIT_M
from sim.errors import SceneError
from sim.pipeline import build
from sim.showing.numbers import format_length, joined
from sim.studies.floorplan.reading import Floorplan, gap_words, length_given
from sim.surveying.drawing.closing import Closed, Outline
from sim.surveying.drawing.plan_lines import FLAT_M, UNITS_M, PlanLayer
from sim.surveying.new_scene_file import place_of_scene, write_scene_file


def floorplan_lines(plan: Floorplan) -> list[str]:
    """What the command says: what there is, then what to do next."""
    headline = plan.headline()
    said = [f"{headline}.", ""]
    if not plan.chosen:
        return [*said, *_layer_lines(plan)]
    on = joined(plan.chosen)
    if plan.room is None:
        rows = [f"  {n}  {_size_words(one, plan.shown_unit)}" for n, one in enumerate(plan.rooms, 1)]
        return [*said, f"Closed outlines on {on}, largest first:", *rows, "", "Next: choose the room with --outline N."]
    unit = plan.shown_unit
    said.append(f"Walls of the outline on {on} (the number is that of --tape and --front):")
    widest = max(len(wall.name) for wall in plan.room.walls)
    said += [
        f"  {wall.number:>3}  {wall.name:{widest}}  {format_length(wall.length_m, unit):>12}"
        for wall in plan.room.walls
    ]
    return [*said, "", *remarks(plan), *_next(plan)]


def remarks(plan: Floorplan) -> list[str]:
    """What was joined, what may be a door or a window, how curves were followed, what the tape says."""
    assert plan.room is not None
    unit, closed = plan.shown_unit, plan.closed[0]
    where = "as you say" if plan.unit_given else "as the file says"
    said = [f"Unit of the drawing: {plan.unit}, {where}."]
    curves = sum(layer.curves for layer in plan.layers if layer.name in plan.chosen)
    if curves:
        said.append(f"{curves} curves are straight lines now, nowhere further off than {format_length(FLAT_M, unit)}.")
    said += _left_out_lines(plan.layers, plan.chosen)
    small = [gap for gap in closed.joined if plan.room.wall_at(gap.ends) is None or gap.gap_m < 0.3]
    if small:
        widest = max(small, key=lambda gap: gap.gap_m)
        said.append(f"{len(small)} pairs of ends were joined, the widest gap {gap_words(widest, plan.unit)}.")
    for wall, start, stop in plan.openings:
        side = "front" if wall.startswith(("left", "right")) else "left"
        said.append(
            f"A gap in the {wall}, {format_length(start, unit)} to {format_length(stop, unit)} from the {side} wall:"
            " door or window? The wall is drawn through; measure its height and add it under [[openings]]."
        )
    if closed.open:
        said.append(
            f"{len(closed.open)} more gaps between loose ends, the narrowest {gap_words(closed.open[0], plan.unit)}."
        )
    if plan.tape:
        off = format_length(abs(plan.difference_m), "mm")
        said.append(f"Tape: {plan.tape}; the drawing agrees within {off}.")
    return said


def _layer_lines(plan: Floorplan) -> list[str]:
    """One line for each layer: lines, length, and what it closes."""
    metres = UNITS_M.get(plan.unit)
    widest = max(len(layer.name) for layer in plan.layers)
    said = []
    for number, layer in enumerate(plan.layers):
        size = f"{layer.length * metres:9.2f} m" if metres else f"{layer.length:11.6g} units"
        line = f"  {layer.name:{widest}}  {len(layer.lines):5} lines  {size}"
        if metres:
            line += f"  {_closed_words(plan.closed[number], plan.shown_unit)}"
        said.append(line.rstrip())
    said += ["", *_left_out_lines(plan.layers, [layer.name for layer in plan.layers])]
    if not metres:
        said.append("The file does not say its unit: give --unit m, cm, mm, in or ft.")
    said.append("Next: choose the layer with the inner faces of the walls: --layer NAME, several times if need be.")
    return said


def _left_out_lines(layers: Sequence[PlanLayer], names: Sequence[str]) -> list[str]:
    """What of some layers was not read."""
    found = [(layer.name, layer.left_out) for layer in layers if layer.name in names and layer.left_out]
    words = joined([f"{count} on {name}" for name, count in found])
    return [f"Left out, since nothing here follows such curves or things: {words}."] if found else []


def _closed_words(closed: Closed, unit: str) -> str:
    rooms = [_size_words(one, unit) for one in closed.outlines if not one.is_wall]
    walls = len(closed.outlines) - len(rooms)
    if not closed.outlines:
        return f"open: {len(closed.open)} gaps" if closed.open else "closes nothing"
    parts = [f"closed: {'; '.join(rooms[:3])}{' ...' if len(rooms) > 3 else ''}"] if rooms else []
    return ", ".join([*parts, *([f"{walls} walls seen from above"] if walls else [])])


def _size_words(one: Outline, unit: str) -> str:
    width, depth = (format_length(float(size), unit) for size in one.size_m)
    return f"{width} x {depth}, {len(one.corners)} corners, {one.area_m2:.1f} m2"


def _next(plan: Floorplan) -> list[str]:
    if plan.tape:
        return []
    return ["", "Next: measure one wall and give --tape WALL=LENGTH; then --height LENGTH -o DIR writes the scene."]


# The scene of a plan.


def write_scene(plan: Floorplan, folder: Path, height: str | None, title: str) -> Path:
    """Write `scene.toml` of the room of a plan into a new or empty folder, as `new` writes it; returns its path.

    Raises
    ------
    SceneError
        If no outline is chosen, nothing confirms its lengths, the height is missing or nothing fits in the room.
    OutputError
        If there is a scene already, or nothing can be written there.
    """
    if plan.room is None:
        what = "--outline" if plan.chosen else "--layer"
        found = f"there are {len(plan.rooms)} closed outlines" if plan.chosen else "no layer is chosen"
        raise SceneError(what, found, "choose one; without -o they are listed")
    if not plan.tape:
        raise SceneError("--tape", "nothing confirms the drawing", "measure one wall and give --tape WALL=LENGTH")
    if height is None:
        raise SceneError("--height", "a plan does not have it", "measure floor to ceiling and give --height LENGTH")
    unit, room = plan.unit if plan.unit in UNIT_M else "m", plan.room
    first = FirstRoom(
        room.width_m,
        room.depth_m,
        length_given("--height", height, 'write 2.4, "240 cm" or "7 ft 10 in"'),
        walls=tuple((wall.name, *wall.start) for wall in room.walls),
        tape=(f"The outline is that of {plan.file}, layer {joined(plan.chosen)}.", *remarks(plan)),
    )
    path = place_of_scene(folder)
    text = first_scene(first, title=title or folder.resolve().name, units=unit)
    build(parse_scene(text, folder))
    return write_scene_file(path, text)
