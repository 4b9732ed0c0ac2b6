"""Built scenes for tests, told by a few numbers: one room, point loudspeakers, one ear, hard surfaces in dry words."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from sim.acoustics.air import Air
from sim.blueprint.schema import Blueprint
from sim.geometry.patches import Patch
from sim.geometry.room import build_room
from sim.loudspeakers.catalogue import generic_loudspeaker
from sim.placement.built_scene import BuiltScene, build_scene
from sim.placement.poses import PlacedLoudspeaker

NOWHERE = Path("no-folder")
HARD = [0.0] * 8
OPEN = [1.0] * 8
Point = tuple[float, float, float]


def point(at: Point) -> dict[str, float]:
    """A point (depth, across, up) as a scene writes it."""
    return {"from_front": at[0], "from_left": at[1], "up": at[2]}


def box(depth: float, width: float, height: float, material: str | dict[str, str] = "hard") -> dict[str, Any]:
    """A box room of one material, or of several by surface name."""
    named = {"all": material} if isinstance(material, str) else {"all": "hard", **material}
    return {"box": {"depth": depth, "width": width, "height": height}, "materials": named}


def prism(outline: list[tuple[float, float]], height: float) -> dict[str, Any]:
    """A room over a floor outline of (depth, across) corners."""
    corners = [{"from_front": x, "from_left": y} for x, y in outline]
    return {"outline": corners, "height": height, "materials": {"all": "hard"}}


def desk(depth: tuple[float, float], across: tuple[float, float], top: float, **more: Any) -> dict[str, Any]:
    """A hard desk."""
    return {"kind": "desk", "from_front": depth, "from_left": across, "top": top, "material": "hard", **more}


def block(
    depth: tuple[float, float], across: tuple[float, float], up: tuple[float, float], **more: Any
) -> dict[str, Any]:
    """A hard block."""
    return {"kind": "block", "from_front": depth, "from_left": across, "up": up, "material": "hard", **more}


def loudspeaker(at: Point | tuple[float, float, None], name: str = "left", **more: Any) -> dict[str, Any]:
    """A loudspeaker record; a bare point that radiates evenly unless a model is given."""
    axis = {key: value for key, value in point(at).items() if value is not None}  # type: ignore[arg-type]
    return {"name": name, "model": "point", "acoustic_axis": axis, **more}


def blueprint_of(room: dict[str, Any], sources: list[Point | dict[str, Any]], ear: Point, **more: Any) -> Blueprint:
    """A scene of a room, sources (points, or records) and one ear; "hard" and "open" are known materials."""
    records = [
        each if isinstance(each, dict) else loudspeaker(each, name=f"source {number}")
        for number, each in enumerate(sources)
    ]
    own = {"hard": HARD, "open": OPEN, **more.pop("absorption", {})}
    listener = {"ear": point(ear), **more.pop("listener", {})}
    return Blueprint.model_validate(
        {
            "room": room,
            "loudspeakers": records,
            "listener": listener,
            "materials": {name: {"absorption": row, "source": "made up for a test"} for name, row in own.items()},
            **more,
        }
    )


def built_scene_of(room: dict[str, Any], sources: list[Any], ear: Point, **more: Any) -> BuiltScene:
    """Build the scene of `blueprint_of`."""
    return build_scene(blueprint_of(room, sources, ear, **more), NOWHERE)


def turned_stage(built: BuiltScene, rotation: np.ndarray, shift: np.ndarray) -> BuiltScene:
    """The same built scene, everything turned (3, 3) and then moved (3,) together."""
    patches = [
        Patch(
            facet.name,
            facet.owner,
            facet.material,
            built.room.triangles[built.room.facet_of_triangle == number] @ rotation.T + shift,
        )
        for number, facet in enumerate(built.room.facets)
    ]
    moved = [
        replace(
            one,
            axis_point=one.axis_point @ rotation.T + shift,
            rotation=rotation @ one.rotation,
            driver_points=one.driver_points @ rotation.T + shift,
        )
        for one in built.loudspeakers
    ]
    return replace(built, room=build_room(patches), loudspeakers=tuple(moved), ears=built.ears @ rotation.T + shift)


def bare_stage(patches: list[Patch], sources: np.ndarray, ear: np.ndarray) -> BuiltScene:
    """A built scene of ready-made patches with hard surfaces and point loudspeakers (s, 3) that have no box."""
    room = build_room(patches)
    model = generic_loudspeaker("point")
    placed = [
        PlacedLoudspeaker(
            f"source {number}",
            f"source {number} loudspeaker",
            model,
            np.array(place),
            np.eye(3),
            np.array([place]),
            0.0,
            0.0,
            0.0,
            "centre",
            (),
        )
        for number, place in enumerate(sources)
    ]
    return BuiltScene(
        room=room,
        loudspeakers=tuple(placed),
        ears=np.array([ear]),
        listener_names=("ear",),
        head_box=np.zeros(3),
        absorption=np.zeros((len(room.facets), 8)),
        air=Air(),
        volume_m3=1.0,
        notes=(),
    )
