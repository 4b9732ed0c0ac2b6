"""Left stays left: one room that is not its own mirror image, told as box, outline and mesh, from scene to sheet.

Window in the left wall, door in the right wall; one loudspeaker on the left.  What is heard from the left has a
negative azimuth, from the right a positive one.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sim.acoustics.bands import octave_bands
from sim.blueprint.treatment import Target
from sim.placement.built_scene import BuiltScene, build_scene
from sim.placement.sheet import setup_sheet
from sim.propagation.mirrors.image_sources import survey_first_order, trace_paths
from sim.responses.arrivals import list_arrivals
from sim.responses.surface_map import surface_maps
from tests.built_scenes import blueprint_of, loudspeaker
from tests.rooms.asymmetric import asymmetric_room, in_file, write

BANDS = octave_bands(500, 4000)
SOURCE, EAR = (1.3, 0.9, 1.2), (2.2, 1.4, 1.2)
FRAMES = {
    "obj": {"unit": "mm", "depth": "-y", "across": "+x", "up": "+z"},
    "ply": {"unit": "m", "depth": "+z", "across": "+x", "up": "+y"},
    "stl": {"unit": "cm", "depth": "-z", "across": "-x", "up": "+y"},
    "glb": {"unit": "m", "depth": "+z", "across": "+x", "up": "+y"},
}
OPENINGS = [
    {"name": "window", "kind": "window", "surface": "left wall", "from_front": [1.0, 2.0], "up": [0.9, 2.0]},
    {"name": "door", "kind": "door", "surface": "right wall", "from_front": [1.2, 2.1], "up": [0.0, 2.0]},
]
FORMS = ["box", "outline", *FRAMES]


def record() -> dict[str, Any]:
    return loudspeaker(SOURCE, "left", model="coaxial")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("rooms")
    quads = asymmetric_room()
    for ending, frame in FRAMES.items():
        write(made / f"room.{ending}", quads.names, [in_file(ring, frame) for ring in quads.corners])
    return made


@cache
def built_from(form: str, folder: Path) -> BuiltScene:
    if form == "box":
        room = {"box": {"depth": 4.0, "width": 3.0, "height": 2.4}, "materials": {"all": "hard"}}
        blueprint = blueprint_of(room, [record()], EAR, openings=OPENINGS)
    elif form == "outline":
        corners = [(0.0, 0.0), (0.0, 3.0), (4.0, 3.0), (4.0, 0.0)]
        outline = [{"from_front": x, "from_left": y} for x, y in corners]
        room = {"outline": outline, "height": 2.4, "materials": {"all": "hard"}}
        blueprint = blueprint_of(room, [record()], EAR, openings=OPENINGS)
    else:
        # the mesh room counts from the window niche, 0.15 m further left; its door stands in the rear half
        points = [(SOURCE[0], SOURCE[1] + 0.15, SOURCE[2]), (EAR[0], EAR[1] + 0.15, EAR[2])]
        named = [
            {"name": "window", "at": {"from_front": 1.5, "from_left": 0.0, "up": 1.5}},
            {"name": "door", "at": {"from_front": 3.0, "from_left": 3.23, "up": 1.0}},
        ]
        room = {
            "mesh": f"room.{form}",
            "frame": FRAMES[form],
            "tape": [{"along": "depth", "distance": 4.0}],
            "surfaces": [] if form in ("obj", "glb") else named,
            "materials": {"all": "hard"},
        }
        blueprint = blueprint_of(room, [loudspeaker(points[0], "left", model="coaxial")], points[1])
    return build_scene(blueprint, folder)


@pytest.mark.parametrize("form", FORMS)
def test_azimuth_of_what_comes_from_window_and_right_wall(form: str, folder: Path) -> None:
    built = built_from(form, folder)
    paths = trace_paths(built, 1)
    arrivals = {a.via: a for a in list_arrivals(built, paths, BANDS, Target()) if a.order}
    assert arrivals["window"].main.arrival_azimuth_deg < -60.0
    right = arrivals.get("right wall") or arrivals["door"]
    assert right.main.arrival_azimuth_deg > 60.0
    direct = next(a for a in list_arrivals(built, paths, BANDS, Target()) if a.order == 0)
    expected = -np.degrees(np.arctan2(EAR[1] - SOURCE[1], EAR[0] - SOURCE[0]))
    assert direct.main.arrival_azimuth_deg == pytest.approx(expected, abs=1e-3)
    # the left one is nearer, so what it throws back comes first
    assert arrivals["window"].main.delay_ms < right.main.delay_ms


@pytest.mark.parametrize("form", FORMS)
def test_path_table_points_lie_on_the_side_they_are_named_after(form: str, folder: Path) -> None:
    built = built_from(form, folder)
    paths = trace_paths(built, 1)
    ear = built.ears[0]
    seen = set()
    for row in np.flatnonzero(paths.order == 1):
        name = built.room.facets[paths.facets[row, 0]].name
        if name in ("window", "left wall"):
            assert paths.points[row, 0, 1] < ear[1] and paths.arrival[row, 1] < 0.0
        elif name in ("door", "right wall"):
            assert paths.points[row, 0, 1] > ear[1] and paths.arrival[row, 1] > 0.0
        seen.add(name)
    assert "window" in seen and seen & {"door", "right wall"}


@pytest.mark.parametrize("form", FORMS)
def test_survey_and_maps_agree(form: str, folder: Path) -> None:
    built = built_from(form, folder)
    for one in survey_first_order(built):
        if one.surface == "window" and one.status == "reaches":
            assert one.point[1] < built.ears[0][1]
    maps = {each.surface: each for each in surface_maps(built, BANDS, 0.1, 0.0)}
    assert maps["window"].points[:, 1].max() < built.ears[0][1]
    rightmost = maps.get("right wall") or maps["door"]
    assert rightmost.points[:, 1].min() > built.ears[0][1]
    assert maps["window"].mirror_points[0, 0, 1] < built.loudspeakers[0].axis_point[1]


@pytest.mark.parametrize("form", FORMS)
def test_sheet_measures_to_the_surface_on_that_side(form: str, folder: Path) -> None:
    built = built_from(form, folder)
    (sheet,) = setup_sheet(built).loudspeakers
    assert sheet.side == "left"
    assert sheet.toe_in_deg > 0.0  # toward the centre, which is to its right
    left, right = sheet.distance_to_m["left"], sheet.distance_to_m["right"]
    assert left[1] == "window"
    assert left[0] == pytest.approx(0.9 if form in ("box", "outline") else 1.05, abs=1e-3)
    assert right[0] == pytest.approx(2.1, abs=1e-3)
    assert right[1] in ("right wall", "door")
