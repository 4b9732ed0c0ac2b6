"""One room that is not its own mirror image goes through every mesh format, several frames and units."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sim.blueprint.schema import Blueprint
from sim.geometry.enclosures import Enclosure, room_patches
from sim.geometry.mesh_checks import signed_volume
from sim.geometry.patches import Patch
from tests.rooms.asymmetric import VOLUME, asymmetric_room, in_file, write

FRAMES = [
    {"unit": "m", "depth": "+x", "across": "+y", "up": "+z"},
    {"unit": "mm", "depth": "-y", "across": "+x", "up": "+z"},
    {"unit": "m", "depth": "+z", "across": "+x", "up": "+y"},
    {"unit": "in", "depth": "-x", "across": "-y", "up": "+z"},
    {"unit": "ft", "depth": "+x", "across": "+z", "up": "-y"},
    {"unit": "cm", "depth": "-z", "across": "-x", "up": "+y"},
]
AT = {"from_front": 1.5, "from_left": 0.0, "up": 1.5}
NAMED = [
    {"name": "window", "at": AT},
    {"name": "door", "at": {"from_front": 3.0, "from_left": 3.23, "up": 1.0}, "material": "heavy glass"},
]


def built(folder: Path, room: dict[str, Any]) -> Enclosure:
    speaker = {"name": "left", "acoustic_axis": {"from_front": 0.7, "from_left": 1.0, "up": 1.2}}
    ear = {"from_front": 2.0, "from_left": 1.7, "up": 1.2}
    return room_patches(
        Blueprint.model_validate({"room": room, "loudspeakers": [speaker], "listener": {"ear": ear}}), folder
    )


def middle(patch: Patch) -> np.ndarray:
    areas = np.linalg.norm(np.cross(*np.diff(patch.triangles, axis=1).swapaxes(0, 1)), axis=1)
    return np.average(patch.triangles.mean(axis=1), axis=0, weights=areas)


@pytest.mark.parametrize("frame", FRAMES, ids=lambda frame: "".join(frame.values()))
@pytest.mark.parametrize("ending", ["obj", "glb", "ply", "stl"])
def test_left_stays_left_through_every_format(tmp_path: Path, ending: str, frame: dict[str, str]) -> None:
    quads = asymmetric_room()
    corners = [in_file(ring, frame, (5.0, -2.0, 1.0)) for ring in quads.corners]
    write(tmp_path / f"room.{ending}", quads.names, corners)
    named_in_file = ending in ("obj", "glb")
    enclosure = built(
        tmp_path,
        {
            "mesh": f"room.{ending}",
            "frame": frame,
            "tape": [
                {"along": "depth", "distance": 4.0},
                {"between": ["left wall", "right wall"], "distance": 3.0},
                {"along": "height", "distance": 2.4},
            ],
            "side_check": {"surface": "window", "side": "left"},
            "surfaces": [] if named_in_file else NAMED,
            "materials": {"window": "window glass", "walls": "brick"},
        },
    )
    patches = {patch.name: patch for patch in enclosure.patches}
    everything = np.concatenate([patch.triangles for patch in enclosure.patches])
    assert signed_volume(everything) == pytest.approx(-VOLUME, rel=1e-5)

    # The window niche is outermost, so the left wall stands 0.15 m from where distances count.
    places = {
        "front wall": (0, 0.0),
        "rear wall": (0, 4.0),
        "left wall": (1, 0.15),
        "right wall": (1, 3.15),
        "floor": (2, 0.0),
        "ceiling": (2, 2.4),
    }
    for name, (axis, level) in places.items():
        assert patches[name].triangles[..., axis] == pytest.approx(level, abs=1e-5)
        assert patches[name].owner == "room"
    assert any("from_left counts from" in note and "0.150 m" in note for note in enclosure.notes)

    assert middle(patches["window"])[0] == pytest.approx(1.5, abs=1e-5)
    assert middle(patches["window"])[1] < 0.15
    assert middle(patches["door"])[0] == pytest.approx(2.95, abs=1e-5)
    assert middle(patches["door"])[1] > 3.15
    assert patches["window"].material == "window glass"
    assert patches["left wall"].material == "brick"
    assert patches["floor"].material == "wood floor"
    rack = [patch for patch in enclosure.patches if patch.name.startswith("rack" if named_in_file else "block 1")]
    solid = np.concatenate([patch.triangles for patch in rack])
    assert signed_volume(solid) == pytest.approx(0.5 * 0.5 * 1.1, rel=1e-5)
    assert solid[..., 1].max() == pytest.approx(0.95, abs=1e-5)
    if not named_in_file:
        assert patches["door"].material == "heavy glass"
        assert middle(patches["block 1 right side"])[1] == pytest.approx(0.95, abs=1e-5)
        assert middle(patches["block 1 far side"])[0] == pytest.approx(0.4, abs=1e-5)
        assert middle(patches["block 1 top"])[2] == pytest.approx(1.1, abs=1e-5)


def test_all_formats_give_the_same_oriented_surface(tmp_path: Path) -> None:
    """Its first moments about the room's corner tell a surface from its mirror image."""
    quads, moments = asymmetric_room(), []
    for ending, frame in zip(("obj", "glb", "ply", "stl"), FRAMES, strict=False):
        write(tmp_path / f"room.{ending}", quads.names, [in_file(ring, frame) for ring in quads.corners])
        room = {"mesh": f"room.{ending}", "frame": frame, "tape": [{"along": "depth", "distance": 4.0}]}
        triangles = np.concatenate([patch.triangles for patch in built(tmp_path, room).patches])
        a, b, c = np.moveaxis(triangles, 1, 0)
        volumes = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0
        moments.append((volumes[:, None] * (a + b + c) / 4.0).sum(axis=0))
    for each in moments[1:]:
        assert each == pytest.approx(moments[0], rel=1e-5)
    mirrored = moments[0].copy()
    mirrored[1] = -VOLUME * 3.23 - mirrored[1]
    assert abs(mirrored[1] - moments[0][1]) > 0.1
