"""The outline of a room out of a plan drawing: layers, closed outlines, gaps, one tape reading."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar, Final

import numpy as np

from sim.answers import Answer
from sim.arrays import FloatArray
from sim.blueprint.error_messages import closest
from sim.blueprint.units import UNIT_M, text_to_metres
from sim.errors import SceneError
from sim.showing.numbers import format_length, joined
from sim.surveying.drawing.closing import GAP_M, WIDEST_M, Closed, Gap, Outline, closed_outlines
from sim.surveying.drawing.dxf_lines import read_dxf
from sim.surveying.drawing.laying import LaidOutline, check_reading, laid, refuse_sizes
from sim.surveying.drawing.plan_lines import UNITS_M, PlanLayer, PlanLines
from sim.surveying.drawing.svg_lines import read_svg

OPENING_M: Final = 0.30
"""A gap from this width on may be a door or a window (common practice, no source)."""
WIDEST_GAP_M: Final = 0.5


@dataclass(frozen=True, slots=True, repr=False)
class Floorplan(Answer):
    """What a plan drawing holds.

    Attributes
    ----------
    file
        Name of the drawing.
    unit, unit_given
        What its numbers are in, empty when nobody knows; whether a person said so.
    layers
        All layers, by falling length of their lines.
    chosen
        Layers that the outline was looked for on; empty: they are only listed.
    closed
        What each layer closes where nothing was chosen, in the order of `layers`; else what the chosen ones close.
    outline
        Which outline is the room; None where there are several, or nothing was chosen.
    room
        The same in the frame of the room; None as `outline`.
    tape, difference_m
        What was read with a tape, and how much longer the drawing is, in metres; empty and nan without a reading.
    """

    question: ClassVar[str] = "floorplan"

    file: str
    unit: str
    unit_given: bool
    layers: tuple[PlanLayer, ...]
    chosen: tuple[str, ...] = ()
    closed: tuple[Closed, ...] = ()
    outline: Outline | None = None
    room: LaidOutline | None = None
    tape: str = ""
    difference_m: float = math.nan

    @property
    def rooms(self) -> tuple[Outline, ...]:
        """Closed outlines of the chosen layers that are no walls seen from above, largest first."""
        return tuple(one for closed in self.closed for one in closed.outlines if not one.is_wall)

    @property
    def shown_unit(self) -> str:
        """The unit that lengths are said in."""
        return self.unit if self.unit in UNIT_M else "m"

    def headline(self) -> str:
        """What there is."""
        if self.room is not None:
            width, depth = (format_length(size, self.shown_unit) for size in (self.room.width_m, self.room.depth_m))
            return f"{self.file}: a room of {len(self.room.walls)} walls, {width} wide and {depth} deep"
        if self.chosen:
            return f"{self.file}: {len(self.rooms)} closed outlines on {joined(self.chosen)}, none chosen"
        return f"{self.file}: {len(self.layers)} layers, {f'in {self.unit}' if self.unit else 'unit not known'}"

    def rows(self) -> list[dict[str, Any]]:
        """Walls of the room; else one row for each closed outline of the chosen layers, or for each layer."""
        if self.room is not None:
            return [{"wall": wall.name, "number": wall.number, "length_m": wall.length_m} for wall in self.room.walls]
        if self.chosen:
            return [
                {"outline": n, "width_m": one.size_m[0], "depth_m": one.size_m[1], "area_m2": one.area_m2}
                for n, one in enumerate(self.rooms, 1)
            ]
        metres = UNITS_M.get(self.unit, math.nan)
        return [
            {"layer": layer.name, "lines": len(layer.lines), "length_m": layer.length * metres} for layer in self.layers
        ]

    @property
    def openings(self) -> tuple[tuple[str, float, float], ...]:
        """Gaps in walls of the room that were drawn shut and may be doors or windows: wall, from and to in metres."""
        if self.room is None:
            return ()
        wide = [gap for gap in self.closed[0].joined if gap.gap_m >= OPENING_M]
        return tuple(place for gap in wide if (place := self.room.wall_at(gap.ends)) is not None)


def floorplan(
    file: Path | str,
    *,
    layers: Sequence[str] = (),
    unit: str = "",
    gap: str | float = GAP_M,
    bridge: bool = False,
    outline: int = 0,
    front: str = "top",
    tape: tuple[str, str | float] | None = None,
) -> Floorplan:
    """Read the outline of a room from a plan drawing; without layers they are only listed.

    Parameters
    ----------
    file
        A DXF or SVG file, walls as lines, polylines or arcs seen from above.
    layers
        Names of layers that together hold the outline.
    unit
        What its numbers are in: m, cm, mm, in or ft; left out, as the file says.
    gap
        Ends that lead nowhere are joined within this: metres, or a text with a unit.
    bridge
        Draw a straight line across every gap up to 3 m wide, as doors and windows are.
    outline
        Which of several closed outlines is the room, 1 being the largest.
    front
        Where the front of the room lies on the drawing: top, bottom, left, right, or the number of a wall.
    tape
        A wall (its number or name), "width" or "depth", and what a tape reads there: metres, or a text with a unit.

    Raises
    ------
    SceneError
        If the file cannot be read, a layer is not there, nothing is closed, lines of the outline cross each other,
        the unit is not known or makes no room of it, or the tape contradicts the drawing.
    """
    place = Path(file)
    if unit and unit not in UNIT_M:
        raise SceneError("--unit", f'it is "{unit}"', f"choose one of {', '.join(UNIT_M)}")
    join_m = length_given("--gap", gap)
    if not 0.0 <= join_m <= WIDEST_GAP_M:
        raise SceneError("--gap", f"it is {join_m:g} m", f"give 0 m to {WIDEST_GAP_M:g} m; wider ones with --bridge")
    drawing = _read(place, unit)
    known = unit or drawing.unit
    common = {"file": place.name, "unit": known, "unit_given": bool(unit), "layers": drawing.layers}
    chosen = _chosen(drawing, layers, place.name)
    if not chosen:
        metres = UNITS_M.get(known)
        each = [closed_outlines(one.lines * metres, join_m) for one in drawing.layers] if metres else []
        return Floorplan(**common, closed=tuple(each))  # type: ignore[arg-type]
    lines = np.concatenate([layer.lines for layer in chosen])
    if not known:
        raise _no_unit(lines, place.name)
    names = tuple(layer.name for layer in chosen)
    closed = closed_outlines(lines * UNITS_M[known], join_m, bridge=bridge)
    rooms = [one for one in closed.outlines if not one.is_wall]
    if not rooms:
        raise _nothing_closed(closed, lines * UNITS_M[known], known, names, place.name)
    if not 0 <= outline <= len(rooms):
        raise SceneError("--outline", f"it is {outline}", f"give 1 to {len(rooms)}, as they are listed")
    if outline == 0 and len(rooms) > 1:
        return Floorplan(**common, chosen=names, closed=(closed,))  # type: ignore[arg-type]
    one = rooms[outline - 1 if outline else 0]
    if len(one.crossings):
        at = _place(one.crossings[0], known)
        raise SceneError(place.name, f"lines of the outline cross each other at {at}", "end them there in the drawing")
    refuse_sizes(one, known, place.name)
    room = laid(one, front)
    if tape is None:
        return Floorplan(**common, chosen=names, closed=(closed,), outline=one, room=room)  # type: ignore[arg-type]
    difference = check_reading(room, str(tape[0]), length_given("--tape", tape[1]), known)
    reading = f"{tape[0]} {tape[1]}"
    return Floorplan(
        **common,  # type: ignore[arg-type]
        chosen=names,
        closed=(closed,),
        outline=one,
        room=room,
        tape=reading,
        difference_m=difference,
    )


def _read(place: Path, unit: str) -> PlanLines:
    kinds = {".dxf": read_dxf, ".svg": read_svg}
    read = kinds.get(place.suffix.lower())
    if read is None:
        raise SceneError(place.name, "its name ends in neither .dxf nor .svg", "export the plan as DXF or SVG")
    return read(place, unit)


def _chosen(drawing: PlanLines, names: Sequence[str], where: str) -> list[PlanLayer]:
    found = []
    for name in dict.fromkeys(names):
        layer = next((one for one in drawing.layers if one.name == name), None)
        layer = layer or next((one for one in drawing.layers if one.name.lower() == name.lower()), None)
        if layer is None:
            known = [one.name for one in drawing.layers]
            raise SceneError(f"--layer {name}", f"{where} has no such layer", closest(name, known, what="its layers"))
        if not len(layer.lines):
            raise SceneError(f"--layer {name}", "there are no lines on it", "choose the layer of the walls")
        found.append(layer)
    return found


def length_given(option: str, given: str | float, such: str = 'write 3.4, "340 cm" or "11 ft 2 in"') -> float:
    """Metres of a number in metres, or of a text with a unit; `such` is what would work."""
    try:
        metres = float(given)
    except ValueError:
        try:
            metres = text_to_metres(str(given))
        except ValueError:
            raise SceneError(option, f'"{given}" is not a length', such) from None
    if not math.isfinite(metres):
        raise SceneError(option, f"it is {metres}", "give a finite length")
    return metres


def _no_unit(lines: FloatArray, where: str) -> SceneError:
    size = np.ptp(lines.reshape(-1, 2), axis=0)
    likely = [unit for unit, metres in UNIT_M.items() if 2.0 <= size.max() * metres <= 60.0]
    guess = f"--unit {' or '.join(likely)} would fit" if likely else f"give --unit, one of {', '.join(UNIT_M)}"
    return SceneError(where, f"it does not say its unit; it is {size[0]:.6g} by {size[1]:.6g} units large", guess)


def _nothing_closed(closed: Closed, lines_m: FloatArray, unit: str, names: Sequence[str], where: str) -> SceneError:
    """Say by how much and where an outline is open, or that only walls seen from above are closed."""
    on = f"nothing on {joined(names)} closes a room"
    width, depth = np.ptp(lines_m.reshape(-1, 2), axis=0)
    if max(width, depth) < 2.0 or max(width, depth) > 60.0:
        found = f"{on}: in {unit} its lines are {width:,.4g} m by {depth:,.4g} m large"
        return SceneError(where, found, "check --unit, or choose other layers")
    if closed.open:
        widest = closed.open[-1]
        count = f"{len(closed.open)} gaps, the widest" if len(closed.open) > 1 else "a gap of"
        found = f"{on}: {count} {_metric(widest.gap_m, unit)} from {_place(widest.ends[0], unit)} to"
        found = f"{found} {_place(widest.ends[1], unit)}"
        advice = "close it in the drawing, add the layer of doors and windows, or give --bridge"
        return SceneError(where, found, advice if widest.gap_m > WIDEST_GAP_M else f"{advice} or a larger --gap")
    if closed.outlines:
        return SceneError(where, f"{on}, only walls seen from above", "add the layers of doors and windows")
    return SceneError(where, on, f"choose the layer of the walls; gaps wider than {WIDEST_M:g} m are never bridged")


def _metric(metres: float, unit: str) -> str:
    return format_length(metres, unit if unit in UNIT_M else "m")


def _place(point: FloatArray, unit: str) -> str:
    """A place in the numbers of the drawing, where one can look for it."""
    x, y = (float(value) / UNITS_M[unit] for value in point)
    return f"({x:.6g}, {y:.6g})"


def gap_words(gap: Gap, unit: str) -> str:
    """How wide a gap is, and where."""
    return f"{_metric(gap.gap_m, unit)} at {_place(gap.ends.mean(axis=0), unit)}"
