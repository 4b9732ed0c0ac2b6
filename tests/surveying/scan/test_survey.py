"""Rooms out of scans: recovered within the targets, in any axes, unit and format, and what is said of them."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sim import words
from sim.blueprint.reader import parse_scene
from sim.errors import MeshError, SceneError
from sim.pipeline import build
from sim.surveying.scan.records import ScannedRoom
from sim.surveying.scan.survey import scan
from tests.builders.flat_scans import box_room, box_squares, room_squares, shaken, write_shaken
from tests.builders.scan_report import POINT_M, WALL_DEG, WALL_M, Verdict, judged
from tests.builders.scan_walk import Scan, Walk, scanned, write_glb, write_obj, write_ply
from tests.builders.scanned_rooms import InventedRoom, invented_rooms

COARSE = Walk(pictures=40, across=48, down=36, noise_m=0.015, seed=11)
ROOMS = {room.name[3:]: room for room in invented_rooms(6)}


@pytest.fixture(scope="module")
def walked(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[InventedRoom, Scan, ScannedRoom]]:
    """A box as OBJ in millimetres with y up, an L as points in feet, an attic as GLB; beams and a bay as PLY."""
    folder = tmp_path_factory.mktemp("scans")
    found = {}
    for kind, up, unit_m in (
        ("box", "+y", 0.001),
        ("L", "+z", 0.3048),
        ("attic, two slopes", "+y", 1.0),
        ("beams", "+x", 1.0),
        ("bay", "+z", 1.0),
    ):
        made = scanned(ROOMS[kind], COARSE, yaw_deg=25.0, up=up, unit_m=unit_m)
        if kind == "box":
            path = write_obj(made, folder / "box.obj")
        elif kind == "attic, two slopes":
            path = write_glb(made, folder / "attic.glb")
        else:
            path = write_ply(made, folder / f"{kind}.ply", faces=kind != "L")
        found[kind] = (ROOMS[kind], made, scan(path))
    return found


def verdict_of(walked: dict[str, tuple[InventedRoom, Scan, ScannedRoom]], kind: str) -> Verdict:
    return judged(*walked[kind])


@pytest.mark.parametrize("kind", ["box", "L", "attic, two slopes", "beams", "bay"])
def test_walls_and_reflection_points_are_where_they_are(
    walked: dict[str, tuple[InventedRoom, Scan, ScannedRoom]], kind: str
) -> None:
    """The targets: 2 cm and 0.5 degrees, first reflection points within 5 cm, in spite of 0.5 % drift."""
    verdict = verdict_of(walked, kind)
    assert (verdict.missing, verdict.extra, verdict.lost) == (0, 0, 0)
    assert max(verdict.wall_m) < WALL_M
    assert max(verdict.wall_deg) < WALL_DEG
    assert verdict.height_m < WALL_M
    assert len(verdict.points_m) > 6
    assert max(verdict.points_m) < POINT_M


def test_a_bay_is_made_regular_and_that_is_said(
    walked: dict[str, tuple[InventedRoom, Scan, ScannedRoom]],
) -> None:
    """Its splays are 85 cm long: left as scanned they would be off by 0.7 degrees."""
    _, _, found = walked["bay"]
    splays = [wall for wall in found.walls if wall.direction != "square"]
    assert [wall.direction for wall in splays] == ["45 degrees"] * 2
    assert max(abs(wall.turned_deg) for wall in splays) > WALL_DEG
    assert f"The {splays[0].name} and the {splays[1].name} stand at 45 degrees to the others" in words(found)


@pytest.mark.parametrize("kind", ["box", "L", "attic, two slopes", "beams", "bay"])
def test_errors_are_within_what_is_said_of_them(
    walked: dict[str, tuple[InventedRoom, Scan, ScannedRoom]], kind: str
) -> None:
    verdict, found = verdict_of(walked, kind), walked[kind][2]
    assert max(np.array(verdict.wall_m) / verdict.said) < 2.0
    assert max(verdict.wall_deg) < 2.0 * min(wall.error_deg for wall in found.walls)
    assert not any(wall.unsure for wall in found.walls)


def test_slopes_are_found(walked: dict[str, tuple[InventedRoom, Scan, ScannedRoom]]) -> None:
    verdict = verdict_of(walked, "attic, two slopes")
    assert max(knee for knee, _ in verdict.slopes) < 0.03
    assert max(angle for _, angle in verdict.slopes) < 1.0
    assert {slope.name for slope in walked["attic, two slopes"][2].slopes} == {"left slope", "right slope"}


def test_beams_hang_and_furniture_stands(walked: dict[str, tuple[InventedRoom, Scan, ScannedRoom]]) -> None:
    room, _, found = walked["beams"]
    width = float(np.ptp(room.corners[:, 1]))
    beams = [block for block in found.blocks if block.kind == "beam"]
    assert len(beams) == 2
    for beam in beams:
        assert beam.high_m[2] == pytest.approx(found.height_m, abs=0.01)
        assert beam.high_m[1] - beam.low_m[1] > 0.85 * width
    tops = sorted(round(block.high_m[2], 1) for block in found.blocks if block.kind == "block")
    assert {0.8, 0.7, 1.9} <= set(tops)
    assert sum(block.table for block in found.blocks) == 1


@pytest.mark.parametrize(("kind", "unit", "up"), [("box", "mm", "+y"), ("L", "ft", "+z"), ("beams", "m", "+x")])
def test_unit_and_axes_are_found_and_said(
    walked: dict[str, tuple[InventedRoom, Scan, ScannedRoom]], kind: str, unit: str, up: str
) -> None:
    found = walked[kind][2]
    assert (found.unit, found.up) == (unit, up)
    assert any(f"unit is {unit}" in words for words in found.assumed)
    assert any(f"{up} of the file is up" in words for words in found.assumed)


def test_the_scene_can_be_built_and_says_that_it_is_not_confirmed(
    walked: dict[str, tuple[InventedRoom, Scan, ScannedRoom]],
) -> None:
    for _, _, found in walked.values():
        scene, built = build(parse_scene(found.text, Path()))
        assert "not confirmed by tape" in scene.blueprint.title
        assert {wall.name for wall in found.walls} <= {facet.name for facet in built.room.facets}


def test_a_window_is_asked_about_and_never_made(
    walked: dict[str, tuple[InventedRoom, Scan, ScannedRoom]],
) -> None:
    room, _, found = walked["box"]
    scene, _ = build(parse_scene(found.text, Path()))
    assert scene.blueprint.openings == ()
    holes = [part for part in found.not_seen if not part.behind]
    blind = room.blinds[0]
    (window,) = [hole for hole in holes if abs(hole.up_m[0] - blind.up[0]) < 0.15 and hole.up_m[1] < 2.1]
    assert window.along_m[1] - window.along_m[0] == pytest.approx(blind.along[1] - blind.along[0], abs=0.25)
    assert '#name = "not seen 1"' in found.text
    asked = found.text.replace("#[[openings]]\n#name", "[[openings]]\nname").replace("\n#kind", "\nkind")
    assert "window, door or mirror?" in asked


def test_what_furniture_hides_is_said(walked: dict[str, tuple[InventedRoom, Scan, ScannedRoom]]) -> None:
    """Behind the sofa, 1.8 m wide and 75 cm high, the wall cannot be seen."""
    found = walked["box"][2]
    hidden = [part for part in found.not_seen if part.behind and part.up_m[0] == 0.0]
    assert max(part.area_m2 for part in hidden) > 0.8
    assert {part.behind for part in hidden} <= {block.name for block in found.blocks}


def test_the_same_scan_gives_the_same_scene(tmp_path: Path) -> None:
    path = write_shaken(room_squares(box_room()), tmp_path / "box.ply", 0.01)
    assert scan(path).text == scan(path).text


# Plain rooms without a camera: what squares them, what tapes do, which wall is in front.


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_shaken(room_squares(box_room(4.4, 3.6, 2.5)), tmp_path_factory.mktemp("plain") / "plain.ply")


def test_a_wall_that_is_not_square_stays_so(tmp_path: Path) -> None:
    skew = box_room(4.4, 3.6, 2.5)
    corners = skew.corners.copy()
    corners[2, 0] += 3.6 * math.tan(math.radians(4.0))
    found = scan(write_shaken(room_squares(replace(skew, corners=corners)), tmp_path / "skew.ply"))
    off = {wall.name: wall.off_square_deg for wall in found.walls if not wall.squared}
    assert list(off) == ["rear wall"]
    assert abs(off["rear wall"]) == pytest.approx(4.0, abs=0.3)


def test_a_wall_that_is_nearly_square_is_made_square(tmp_path: Path) -> None:
    skew = box_room(4.4, 3.6, 2.5)
    corners = skew.corners.copy()
    corners[2, 0] += 3.6 * math.tan(math.radians(0.2))
    found = scan(write_shaken(room_squares(replace(skew, corners=corners)), tmp_path / "skew.ply"))
    assert all(wall.squared for wall in found.walls)


def test_a_tape_corrects_the_scale(plain: Path) -> None:
    found = scan(plain, tape=[("depth", "448 cm")])
    assert found.confirmed and "not confirmed" not in found.text
    assert found.factor == pytest.approx(4.48 / 4.4, abs=0.001)
    assert found.height_m == pytest.approx(2.5 * 4.48 / 4.4, abs=0.01)
    assert "By tape: depth 4.480 m; the scan had 4.400 m." in found.text


def test_after_the_tape_walls_are_where_they_truly_are(tmp_path: Path) -> None:
    """A scan 1 % too large, and one distance by tape: the walls are held against the true room, not a scaled one."""
    room = box_room(4.4, 3.6, 2.5)
    made = shaken(room_squares(room))
    path = write_ply(replace(made, corners=1.01 * made.corners), tmp_path / "large.ply")
    assert max(judged(room, made, scan(path)).wall_m) == pytest.approx(0.005 * 4.4, abs=0.003)
    assert max(judged(room, made, scan(path, tape=[("depth", 4.4)])).wall_m) < 0.003


def test_unit_and_axis_as_told(plain: Path) -> None:
    assert scan(plain, unit="m", up="+z").assumed == ()
    with pytest.raises(MeshError, match="an object, no room"):
        scan(plain, unit="cm")
    with pytest.raises(SceneError, match="--up"):
        scan(plain, up="z")


def test_a_scan_that_leans_is_levelled(tmp_path: Path) -> None:
    made = shaken(room_squares(box_room()))
    lean = math.radians(3.0)
    turn = np.array([[1.0, 0.0, 0.0], [0.0, math.cos(lean), -math.sin(lean)], [0.0, math.sin(lean), math.cos(lean)]])
    found = scan(write_ply(replace(made, corners=made.corners @ turn.T), tmp_path / "leans.ply"))
    assert any("leaned by 3.0 degrees" in words for words in found.assumed)
    assert found.height_m == pytest.approx(2.5, abs=0.01)


def test_a_wall_that_is_there_twice_is_unsure(tmp_path: Path) -> None:
    """The second layer of a phone that lost its place: half the wall again, 8 cm inside."""
    room = box_room(4.4, 3.6, 2.5)
    again = np.concatenate([room_squares(room), box_squares(np.array([4.32, 0.0, 0.0]), np.array([4.321, 2.4, 2.5]))])
    found = scan(write_shaken(again, tmp_path / "twice.ply"))
    assert [wall.name for wall in found.walls if wall.unsure] != []
    assert max(wall.doubled_m for wall in found.walls) == pytest.approx(0.08, abs=0.03), "the grid is 4 cm"
