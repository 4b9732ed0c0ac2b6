"""All pictures of a folder of results, flat ones and those in space, of one layout or of several side by side."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sim.progress import Report, say_nothing
from sim.responses.records import Results
from sim.showing.child_drawing import file_name
from sim.showing.surface_views import FlatSurface
from sim.studies.draw.map_picture import OCTAVES_HZ, desk_surface, draw_map, worst_surfaces


def draw_all(results: Results, out: Path, report: Report = say_nothing) -> tuple[Path, ...]:
    """Write all pictures of one result into a folder; may kill the process where VTK cannot draw."""
    return draw_flat(results, out, report) + draw_solid(results, out, report)


def draw_flat(results: Results, out: Path, report: Report = say_nothing) -> tuple[Path, ...]:
    """Write plan, curves, responses and maps into a folder; needs no graphics libraries."""
    from sim.showing.plan_picture import draw_plan
    from sim.studies.draw.curve_picture import draw_curves, draw_octave_curves
    from sim.studies.draw.ear_picture import draw_ear_response

    report("drawing the plan")
    made = [draw_plan(results.built, results.scene.blueprint, out / "plan.png")]
    for listener, name in enumerate(results.built.listener_names):
        report(f"drawing curves at the {name}")
        tail = "" if listener == 0 else f"_{file_name(name)}"
        made.append(draw_curves(results, out / f"energy_time{tail}.png", listener=listener))
        made.append(draw_octave_curves(results, out / f"energy_time_octaves{tail}.png", listener=listener))
        made.append(draw_ear_response(results, out / f"ear_response{tail}.png", listener=listener))
    for surface, name in _mapped(results):
        report(f"drawing the map of the {surface.name}")
        made.append(draw_map(results, surface, out / f"map_{name}.png"))
    return tuple(made)


def draw_octaves(results: Results, out: Path, report: Report = say_nothing) -> tuple[Path, ...]:
    """Write the maps octave by octave into a folder."""
    made = []
    for surface, name in _mapped(results):
        report(f"drawing the map of the {surface.name}, octave by octave")
        made.append(draw_map(results, surface, out / f"map_{name}_octaves.png", bands_hz=OCTAVES_HZ))
    return tuple(made)


def _mapped(results: Results) -> list[tuple[FlatSurface, str]]:
    """The surfaces whose maps are drawn, desk first, each with the name of its file."""
    desk = desk_surface(results)
    surfaces = ([desk] if desk else []) + list(worst_surfaces(results, besides=[desk] if desk else []))
    return list(zip(surfaces, _distinct([file_name(surface.name) for surface in surfaces]), strict=True))


def draw_solid(results: Results, out: Path, report: Report = say_nothing) -> tuple[Path, ...]:
    """Write the room in space, from each side, into a folder; may kill the process where VTK cannot draw."""
    from sim.studies.draw.room_picture import VIEWS, draw_room

    made = []
    for view, name in zip(VIEWS, ("room_from_left.png", "room_from_right.png", "room_from_below.png"), strict=True):
        report(f"drawing the room {view}")
        made.append(draw_room(results, out / name, view=view))
    return tuple(made)


def draw_comparison_flat(many: Sequence[Results], out: Path, report: Report = say_nothing) -> tuple[Path, ...]:
    """Write curves, responses and bars of several results into a folder."""
    from sim.studies.draw.side_by_side_picture import draw_differences

    report("drawing differences")
    return (draw_differences(many, out / "differences.png"),)


def draw_comparison_solid(many: Sequence[Results], out: Path, report: Report = say_nothing) -> tuple[Path, ...]:
    """Write the rooms of several results side by side; may kill the process where VTK cannot draw."""
    from sim.studies.draw.room_picture import VIEWS
    from sim.studies.draw.side_by_side_picture import draw_rooms

    made = []
    for view, name in zip(VIEWS, ("rooms_from_left.png", "rooms_from_right.png", "rooms_from_below.png"), strict=True):
        report(f"drawing the rooms {view}")
        made.append(draw_rooms(many, out / name, view=view))
    return tuple(made)


def _distinct(names: Sequence[str]) -> list[str]:
    """Number the second and later of equal names."""
    return [name if (n := names[:i].count(name)) == 0 else f"{name}_{n + 1}" for i, name in enumerate(names)]
